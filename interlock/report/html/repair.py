"""What would mend a hold as one page, for whoever engineers it."""

from __future__ import annotations

from interlock.report.html.page import page
from interlock.report.views.repair import RepairView
from interlock.report.views.sheets import Sheet
from interlock.report.views.wording import count_of, sentence


def repair_html(view: RepairView) -> str:
    """The page."""
    return page("repair.html.j2", _sheet(view), view=view, facts=view.facts)


def _sheet(view: RepairView) -> Sheet:
    facts = view.facts
    return Sheet(
        "Proposed changes: what would mend what fails, to be engineered and approved",
        facts.title,
        sentence(view.summary),
        view.tone,
        (sentence(view.summary),) if facts.outcome == "disputed" else (),
        (("What fails", count_of(len(facts.failing), "requirement")),),
        facts.identification,
        facts.cautions,
        facts.assumptions,
        tuple(sentence(one.statement) for one in facts.tried),
    )
