"""A checklist as text of 80 columns, and why there is none."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import TypeAlias

from interlock.diagnostics.said import in_language, joined, say
from interlock.report.text.identified import identified_lines
from interlock.report.text.lines import BLANK, Line, Tone, bullets, flow, heading, labelled
from interlock.report.text.never import never_lines
from interlock.report.text.slips import slip_table
from interlock.report.translation import ENGLISH, Translation
from interlock.report.views.checklist import ChecklistView, PartView, RefusalView
from interlock.report.views.checklist_facts import Body, Guard
from interlock.report.views.harm import CAUTION, NOTE
from interlock.report.views.slips import EFFECT_HEADS, EFFECTS_EXPLAINED
from interlock.report.views.wording import capital, listed, shortened, span_of

Tell: TypeAlias = Callable[[str], str]
"""Says a text in the language of the sheet."""
MOST_NAMED = 8
_TONES = {NOTE: Tone.FAINT, CAUTION: Tone.OPEN}


def checklist_report(
    view: ChecklistView | RefusalView, verbose: bool, language: Translation = ENGLISH
) -> tuple[Line, ...]:
    """The whole report: the checklist with one line for the end, or why there is none."""

    def tell(text: str) -> str:
        return in_language(text, language)

    if isinstance(view, RefusalView):
        told = tuple(refusal_lines(view, tell))
        return *told, *(line for note in language.notes() for line in flow(note, tone=Tone.OPEN))
    head = tuple(_head(view, tell))
    body = *_body(view, verbose, tell), BLANK, Line(tell(view.summary), view.tone)
    # what is to be said of a translation is known once everything is said
    return *head, *(line for note in language.notes() for line in flow(note, tone=Tone.OPEN)), *body


def checklist_lines(view: ChecklistView, verbose: bool = False) -> Iterator[Line]:
    """The checklist; with `verbose`, at which later step an omission shows."""
    yield from _head(view, str)
    yield from _body(view, verbose, str)


def _head(view: ChecklistView, tell: Tell) -> Iterator[Line]:
    facts = view.facts
    yield from flow(tell(say("CHECKLIST: {goal}", goal=facts.goal)), 0, 4, Tone.HEAD)
    yield from flow(facts.title)
    yield BLANK
    for caution in facts.cautions:
        yield from flow(tell(caution), tone=Tone.OPEN)


def _body(view: ChecklistView, verbose: bool, tell: Tell) -> Iterator[Line]:
    facts = view.facts
    yield from heading(tell(say("Before you start")))
    for text in facts.checklist.before:
        yield from flow(f"[ ] {tell(text)}", 2, 4)
    for number, part in enumerate(view.parts, 1):
        yield from _part(number, part, verbose, tell)
    yield from _slips(facts.checklist, verbose, tell)
    yield from heading(tell(say("What is proved")))
    yield from bullets(map(tell, facts.checklist.claims))
    yield from identified_lines(facts.identification, tell)
    yield BLANK
    yield from flow(tell(facts.scheme), tone=Tone.FAINT)


def _part(number: int, part: PartView, verbose: bool, tell: Tell) -> Iterator[Line]:
    facts = part.facts
    yield from heading(f"{number}. {tell(facts.title)}")
    if facts.caution is not None:
        yield from _guard(facts.caution, tell)
    begins = {first: last for first, last in part.runs}
    free_until = 0
    for step in facts.steps:
        if step.number in begins:
            free_until = begins[step.number]
            free = say("in any order, {steps}:", steps=span_of(step.number, free_until))
            yield from flow(tell(free), 2, tone=Tone.FAINT)
        for guard in step.guards:
            yield from _guard(guard, tell)
        bar = "|" if step.number <= free_until else " "
        yield from flow(f"[ ] {bar} {step.number:>3}. {tell(step.instruction)}", 2, 11)
        for result in step.results:
            yield from flow(f"-> {tell(result)}", 13, 3, Tone.FAINT)
        if step.why:
            yield from flow(tell(say("Why: {why}.", why=step.why)), 13, 0, Tone.FAINT)
        if verbose and step.number in part.noticed:
            yield from flow(tell(part.noticed[step.number]), 13, 0, Tone.FAINT)
    for finding in facts.audit_findings:
        yield from labelled(tell(say("AUDIT:")), tell(finding), 6, Tone.BAD)
    for guard in facts.check_guards:
        yield from _guard(guard, tell)
    for check in facts.checks:
        yield from flow(f"[ ] {tell(check)}", 2, 11, Tone.GOOD)
    yield from flow(tell(part.orders), 2, tone=Tone.FAINT)


def _slips(facts: Body, verbose: bool, tell: Tell) -> Iterator[Line]:
    """What slips lead to, from the audit; with `verbose` by kind of slip."""
    yield from heading(tell(say("Slips")))
    slips = facts.slips
    if slips is None:
        yield from flow(tell(say("Not examined: {why}.", why=joined(facts.left_open, "; "))), 2, tone=Tone.OPEN)
        return
    counts = [
        say("{number} {effect}", number=getattr(slips.effects, word), effect=say(word))
        for word in EFFECT_HEADS.values()
    ]
    worst = say(
        "{followed}. The worst that a slip can lead to: {counts}.", followed=slips.followed, counts=joined(counts, ", ")
    )
    yield from flow(tell(worst), 2)
    if verbose:
        yield BLANK
        yield from slip_table(slips.kinds, tell)
        yield from flow(tell(EFFECTS_EXPLAINED), 2, tone=Tone.FAINT)
    for one in slips.hazardous:
        yield from flow(f"- {tell(one.slip)}", 4, 2, Tone.BAD)
        yield from labelled(tell(say("breaks:")), tell(shortened(one.breaks, MOST_NAMED)), 6)
    for row in slips.fewest:
        few = say(
            "{requirement}: fewest slips {slips}; {hazard}, severity {severity}",
            requirement=row.requirement,
            slips=row.slips,
            hazard=row.hazard,
            severity=row.severity,
        )
        yield from flow(tell(few), 2, 2)
        yield from bullets((tell(listed(those)) for those in row.combinations[:MOST_NAMED]), 4)
        if len(row.combinations) > MOST_NAMED:
            yield from flow(tell(say("and {number} more", number=len(row.combinations) - MOST_NAMED)), 4)
    if not slips.fewest:
        yield from flow(tell(say("No slip that was followed leads to a hazard.")), 2, tone=Tone.GOOD)
    for text in facts.left_open:
        yield from flow(tell(say("Left open: {text}.", text=text)), 2, tone=Tone.OPEN)
    yield from flow(tell(slips.second_count), 2, tone=Tone.FAINT)


def _guard(guard: Guard, tell: Tell) -> Iterator[Line]:
    label = tell(say(guard.label))
    yield from labelled(f"{label}:", tell(guard.text), 6, _TONES.get(guard.label, Tone.BAD))


def refusal_lines(view: RefusalView, tell: Tell = str) -> Iterator[Line]:
    """Why there is no checklist."""
    facts = view.facts
    yield from flow(tell(say("NO CHECKLIST: {goal}", goal=facts.goal)), 0, 4, Tone.BAD)
    yield from flow(tell(capital(say("{text}.", text=facts.reason))))
    if view.aim:
        yield from labelled(tell(say("no way found to:")), tell(view.aim), 2)
    for id in facts.broken:
        yield from labelled(tell(say("breaks:")), id, 2, Tone.BAD)
    if facts.broken:
        yield from flow(
            tell(say("How it can break: {command}", command=f"interlock prove HOLD --only '{facts.broken[0]}'")), 2
        )
    if facts.checked_by is not None:
        yield from labelled(tell(say("certificate checked by:")), tell(facts.checked_by), 2)
    if facts.never:
        yield from never_lines(facts.never, tell)
    yield from flow(tell(view.reachable), 2)
    if view.dispute:
        yield from labelled(tell(say("DISPUTED:")), view.dispute, 2, Tone.LOUD)
    if facts.instead is not None:
        yield BLANK
        for text in view.instead:
            yield from flow(tell(text))
        for number, option in enumerate(facts.instead.goals):
            start = say("A sequence was found for this:") if number == 0 else say("and, after that, for this:")
            yield from labelled(tell(start), " ".join(option), 2, Tone.GOOD)
    yield BLANK
    for text in facts.cautions:
        yield from flow(tell(text))
