"""What would mend a hold, as Markdown: what goes to whoever engineers it."""

from __future__ import annotations

from collections.abc import Iterator

from interlock.report.languages import in_markdown
from interlock.report.markdown.writing import bullets, heading, table
from interlock.report.views.repair import RepairView
from interlock.report.views.repair_facts import ProposalFacts
from interlock.report.views.wording import count_of, listed, sentence


def repair_markdown(view: RepairView) -> str:
    """All of it."""
    return "\n".join(_parts(view)) + "\n"


def _parts(view: RepairView) -> Iterator[str]:
    facts = view.facts
    yield from heading(f"Proposed changes: {facts.title}", 1)
    yield f"- description: {in_markdown(facts.description)}"
    yield f"- result: {in_markdown(view.summary)}"
    yield ""
    if facts.failing:
        yield from heading("What fails")
        yield from table(
            ("requirement", "what it asks for", "hazard", "severity"),
            ((one.id, one.text, one.hazard, f"{one.severity} ({one.scheme})") for one in facts.failing),
        )
    for number, one in enumerate(facts.proposals, 1):
        yield from _proposal(number, one)
    if facts.tried:
        yield from heading("What was looked at")
        yield from bullets(one.statement for one in facts.tried)
    yield "Reviewed by: ______________________ date: ____________"
    yield ""
    yield from heading("What this assumes")
    yield from bullets(facts.assumptions)
    yield from heading("Caution")
    yield from bullets(facts.cautions)
    if view.next_step:
        yield in_markdown(view.next_step)


def _proposal(number: int, one: ProposalFacts) -> Iterator[str]:
    yield from heading(f"Proposal {number}: {one.sort}")
    yield from bullets(f"{part.item}: {part.done}" for part in one.parts)
    yield f"All that was asked then holds: {count_of(one.holds, 'requirement')} (proved)."
    yield ""
    if one.vacuous:
        yield in_markdown(sentence(f"then holding only vacuously: {listed(one.vacuous)}"))
        yield ""
    if one.lost:
        yield in_markdown(sentence(f"it takes away: {listed(one.lost)}"))
        yield ""
    if one.doubtful:
        yield in_markdown(sentence(f"not known whether still possible: {listed(one.doubtful)}"))
        yield ""
    yield from (f"    {line}" for line in one.modification.splitlines())
    yield ""
