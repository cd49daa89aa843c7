"""The size of a reachable state space as text."""

from __future__ import annotations

from collections.abc import Iterator

from interlock.report.text.lines import BLANK, Line, Tone, flow, row_lines
from interlock.report.views.count import CountView


def count_lines(view: CountView, every: bool) -> Iterator[Line]:
    """The numbers; with `every`, those of each depth as well."""
    yield from flow(view.title, tone=Tone.HEAD)
    yield from row_lines(view.rows)
    if every:
        yield BLANK
        yield Line("  distance       states", Tone.HEAD)
        for depth, states in enumerate(view.per_depth):
            yield Line(f"  {depth:>8}  {states:>11,}")
    if not view.complete:
        yield BLANK
        yield from flow("A limit stopped the count: these numbers are lower bounds.", 2, tone=Tone.OPEN)
