"""What must come before what, where some of it goes round in circles.

Reference (from memory)
  R. Tarjan: Depth-first search and linear graph algorithms. SIAM Journal on Computing 1, 1972.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from heapq import heapify, heappop, heappush
from typing import Any, TypeVar

Node = TypeVar("Node")


class Condensation:
    """The strongly connected components of a directed graph, which lead into one another without circles.

    `graph` has every node, and the nodes that it leads to.  `members` are numbered so that each component comes before
    those that it leads to.
    """

    def __init__(self, graph: Mapping[Node, Iterable[Node]]) -> None:
        self.members: list[list[Any]] = list(reversed(_components(graph)))
        number = {node: at for at, own in enumerate(self.members) for node in own}
        self.after: list[set[int]] = [
            {number[other] for node in own for other in graph[node]} - {at} for at, own in enumerate(self.members)
        ]

    def levels(self) -> list[int]:
        """Per component the most that come before it in a row."""
        found = [0] * len(self.members)
        for at, after in enumerate(self.after):
            for other in after:
                found[other] = max(found[other], found[at] + 1)
        return found

    def in_order(self, key: Callable[[int], Any]) -> list[int]:
        """The components, each before those that it leads to; of those that may be next, that with the least key."""
        before = [0] * len(self.members)
        for after in self.after:
            for other in after:
                before[other] += 1
        ready = [(key(at), at) for at, number in enumerate(before) if not number]
        heapify(ready)
        found = []
        while ready:
            _, at = heappop(ready)
            found.append(at)
            for other in self.after[at]:
                before[other] -= 1
                if not before[other]:
                    heappush(ready, (key(other), other))
        return found


def _components(graph: Mapping[Node, Iterable[Node]]) -> list[list[Node]]:
    """Each component after those that it leads to."""
    found: list[list[Node]] = []
    entered: dict[Node, int] = {}
    lowest: dict[Node, int] = {}
    open_: list[Node] = []
    placed: set[Node] = set()
    for root in graph:
        stack = [(root, iter(graph[root]))] if root not in entered else []
        while stack:
            node, rest = stack[-1]
            if node not in entered:
                entered[node] = lowest[node] = len(entered)
                open_.append(node)
            other = next((one for one in rest if one not in placed), None)
            if other is None:
                stack.pop()
                if stack:
                    above = stack[-1][0]
                    lowest[above] = min(lowest[above], lowest[node])
                if lowest[node] == entered[node]:
                    found.append([open_.pop()])
                    while found[-1][-1] != node:
                        found[-1].append(open_.pop())
                    placed.update(found[-1])
            elif other in entered:
                lowest[node] = min(lowest[node], entered[other])
            else:
                stack.append((other, iter(graph[other])))
    return found
