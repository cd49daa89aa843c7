"""The size of a reachable state space as text."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from interlock.report.text.lines import BLANK, Line, Tone, flow, labelled

if TYPE_CHECKING:
    from interlock.prove.search.explicit import Count


def count_lines(title: str, count: Count, every: bool) -> Iterator[Line]:
    """The numbers; with `every`, those of each depth as well."""
    least = "" if count.complete else "at least "
    yield from flow(title, tone=Tone.HEAD)
    yield from labelled("reachable states:", f"{least}{count.states:,}", 2)
    yield from labelled("steps between them:", f"{least}{count.steps:,}", 2)
    yield from labelled("greatest distance from a start:", f"{least}{count.depth:,} steps", 2)
    dead = f"{least}{count.dead:,}" if count.dead else "none" if count.complete else "none so far"
    yield from labelled("states without any step (dead ends):", dead, 2)
    if every:
        yield BLANK
        yield Line("  distance       states", Tone.HEAD)
        for depth, states in enumerate(count.per_depth):
            yield Line(f"  {depth:>8}  {states:>11,}")
    if not count.complete:
        yield BLANK
        yield from flow("A limit stopped the count: these numbers are lower bounds.", 2, tone=Tone.OPEN)
