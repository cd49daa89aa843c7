"""A sheet of questions to print or to answer on a screen, with its answers on a sheet of their own."""

from __future__ import annotations

from functools import partial
from string import ascii_uppercase

from interlock.diagnostics.said import in_language, say
from interlock.report.drawing.pieces import whole_plan
from interlock.report.html.page import page
from interlock.report.translation import ENGLISH, Translation
from interlock.report.views.questions import SheetView


def questions_html(view: SheetView, language: Translation = ENGLISH) -> str:
    """The page."""
    tell = partial(in_language, language=language)
    plans = [
        None
        if one.state is None
        else whole_plan(view.compiled, one.state, say("Question {number}", number=number), tell)
        for number, one in enumerate(view.questions, 1)
    ]
    return page("questions.html.j2", language=language, view=view, plans=plans, letters=ascii_uppercase)
