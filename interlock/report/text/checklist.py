"""A checklist as text of 80 columns, and why there is none."""

from __future__ import annotations

from collections.abc import Iterator

from interlock.kernel.claims import Disputed, Fails, Holds
from interlock.report.text.lines import BLANK, Line, Tone, flow, heading, labelled
from interlock.report.text.slips import slip_table
from interlock.report.views.assumptions import CAUTIONS
from interlock.report.views.checklist_printed import CAUTION, NOTE, SCHEME, Guard, LegWords, Words
from interlock.report.views.checklist_words import goal_words
from interlock.report.views.slips import EFFECTS_EXPLAINED
from interlock.report.views.wording import count_of, shortened
from interlock.study.checklist.audit import ChecklistAudit
from interlock.study.checklist.goals import Goal, Load, Unload
from interlock.study.checklist.making import Checklist, NoChecklist
from interlock.study.procedure.audit import Overall, Verdict

MOST_NAMED = 8
_TONES = {NOTE: Tone.FAINT, CAUTION: Tone.OPEN}


def checklist_report(
    result: Checklist | NoChecklist, words: Words | None, audited: ChecklistAudit | None, verbose: bool
) -> tuple[Line, ...]:
    """The whole report: the checklist with one line for the end, or why there is none."""
    if isinstance(result, NoChecklist) or words is None or audited is None:
        assert isinstance(result, NoChecklist)  # noqa: S101 -- a checklist has words and an audit
        return tuple(refusal_lines(result))
    return *checklist_lines(words, verbose), BLANK, summary(result, audited)


def checklist_lines(words: Words, verbose: bool = False) -> Iterator[Line]:
    """The checklist; with `verbose`, at which later step an omission shows."""
    yield from flow(f"CHECKLIST: {words.title}", 0, 4, Tone.HEAD)
    yield from flow(words.hold)
    yield BLANK
    for caution in CAUTIONS:
        yield from flow(caution, tone=Tone.OPEN)
    yield from heading("Before you start")
    for text in words.before:
        yield from _box(text)
    for number, leg in enumerate(words.legs, 1):
        yield from _leg(number, leg, verbose)
    yield from _slips(words, verbose)
    yield from heading("What is proved")
    for claim in words.claims:
        yield from flow(f"- {claim}", 2, 2)
    yield BLANK
    yield from flow(SCHEME, tone=Tone.FAINT)


def _leg(number: int, leg: LegWords, verbose: bool) -> Iterator[Line]:
    yield from heading(f"{number}. {leg.title}")
    if leg.beware is not None:
        yield from _guard(leg.beware)
    begins = {first: last for first, last in leg.runs}
    free_until = 0
    for step in leg.steps:
        if step.number in begins:
            free_until = begins[step.number]
            yield from flow(f"in any order, {run_of(step.number, free_until)}:", 2, tone=Tone.FAINT)
        for guard in step.guards:
            yield from _guard(guard)
        bar = "|" if step.number <= free_until else " "
        yield from flow(f"[ ] {bar} {step.number:>3}. {step.instruction}", 2, 11)
        for result in step.results:
            yield from flow(f"-> {result}", 13, 3, Tone.FAINT)
        if verbose and step.noticed:
            yield from flow(step.noticed, 13, 0, Tone.FAINT)
    for finding in leg.findings:
        yield from labelled("AUDIT:", finding, 6, Tone.BAD)
    for guard in leg.check_guards:
        yield from _guard(guard)
    for check in leg.checks:
        yield from flow(f"[ ] Check: {check}", 2, 11, Tone.GOOD)
    yield from flow(" ".join(filter(None, (leg.free, leg.shortness))), 2, tone=Tone.FAINT)


def _slips(words: Words, verbose: bool) -> Iterator[Line]:
    """What slips lead to, from the audit; with `verbose` by kind of slip."""
    yield from heading("Slips")
    slips = words.slips
    if slips is None:
        yield from flow(f"Not examined: {'; '.join(words.open)}.", 2, tone=Tone.OPEN)
        return
    counts = ", ".join(f"{number:,} {word}" for word, number in slips.counts)
    yield from flow(f"{slips.followed}. The worst that a slip can lead to: {counts}.", 2)
    if verbose:
        yield BLANK
        yield from slip_table(slips.kinds)
        yield from flow(EFFECTS_EXPLAINED, 2, tone=Tone.FAINT)
    for said, broken in slips.hazards:
        yield from flow(f"- {said}", 4, 2, Tone.BAD)
        yield from labelled("breaks:", shortened(broken, MOST_NAMED), 6)
    for row in slips.fewest:
        yield from flow(f"{row.requirement}: fewest slips {row.number}; {row.hazard}, severity {row.severity}", 2, 2)
        for those in row.combinations[:MOST_NAMED]:
            yield from flow(f"- {' and '.join(those)}", 4, 2)
        if len(row.combinations) > MOST_NAMED:
            yield from flow(f"and {len(row.combinations) - MOST_NAMED} more", 4)
    if not slips.fewest:
        yield from flow("No slip that was followed leads to a hazard.", 2, tone=Tone.GOOD)
    for text in words.open:
        yield from flow(f"Left open: {text}.", 2, tone=Tone.OPEN)
    yield from flow(slips.counted, 2, tone=Tone.FAINT)


def run_of(first: int, last: int) -> str:
    """`2 and 3`, `2 to 5`."""
    return f"{first} {'and' if last == first + 1 else 'to'} {last}"


def _guard(guard: Guard) -> Iterator[Line]:
    yield from labelled(f"{guard.label}:", guard.text, 6, _TONES.get(guard.label, Tone.BAD))


def _box(text: str) -> Iterator[Line]:
    yield from flow(f"[ ] {text}", 2, 4)


def summary(checklist: Checklist, audited: ChecklistAudit) -> Line:
    """One line for the end."""
    legs, steps = count_of(len(checklist.legs), "part"), count_of(len(checklist.steps), "step")
    if audited.audit.overall is Overall.DISPUTED:
        return Line("DISPUTED: two parts of this program contradict each other; do not use this", Tone.LOUD)
    text = f"checklist made and proved: {legs}, {steps}"
    if not audited.followed:
        return Line(f"{text}; slips not examined, so warnings may be missing", Tone.OPEN)
    amiss = sum(one.verdict is not Verdict.POSSIBLE for one in audited.audit.actions)
    if amiss:
        return Line(f"{text}; {count_of(amiss, 'action')} depending on timing: see AUDIT above", Tone.OPEN)
    return Line(text, Tone.GOOD)


def refusal_lines(found: NoChecklist) -> Iterator[Line]:
    """Why there is no checklist."""
    yield from flow(f"NO CHECKLIST: {goal_words(found.compiled, found.goal)}", 0, 4, Tone.BAD)
    yield from flow(f"{found.reason[:1].upper()}{found.reason[1:]}.")
    aim = found.aim
    if aim is not None:
        what = ", ".join("+".join(unit.cells) for unit in aim.units) or ", ".join(aim.doors) or aim.text
        yield from labelled("no way found to:", f"{aim.what} {what}".rstrip(), 2)
    for id in found.broken:
        yield from labelled("breaks:", id, 2, Tone.BAD)
    if found.broken:
        yield from flow(f"How it can break: interlock prove HOLD --only '{found.broken[0]}'", 2)
    if isinstance(found.finding, Holds):
        yield from labelled("certificate checked by:", found.finding.checked_by, 2)
    elif isinstance(found.finding, Fails):
        yield from flow(
            f"From the start of the hold {count_of(found.finding.claim.trace.depth, 'step')} of crew and equipment "
            "reach the goal of this part in some order, but no plan was found that goes on from the parts before it.",
            2,
        )
    elif isinstance(found.finding, Disputed):
        yield from labelled("DISPUTED:", found.finding.what, 2, Tone.LOUD)
    yield from nearest_lines(found)
    yield BLANK
    for text in CAUTIONS:
        yield from flow(text)


def nearest_lines(found: NoChecklist) -> Iterator[Line]:
    """What can be done in the place of what was asked; every word of it was planned."""
    near = found.nearest
    if near is None:
        return
    names = {unit.id: unit.name for unit in found.compiled.hold.units}
    yield BLANK
    for unit in near.in_the_way:
        yield from flow(f"The {names[unit.kind]} in {' and '.join(unit.cells)} stands in the way.")
    for unit in near.left_out:
        yield from flow(f"No plan was found that takes the {names[unit.kind]} to {' and '.join(unit.cells)}.")
    for number, goal in enumerate(near.goals):
        start = "An order was found for this" if number == 0 else "and, after that, for this"
        yield from labelled(f"{start}:", " ".join(goal_option(goal)), 2, Tone.GOOD)


def goal_option(goal: Goal) -> tuple[str, str]:
    """How the goal is asked for: option and value."""
    if isinstance(goal, Unload):
        return "--unload", ",".join(goal.bays)
    if isinstance(goal, Load):
        return "--load", ",".join(f"{bay}={kind}" for bay, kind in goal.wanted)
    return "--goal", repr(goal.text)
