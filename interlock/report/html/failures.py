"""An analysis of failures as one page to print and sign."""

from __future__ import annotations

from collections.abc import Iterator

from interlock.report.html.page import page
from interlock.report.views import failure_tables
from interlock.report.views.failure_likes import FOLLOWING
from interlock.report.views.failure_noticing import noticing_of
from interlock.report.views.failures import FailuresView, at_least
from interlock.report.views.sheets import Sheet
from interlock.report.views.wording import count_of, sentence

MOST_OPEN = 200
"""Sets that are not settled are named up to so many."""


def failures_html(view: FailuresView) -> str:
    """The page."""
    return page(
        "failures.html.j2",
        _sheet(view),
        view=view,
        facts=view.facts,
        tables=failure_tables,
        requirements=failure_tables.by_requirement(view),
        following=FOLLOWING,
        noticing=noticing_of(view),
        most_open=MOST_OPEN,
    )


def _sheet(view: FailuresView) -> Sheet:
    facts = view.facts
    return Sheet(
        "Analysis of failures",
        facts.title,
        view.result,
        view.tone,
        tuple(f"{one.id}: {one.disputed}" for one in facts.requirements if one.disputed is not None),
        tuple(failure_tables.identification(view)),
        facts.identification,
        facts.cautions,
        facts.assumptions,
        tuple(_scope(view)),
    )


def _scope(view: FailuresView) -> Iterator[str]:
    """How far the sets are all of them, and what was not analysed."""
    yield sentence(view.completeness)
    if view.facts.excluded:
        yield f"Taken not to fail, as the description says: {count_of(len(view.facts.excluded), 'way')} to fail."
    for one in view.facts.chattering:
        yield sentence(f"not analysed: {one.text}")
    if view.open_sets:
        more = at_least(view.facts.requirements, view.size)
        yield f"Not settled: {more}{count_of(len(view.open_sets), 'set')}."
