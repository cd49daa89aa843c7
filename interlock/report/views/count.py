"""The size of a reachable state space as it is told."""

from __future__ import annotations

from interlock.diagnostics.frozen import frozen
from interlock.prove.search.explicit import Count
from interlock.report.views.rows import Row


@frozen
class CountView:
    """The numbers; `per_depth` has the states of each distance from a start.  Not `complete`: lower bounds."""

    title: str
    rows: tuple[Row, ...]
    per_depth: tuple[int, ...]
    complete: bool


def count_view(title: str, count: Count) -> CountView:
    """What is told of the count; `title` is that of the hold."""
    least = "" if count.complete else "at least "
    none = "none" if count.complete else "none so far"
    rows = (
        Row("reachable states:", f"{least}{count.states:,}"),
        Row("steps between them:", f"{least}{count.steps:,}"),
        Row("greatest distance from a start:", f"{least}{count.depth:,} steps"),
        Row("states without any step (dead ends):", f"{least}{count.dead:,}" if count.dead else none),
    )
    return CountView(title, rows, tuple(count.per_depth), count.complete)
