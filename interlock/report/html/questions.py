"""A sheet of questions to print or to answer on a screen, with its answers on a sheet of their own."""

from __future__ import annotations

from string import ascii_uppercase

from interlock.report.drawing.pieces import whole_plan
from interlock.report.html.page import page
from interlock.report.views.questions import SheetView


def questions_html(view: SheetView) -> str:
    """The page."""
    plans = [
        None if one.state is None else whole_plan(view.compiled, one.state, f"Question {number}")
        for number, one in enumerate(view.questions, 1)
    ]
    return page("questions.html.j2", view=view, plans=plans, letters=ascii_uppercase)
