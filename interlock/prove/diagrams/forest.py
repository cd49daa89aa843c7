"""Sets of states as decision diagrams with a level for every variable, closed under steps by saturation.

A node has one child per value of its variable; child 0 is the empty set, and below the last variable stands 1.  No
level is left out, so the children alone say which node it is, and equal sets are one node.  What rules do is a diagram
too (`relations`): at each of its levels moves from one value to another, levels between left as they are.

Saturation closes a node under all steps that touch nothing above it, from the bottom up, so what is found below is
used everywhere above, and sets stay close to what they are in the end.

References (from memory)
  R. E. Bryant: Graph-based algorithms for Boolean function manipulation. IEEE Trans. Computers 35(8), 1986.
  G. Ciardo, G. Lüttgen, R. Siminiceanu: Saturation, an efficient iteration strategy for symbolic state-space
  generation. TACAS 2001.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import TypeAlias

from interlock.prove.engine import Clock, OutOfTime

EMPTY = 0
"""The set without states; as a relation, the one without steps."""
ALL = 1
"""What stands below the last variable; as a relation, leaving everything below as it is."""
LOOK_EVERY = 2_048
"""Pieces of work between two looks at the clock."""
FRAMES_PER_LEVEL = 8
"""Calls that stand within each other for every level, at most."""

Move: TypeAlias = tuple[int, int, int]
"""From one place in the domain to another, and the relation on what lies below."""


class Exhausted(OutOfTime):
    """More work was needed than was allowed, whatever the time."""


@contextmanager
def deep_enough(levels: int) -> Iterator[None]:
    """Calls may stand within each other as deep as so many levels need: the operations follow diagrams down.

    Calls of Python functions by Python functions take no room on the processor's stack.
    """
    before = sys.getrecursionlimit()
    sys.setrecursionlimit(max(before, before + FRAMES_PER_LEVEL * levels))
    try:
        yield
    finally:
        sys.setrecursionlimit(before)


class Work:
    """What was done, in pieces of about a microsecond; more than `most` is not."""

    def __init__(self, clock: Clock, most: int | None) -> None:
        self.clock = clock
        self.most = most
        self.done = 0
        self._next = 0

    def allow(self, more: int) -> None:
        """From now on so much more may be done."""
        self.most = self.done + more

    def look(self, pieces: int = 1) -> None:
        """Counts the pieces.  Raises OutOfTime, or Exhausted where there were too many."""
        self.done += pieces
        if self.done >= self._next:
            self._next = self.done + LOOK_EVERY
            self.clock.check()
            if self.most is not None and self.done > self.most:
                raise Exhausted


class Forest:
    """Nodes of sets and of relations, each kind numbered; level 1 is the lowest variable."""

    def __init__(self, work: Work) -> None:
        self.work = work
        self.kids: list[tuple[int, ...]] = [(), ()]
        self.levels = [0, 0]
        self.moves: list[tuple[Move, ...]] = [(), ()]
        """Per relation, what it does at its level."""
        self.heights = [0, 0]
        """Per relation its level."""
        self.events: dict[int, list[tuple[Move, ...]]] = {}
        """Per level the moves of the relations that touch it and nothing above."""
        self._sets: dict[tuple[int, ...], int] = {}
        self._relations: dict[tuple[int, tuple[Move, ...]], int] = {}
        self._joined: dict[tuple[int, int], int] = {}
        self._unions: dict[tuple[int, int], int] = {}
        self._images: dict[tuple[int, int], int] = {}
        self._fired: dict[tuple[int, int], int] = {}
        self._closed: dict[int, int] = {}

    def node(self, kids: Sequence[int]) -> int:
        """The set that has these children."""
        key = tuple(kids)
        found = self._sets.get(key)
        if found is None:
            below = max(key)
            if below == EMPTY:
                return EMPTY
            self.work.look(1 + len(key) // 4)
            found = self._sets[key] = len(self.kids)
            self.kids.append(key)
            self.levels.append(self.levels[below] + 1)
        return found

    def relation(self, height: int, moves: Sequence[Move]) -> int:
        """The relation that makes these moves at its level."""
        if not moves:
            return EMPTY
        key = height, tuple(sorted(moves))
        found = self._relations.get(key)
        if found is None:
            self.work.look(1 + len(moves) // 4)
            found = self._relations[key] = len(self.moves)
            self.moves.append(key[1])
            self.heights.append(height)
        return found

    def union(self, one: int, other: int) -> int:
        """The states of either set; both of one level, or empty."""
        if one == other or not other:
            return one
        if not one:
            return other
        key = (one, other) if one < other else (other, one)
        found = self._unions.get(key)
        if found is None:
            self.work.look()
            union = self.union
            pairs = zip(self.kids[one], self.kids[other], strict=True)
            found = self.node([a if a == b or not b else union(a, b) if a else b for a, b in pairs])
            self._unions[key] = found
        return found

    def image(self, states: int, relation: int) -> int:
        """The states one step of the relation after these."""
        if relation == ALL or not states:
            return states
        key = states, relation
        found = self._images.get(key)
        if found is None:
            self.work.look()
            kids = self.kids[states]
            if self.heights[relation] < self.levels[states]:
                after = [self.image(kid, relation) for kid in kids]
            else:
                after = [EMPTY] * len(kids)
                for before, to, below in self.moves[relation]:
                    if kids[before]:
                        after[to] = self.union(after[to], self.image(kids[before], below))
            found = self._images[key] = self.node(after)
        return found

    def saturate(self, states: int) -> int:
        """The states of the set and all that steps lead to from them."""
        if states <= ALL:
            return states
        found = self._closed.get(states)
        if found is None:
            kids = [self.saturate(kid) for kid in self.kids[states]]
            found = self._closed[states] = self._close(self.levels[states], kids)
        return found

    def _close(self, level: int, kids: list[int]) -> int:
        """The node of these closed children, closed."""
        start = self.node(kids)
        if not start or start in self._closed:
            return self._closed.get(start, EMPTY)
        events = self.events.get(level, ())
        fire, union = self._fire, self.union
        changed = bool(events)
        while changed:
            changed = False
            for moves in events:
                for before, to, below in moves:
                    if kids[before] and (after := fire(kids[before], below)):
                        joined = union(kids[to], after)
                        if joined != kids[to]:
                            kids[to] = joined
                            changed = True
        found = self.node(kids)
        self._closed[start] = self._closed[found] = found
        return found

    def _fire(self, states: int, relation: int) -> int:
        """The image of a closed set, closed."""
        if relation == ALL:
            return states
        key = states, relation
        found = self._fired.get(key)
        if found is None:
            self.work.look()
            kids = self.kids[states]
            if self.heights[relation] < self.levels[states]:
                fire = self._fire
                after = [fire(kid, relation) if kid else EMPTY for kid in kids]
            else:
                after = [EMPTY] * len(kids)
                for before, to, below in self.moves[relation]:
                    if kids[before]:
                        after[to] = self.union(after[to], self._fire(kids[before], below))
            found = self._fired[key] = self._close(self.levels[states], after)
        return found

    def join(self, one: int, other: int, sizes: Sequence[int]) -> int:
        """The steps of either relation; `sizes[level]` is how many values the variable there has."""
        if one == other or not other:
            return one
        if not one:
            return other
        key = (one, other) if one < other else (other, one)
        found = self._joined.get(key)
        if found is not None:
            return found
        self.work.look()
        height = max(self.heights[one], self.heights[other])
        joined: dict[tuple[int, int], int] = {}
        for relation in (one, other):
            moves: Sequence[Move] = self.moves[relation]
            if self.heights[relation] < height:
                moves = [(value, value, relation) for value in range(sizes[height])]
            for before, to, below in moves:
                joined[before, to] = self.join(joined.get((before, to), EMPTY), below, sizes)
        found = self.relation(height, [(before, to, below) for (before, to), below in joined.items()])
        self._joined[key] = found
        return found

    def count(self, states: int) -> int:
        """How many states are in the set."""
        known = {EMPTY: 0, ALL: 1}
        # children come before their parents
        for node in self.below(states):
            known[node] = sum(known[kid] for kid in self.kids[node])
        return known[states]

    def below(self, states: int) -> list[int]:
        """The nodes of the set, its children before it, without the two that have none."""
        seen = {EMPTY, ALL, states}
        stack = [states]
        while stack:
            for kid in self.kids[stack.pop()]:
                if kid not in seen:
                    seen.add(kid)
                    stack.append(kid)
        return sorted(seen - {EMPTY, ALL})

    def holds(self, states: int, places: Sequence[int]) -> bool:
        """The state whose values stand at these places, the lowest level first, is in the set."""
        for place in reversed(places):
            states = self.kids[states][place] if states else EMPTY
        return states == ALL
