"""A functional test as one printable page, with a plan of the hold as it is when the test begins."""

from __future__ import annotations

from interlock.report.drawing.plan import plan_svg
from interlock.report.html.page import page
from interlock.report.views.functional_test import KEEP_CLEAR, FunctionalTestView


def functional_test_html(view: FunctionalTestView) -> str:
    """The page."""
    return page(
        "functional_test.html.j2",
        facts=view.facts,
        view=view,
        keep_clear=KEEP_CLEAR,
        # marked safe in the template: our own drawing, in which xml.etree has escaped every text
        plan=plan_svg(view.compiled, view.start, "Before you start"),
    )
