"""A checklist as one printable page, with a plan of the hold at the end of every part."""

from __future__ import annotations

from collections.abc import Iterator

from interlock.report.drawing.plan import plan_svg, plan_without_key_svg
from interlock.report.html.page import page
from interlock.report.views.assumptions import assumptions_of
from interlock.report.views.checklist import ChecklistView
from interlock.report.views.sheets import PROVED, WORKERS, Sheet
from interlock.report.views.wording import sentence


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
        _sheet(view),
        list=view.facts.checklist,
        legs=view.parts,
        first=plan_svg(view.compiled, start, "Before you start"),
        plans=plans,
    )


def _sheet(view: ChecklistView) -> Sheet:
    facts = view.facts
    about = [("Hold", facts.title)] + ([] if facts.situation is None else [("Starts from", facts.situation)])
    return Sheet(
        "Checklist",
        facts.goal,
        sentence(view.summary),
        view.tone,
        (),
        tuple(about),
        facts.identification,
        facts.cautions,
        (*facts.checklist.claims, *assumptions_of(view.compiled)[1:], facts.scheme),
        tuple(_scope(view)),
        WORKERS,
        PROVED,
    )


def _scope(view: ChecklistView) -> Iterator[str]:
    """What is left open."""
    yield from (sentence(f"left open: {text}") for text in view.facts.checklist.left_open)
    if view.facts.checklist.slips is None:
        yield "Slips were not followed to an end: warnings may be missing."
