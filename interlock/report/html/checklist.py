"""A checklist as one printable page, with a plan of the hold at the end of every part."""

from __future__ import annotations

from interlock.report.drawing.plan import plan_svg, plan_without_key_svg
from interlock.report.html.page import page
from interlock.report.views.checklist import ChecklistView


def checklist_html(view: ChecklistView) -> str:
    """The page."""
    start, *ends = view.states
    # marked safe in the template: our own drawings, in which xml.etree has escaped every text
    plans = [
        plan_without_key_svg(view.compiled, end, f"After part {number}: {part.facts.title}")
        for number, (end, part) in enumerate(zip(ends, view.parts, strict=True), 1)
    ]
    return page(
        "checklist.html.j2",
        facts=view.facts,
        list=view.facts.checklist,
        parts=view.parts,
        first=plan_svg(view.compiled, start, "Before you start"),
        plans=plans,
    )
