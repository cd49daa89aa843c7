"""A comparison of two holds as one page to print and sign."""

from __future__ import annotations

from interlock.report.html.page import page
from interlock.report.views.blame import said_changes
from interlock.report.views.comparison import ORDER, TOLD_TURNS, ComparisonView


def comparison_html(view: ComparisonView) -> str:
    """The page."""
    return page(
        "comparison.html.j2",
        view=view,
        facts=view.facts,
        order=ORDER,
        turns=TOLD_TURNS,
        said_changes=said_changes,
    )
