"""A sheet of questions to print or to answer on a screen, with its answers on a sheet of their own."""

from __future__ import annotations

from string import ascii_uppercase

from interlock.report.drawing.plan import plan_without_key_svg
from interlock.report.html.page import page
from interlock.report.views.questions import SheetView


def questions_html(view: SheetView) -> str:
    """The page."""
    # marked safe in the template: our own drawings, in which xml.etree has escaped every text
    plans = [
        "" if one.state is None else plan_without_key_svg(view.compiled, one.state, f"Question {number}")
        for number, one in enumerate(view.questions, 1)
    ]
    return page("questions.html.j2", view=view, plans=plans, letters=ascii_uppercase)
