"""A checklist as text of 80 columns, and why there is none."""

from __future__ import annotations

from collections.abc import Iterator

from interlock.report.text.identified import identified_lines
from interlock.report.text.lines import BLANK, Line, Tone, bullets, flow, heading, labelled
from interlock.report.text.never import never_lines
from interlock.report.text.slips import slip_table
from interlock.report.views.checklist import ChecklistView, PartView, RefusalView
from interlock.report.views.checklist_facts import Body, Guard
from interlock.report.views.harm import CAUTION, NOTE
from interlock.report.views.slips import EFFECT_HEADS, EFFECTS_EXPLAINED
from interlock.report.views.wording import shortened, span_of

MOST_NAMED = 8
_TONES = {NOTE: Tone.FAINT, CAUTION: Tone.OPEN}


def checklist_report(view: ChecklistView | RefusalView, verbose: bool) -> tuple[Line, ...]:
    """The whole report: the checklist with one line for the end, or why there is none."""
    if isinstance(view, RefusalView):
        return tuple(refusal_lines(view))
    return *checklist_lines(view, verbose), BLANK, Line(view.summary, view.tone)


def checklist_lines(view: ChecklistView, verbose: bool = False) -> Iterator[Line]:
    """The checklist; with `verbose`, at which later step an omission shows."""
    facts = view.facts
    yield from flow(f"CHECKLIST: {facts.goal}", 0, 4, Tone.HEAD)
    yield from flow(facts.title)
    yield BLANK
    for caution in facts.cautions:
        yield from flow(caution, tone=Tone.OPEN)
    yield from heading("Before you start")
    for text in facts.checklist.before:
        yield from flow(f"[ ] {text}", 2, 4)
    for number, part in enumerate(view.parts, 1):
        yield from _part(number, part, verbose)
    yield from _slips(facts.checklist, verbose)
    yield from heading("What is proved")
    yield from bullets(facts.checklist.claims)
    yield from identified_lines(facts.identification)
    yield BLANK
    yield from flow(facts.scheme, tone=Tone.FAINT)


def _part(number: int, part: PartView, verbose: bool) -> Iterator[Line]:
    facts = part.facts
    yield from heading(f"{number}. {facts.title}")
    if facts.caution is not None:
        yield from _guard(facts.caution)
    begins = {first: last for first, last in part.runs}
    free_until = 0
    for step in facts.steps:
        if step.number in begins:
            free_until = begins[step.number]
            yield from flow(f"in any order, {span_of(step.number, free_until)}:", 2, tone=Tone.FAINT)
        for guard in step.guards:
            yield from _guard(guard)
        bar = "|" if step.number <= free_until else " "
        yield from flow(f"[ ] {bar} {step.number:>3}. {step.instruction}", 2, 11)
        for result in step.results:
            yield from flow(f"-> {result}", 13, 3, Tone.FAINT)
        if step.why:
            yield from flow(f"Why: {step.why}.", 13, 0, Tone.FAINT)
        if verbose and step.number in part.noticed:
            yield from flow(part.noticed[step.number], 13, 0, Tone.FAINT)
    for finding in facts.audit_findings:
        yield from labelled("AUDIT:", finding, 6, Tone.BAD)
    for guard in facts.check_guards:
        yield from _guard(guard)
    for check in facts.checks:
        yield from flow(f"[ ] {check}", 2, 11, Tone.GOOD)
    yield from flow(part.orders, 2, tone=Tone.FAINT)


def _slips(facts: Body, verbose: bool) -> Iterator[Line]:
    """What slips lead to, from the audit; with `verbose` by kind of slip."""
    yield from heading("Slips")
    slips = facts.slips
    if slips is None:
        yield from flow(f"Not examined: {'; '.join(facts.left_open)}.", 2, tone=Tone.OPEN)
        return
    counts = ", ".join(f"{getattr(slips.effects, word):,} {word}" for word in EFFECT_HEADS.values())
    yield from flow(f"{slips.followed}. The worst that a slip can lead to: {counts}.", 2)
    if verbose:
        yield BLANK
        yield from slip_table(slips.kinds)
        yield from flow(EFFECTS_EXPLAINED, 2, tone=Tone.FAINT)
    for one in slips.hazardous:
        yield from flow(f"- {one.slip}", 4, 2, Tone.BAD)
        yield from labelled("breaks:", shortened(one.breaks, MOST_NAMED), 6)
    for row in slips.fewest:
        yield from flow(f"{row.requirement}: fewest slips {row.slips}; {row.hazard}, severity {row.severity}", 2, 2)
        yield from bullets(map(" and ".join, row.combinations[:MOST_NAMED]), 4)
        if len(row.combinations) > MOST_NAMED:
            yield from flow(f"and {len(row.combinations) - MOST_NAMED} more", 4)
    if not slips.fewest:
        yield from flow("No slip that was followed leads to a hazard.", 2, tone=Tone.GOOD)
    for text in facts.left_open:
        yield from flow(f"Left open: {text}.", 2, tone=Tone.OPEN)
    yield from flow(slips.second_count, 2, tone=Tone.FAINT)


def _guard(guard: Guard) -> Iterator[Line]:
    yield from labelled(f"{guard.label}:", guard.text, 6, _TONES.get(guard.label, Tone.BAD))


def refusal_lines(view: RefusalView) -> Iterator[Line]:
    """Why there is no checklist."""
    facts = view.facts
    yield from flow(f"NO CHECKLIST: {facts.goal}", 0, 4, Tone.BAD)
    yield from flow(f"{facts.reason[:1].upper()}{facts.reason[1:]}.")
    if view.aim:
        yield from labelled("no way found to:", view.aim, 2)
    for id in facts.broken:
        yield from labelled("breaks:", id, 2, Tone.BAD)
    if facts.broken:
        yield from flow(f"How it can break: interlock prove HOLD --only '{facts.broken[0]}'", 2)
    if facts.checked_by is not None:
        yield from labelled("certificate checked by:", facts.checked_by, 2)
    if facts.never:
        yield from never_lines(facts.never)
    yield from flow(view.reachable, 2)
    if view.dispute:
        yield from labelled("DISPUTED:", view.dispute, 2, Tone.LOUD)
    if facts.instead is not None:
        yield BLANK
        for text in view.instead:
            yield from flow(text)
        for number, option in enumerate(facts.instead.goals):
            start = "A sequence was found for this" if number == 0 else "and, after that, for this"
            yield from labelled(f"{start}:", " ".join(option), 2, Tone.GOOD)
    yield BLANK
    for text in facts.cautions:
        yield from flow(text)
