"""Partial orders of steps: which orders of work are as good as the one that is written down, and how many there are.

An order is given by its size and by (earlier, later) pairs over places that count from 0; the order 0, 1, 2, ... is
always one of those allowed.  A *downset* is a set of steps that can be the first ones; it is a bit mask here.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

MOST_DOWNSETS = 100_000
"""Downsets that are looked at before the count is given up."""


def predecessors_of(size: int, pairs: Iterable[tuple[int, int]]) -> tuple[int, ...]:
    """Per place the mask of the places that must come directly or indirectly before it.

    Raises ValueError for a pair that does not lead from an earlier to a later place.
    """
    direct = [0] * size
    for earlier, later in pairs:
        if not 0 <= earlier < later < size:
            raise ValueError(f"{earlier} before {later} does not fit an order of {size}")
        direct[later] |= 1 << earlier
    for place in range(size):
        for earlier in range(place):
            if direct[place] >> earlier & 1:
                direct[place] |= direct[earlier]
    return tuple(direct)


def available(before: Sequence[int], done: int) -> Iterator[int]:
    """The places that can come next after those in the mask, ascending."""
    for place, needed in enumerate(before):
        if not done >> place & 1 and needed & ~done == 0:
            yield place


def count_orders(before: Sequence[int], most: int = MOST_DOWNSETS) -> int | None:
    """The number of orders that respect `before` (linear extensions), exactly; None beyond `most` downsets.

    Counts ways from the empty downset upwards, one size after another; time and memory go with the downsets.
    """
    ways = {0: 1}
    seen = 1
    for _ in before:
        larger: dict[int, int] = {}
        for done, number in ways.items():
            for place in available(before, done):
                after = done | 1 << place
                larger[after] = larger.get(after, 0) + number
        ways = larger
        seen += len(ways)
        if seen > most:
            return None
    return ways[(1 << len(before)) - 1]


def reduced(size: int, pairs: Iterable[tuple[int, int]]) -> tuple[tuple[int, int], ...]:
    """The pairs that do not follow from the others (transitive reduction), sorted."""
    import networkx

    graph: networkx.DiGraph[int] = networkx.DiGraph()
    graph.add_nodes_from(range(size))
    graph.add_edges_from(pairs)
    return tuple(sorted(networkx.transitive_reduction(graph).edges))


def free_runs(before: Sequence[int]) -> tuple[tuple[int, int], ...]:
    """(first, last) of the longest runs of neighbouring places of which none must come before another, in order.

    Any order within each run, with everything else as it stands, is allowed.
    """
    runs = []
    first = 0
    while first < len(before):
        last = first
        while last + 1 < len(before) and before[last + 1] >> first == 0:
            last += 1
        if last > first:
            runs.append((first, last))
        first = last + 1
    return tuple(runs)
