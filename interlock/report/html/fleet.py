"""A fleet as one page."""

from __future__ import annotations

from interlock.report.html.page import page
from interlock.report.views.fleet import TONES, WORDS, FleetView


def fleet_html(view: FleetView) -> str:
    """The page."""
    return page("fleet.html.j2", view=view, facts=view.facts, tones=TONES, words=WORDS)
