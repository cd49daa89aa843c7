"""What would mend a hold, as text of at most 80 columns."""

from __future__ import annotations

from collections.abc import Iterator

from interlock.report.text.lines import BLANK, Line, Tone, bullets, flow, heading, labelled
from interlock.report.text.proof import story_lines
from interlock.report.views.repair import RepairView
from interlock.report.views.repair_facts import ProposalFacts
from interlock.report.views.wording import count_of, seconds_as_text, sentence, shortened

MOST_NAMED = 6


def repair_report(view: RepairView, told: int, verbose: bool, seconds: float | None) -> tuple[Line, ...]:
    """The whole report; of so many requirements that fail the runs are told.  `seconds` is what it took, if told."""
    return tuple(_lines(view, told, verbose, seconds))


def _lines(view: RepairView, told: int, verbose: bool, seconds: float | None) -> Iterator[Line]:
    facts = view.facts
    yield from flow(facts.title, tone=Tone.HEAD)
    yield from labelled("description:", facts.description, 2)
    if facts.failing:
        yield from heading("What fails")
    for one in facts.failing[: len(facts.failing) if verbose else MOST_NAMED]:
        yield from flow(f"- {one.id}: {one.text}", 2, 2, Tone.BAD)
    if len(facts.failing) > MOST_NAMED and not verbose:
        yield from flow(f"and {len(facts.failing) - MOST_NAMED} more (-v names all)", 2)
    if facts.undecided:
        yield from labelled("not decided:", shortened(facts.undecided, MOST_NAMED), 2)
    for one in [one for one in facts.failing if one.story is not None][:told]:
        yield from heading(f"How {one.id} breaks")
        yield from () if one.story is None else story_lines(one.story, ())
    if facts.proposals:
        yield from heading("Proposals, to be engineered and approved")
    for number, proposal in enumerate(facts.proposals, 1):
        yield from _proposal(number, proposal, verbose)
    if facts.tried:
        yield from heading("What was looked at")
    for tried in facts.tried:
        yield from flow(f"- {tried.statement}", 2, 2)
    yield from heading("What this assumes")
    yield from bullets(facts.assumptions)
    yield from heading("Caution")
    for text in facts.cautions:
        yield from flow(text, 2)
    if view.next_step:
        yield from heading("Next")
        yield from flow(view.next_step, 2)
    yield BLANK
    took = "" if seconds is None else f", in {seconds_as_text(seconds)}"
    yield from flow(f"{view.summary}{took}", tone=view.tone)


def _proposal(number: int, one: ProposalFacts, verbose: bool) -> Iterator[Line]:
    for at, part in enumerate(one.parts):
        mark = f"{number}. " if at == 0 else "   "
        yield from flow(f"{mark}{part.item}: {part.done}", 2, 3, Tone.GOOD)
    yield from flow(
        f"{sentence(one.sort)} All that was asked then holds: {count_of(one.holds, 'requirement')} (proved, checked "
        f"again by {one.checked_by or 'replaying runs'}).",
        5,
    )
    if one.vacuous:
        yield from labelled("then holding only vacuously:", shortened(one.vacuous, MOST_NAMED), 5)
    if one.lost:
        yield from labelled("takes away:", shortened(one.lost, MOST_NAMED), 5, Tone.BAD)
    if one.doubtful:
        yield from labelled("not known whether still possible:", shortened(one.doubtful, MOST_NAMED), 5)
    if number == 1 or verbose:
        for line in one.modification.splitlines():
            yield Line(f"     | {line}", Tone.FAINT)
