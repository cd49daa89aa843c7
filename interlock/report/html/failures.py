"""An analysis of failures as one page to print and sign."""

from __future__ import annotations

from interlock.report.html.page import page
from interlock.report.views import failure_tables
from interlock.report.views.failures import FailuresView
from interlock.report.views.wording import count_of

MOST_OPEN = 200
"""Sets that are not settled are named up to so many."""


def failures_html(view: FailuresView) -> str:
    """The page."""
    return page(
        "failures.html.j2",
        view=view,
        facts=view.facts,
        tables=failure_tables,
        count_of=count_of,
        most_open=MOST_OPEN,
    )
