"""A checklist as Markdown with tick boxes."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from interlock.report.languages import in_markdown
from interlock.report.markdown.writing import bullets, heading, identified, slips_by_kind, table
from interlock.report.views.checklist import ChecklistView, PartView
from interlock.report.views.checklist_facts import Body, Guard
from interlock.report.views.slips import Fewest
from interlock.report.views.wording import span_of


def checklist_markdown(view: ChecklistView) -> str:
    """The checklist; every text of the description is escaped."""
    return "\n".join(_parts(view)) + "\n"


def _parts(view: ChecklistView) -> Iterator[str]:
    facts = view.facts
    yield from heading(f"Checklist: {facts.goal}", 1)
    yield in_markdown(facts.title)
    yield ""
    yield from (f"> {in_markdown(caution)}" for caution in facts.cautions)
    yield ""
    yield from heading("Before you start")
    yield from _boxes(facts.checklist.before)
    for number, part in enumerate(view.parts, 1):
        yield ""
        yield f"## {number}. {in_markdown(part.facts.title)}"
        yield ""
        yield from _part(part)
    yield ""
    yield from heading("Slips")
    yield from _slips(facts.checklist)
    yield ""
    yield from heading("What is proved")
    yield from bullets(facts.checklist.claims)
    yield in_markdown(facts.scheme)
    yield ""
    yield from identified(facts.identification)


def _part(part: PartView) -> Iterator[str]:
    facts = part.facts
    if facts.caution is not None:
        yield from (_guard(facts.caution), "")
    begins = {first: last for first, last in part.runs}
    for step in facts.steps:
        if step.number in begins:
            yield from ("", f"*In any order, {span_of(step.number, begins[step.number])}:*", "")
        if step.guards:
            yield from ("", *map(_guard, step.guards), "")
        yield f"- [ ] **{step.number}.** {in_markdown(step.instruction)}"
        yield from (f"  - {in_markdown(result)}" for result in step.results)
        yield from (f"  - {in_markdown(why)}" for why in ([f"Why: {step.why}."] if step.why else []))
    for finding in facts.audit_findings:
        yield from ("", f"> **AUDIT:** {in_markdown(finding)}")
    if facts.check_guards:
        yield from ("", *map(_guard, facts.check_guards))
    if facts.checks:
        yield from ("", "Check:", "", *_boxes(facts.checks))
    yield from ("", in_markdown(part.orders))


def _slips(facts: Body) -> Iterator[str]:
    slips = facts.slips
    if slips is None:
        yield in_markdown(f"Not examined: {'; '.join(facts.left_open)}.")
        return
    yield f"{in_markdown(slips.followed)}."
    yield ""
    yield from slips_by_kind(slips.kinds)
    if slips.fewest:
        yield from table(("requirement", "hazard", "severity", "fewest slips", "which"), map(_fewest, slips.fewest))
    else:
        yield from ("No slip that was followed leads to a hazard.", "")
    for text in facts.left_open:
        yield from (in_markdown(f"Left open: {text}."), "")
    yield in_markdown(slips.second_count)


def _fewest(row: Fewest) -> tuple[str, ...]:
    which = "; ".join(map(" and ".join, row.combinations))
    return row.requirement, row.hazard, row.severity, str(row.slips), which


def _boxes(texts: Iterable[str]) -> Iterator[str]:
    yield from (f"- [ ] {in_markdown(text)}" for text in texts)


def _guard(guard: Guard) -> str:
    return f"> **{guard.label}:** {in_markdown(guard.text)}"
