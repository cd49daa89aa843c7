"""An audit as one page to print and sign."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import groupby

from interlock.report.html.page import page
from interlock.report.views.audit import AuditView
from interlock.report.views.audit_facts import Effect
from interlock.report.views.interruptions import InterruptionTold
from interlock.report.views.margin import MARGIN, others_text

MOST_LEFT = 4
MOST_STEPS = 12
"""Steps of a run that are shown: its end."""


def audit_html(view: AuditView) -> str:
    """The page."""
    slips, margin = view.facts.slips or (), view.facts.margin
    return page(
        "audit.html.j2",
        view=view,
        facts=view.facts,
        interruptions=list(_interruptions(view)),
        hazardous=[one for one in slips if one.effect is Effect.HAZARD],
        unnoticed=[one for one in slips if one.effect is Effect.UNNOTICED],
        most_steps=MOST_STEPS,
        margin_title=MARGIN,
        others="" if margin is None else others_text(margin),
    )


def _interruptions(view: AuditView) -> Iterator[tuple[str, str, str, str]]:
    """One row for neighbouring places of which the same is to be said."""

    def said(one: InterruptionTold) -> tuple[str, str, str]:
        left = one.facts.left_behind
        more = [f"{len(left) - MOST_LEFT} more"] if len(left) > MOST_LEFT else []
        return one.risks, "; ".join([*left[:MOST_LEFT], *more]), one.afterwards

    for row, alike in groupby(view.interruptions, key=said):
        first, *others = alike
        yield (f"from {first.where} to {others[-1].where}" if others else first.where, *row)
