"""What may be deferred as one page, for whoever approves."""

from __future__ import annotations

from interlock.report.html.page import page
from interlock.report.views.deferral import DeferralView


def deferral_html(view: DeferralView) -> str:
    """The page."""
    return page("deferral.html.j2", view=view, facts=view.facts)
