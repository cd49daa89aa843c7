"""A fleet as one page, for whoever approves."""

from __future__ import annotations

from collections.abc import Iterator

from interlock.report.html.page import page
from interlock.report.views.fleet import TONES, WORDS, FleetView
from interlock.report.views.sheets import Sheet
from interlock.report.views.wording import count_of


def fleet_html(view: FleetView) -> str:
    """The page."""
    return page("fleet.html.j2", _sheet(view), view=view, facts=view.facts, tones=TONES, words=WORDS)


def _sheet(view: FleetView) -> Sheet:
    facts = view.facts
    return Sheet(
        "Fleet: a verdict for each aircraft, and what tells them apart",
        facts.title,
        view.summary,
        view.tone,
        tuple(one.why for group in facts.groups for one in group.disputed),
        (("Asked", count_of(len(facts.configurations), "configuration")),),
        facts.identification,
        facts.cautions,
        facts.assumptions,
        tuple(_scope(view)),
    )


def _scope(view: FleetView) -> Iterator[str]:
    """What was not proved of some aircraft."""
    for group in view.facts.groups:
        if group.result == "rejected":
            yield f"Group {group.number}: {len(group.tails):,} aircraft, no hold, nothing was asked."
        elif group.open or group.why:
            yield f"Group {group.number}: {len(group.tails):,} aircraft, left open as said there."
