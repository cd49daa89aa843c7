"""What may be deferred, as Markdown: the table that goes to whoever approves."""

from __future__ import annotations

from collections.abc import Iterator

from interlock.report.languages import in_markdown
from interlock.report.markdown.writing import bullets, heading, identified, signature, table
from interlock.report.views.deferral import DeferralView
from interlock.report.views.deferral_facts import CaseFacts
from interlock.report.views.wording import listed, sentence

ANYWAY = " (fails with nothing inoperative too)"


def deferral_markdown(view: DeferralView) -> str:
    """All of it."""
    return "\n".join(_parts(view)) + "\n"


def _parts(view: DeferralView) -> Iterator[str]:
    facts = view.facts
    yield from heading(f"Items inoperative: {facts.title}", 1)
    yield f"- description: {in_markdown(facts.description)}"
    yield ""
    if len(facts.cases) > 1:
        yield from heading("All cases")
        yield from table(("inoperative", "to be kept then", "ways to carry a unit left"), view.table)
    yield from heading("Drafts, to be approved")
    yield from table(
        ("item", "number installed", "number required for dispatch", "remarks or exceptions"),
        (
            (relief.item, relief.installed, relief.required, " ".join(map(sentence, relief.remarks)))
            for case in facts.cases
            for relief in view.relief(case)
        ),
    )
    for case in facts.cases:
        yield from _case(view, case)
    yield from heading("What this assumes")
    yield from bullets(facts.assumptions)
    yield from identified(facts.identification)
    yield from heading("Caution")
    yield from bullets(facts.cautions)
    yield from signature()


def _case(view: DeferralView, case: CaseFacts) -> Iterator[str]:
    yield from heading(sentence(listed([one.text for one in case.items])).rstrip("."))
    yield in_markdown(view.result(case))
    yield ""
    if case.failing:
        yield from heading("What fails without limitations", 3)
        yield from table(
            ("requirement", "hazard", "severity"),
            (
                (one.id + ANYWAY * (one.id in case.failed_before), one.hazard, f"{one.severity} ({one.scheme})")
                for one in case.failing
            ),
        )
    if case.options:
        yield from heading("Smallest sets of limitations", 3)
        yield from table(
            ("limitations", "leaves", "takes"),
            (
                (
                    " ".join(sentence(one.order) for one in option.limitations),
                    "not worked out" if option.leaves is None else f"{len(option.leaves)} of {case.left}",
                    "; ".join(option.takes or ()),
                )
                for option in case.options
            ),
        )
    for title, steps in view.procedures(case):
        yield from heading(f"Draft of a procedure: {title}", 3)
        yield from (f"- [ ] {in_markdown(sentence(step))}" for step in steps)
        yield ""
    if case.lost:
        yield f"No longer carried, limitations aside: {in_markdown(listed(case.lost))}."
        yield ""
    if case.unknown:
        yield f"Not known whether still carried: {in_markdown(listed(case.unknown))}."
        yield ""
