"""The places that two departures lead to, as rows of numbers, very many of them at once.

What comes after one departure is few places, which `InterleavingSearch` has node by node.  What comes after two is as
many as those times the departures there.  Here a place is a row: the words of the hold's state, then the point.  Rules
and moves fire on all rows of a turn together, and a row that is a node of the search, or was met before, is followed no
further.

Reference (from memory): E. F. Moore: The shortest path through a maze. 1959. (breadth-first search)
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Iterator, Sequence
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from interlock.kernel.expressions import TRUE, Expr
from interlock.prove.search.arrays import WORD, Layout, Words, compile_truths
from interlock.study.procedure.interleavings import InterleavingSearch, TooMuch

Flags: TypeAlias = NDArray[np.bool_]
Places: TypeAlias = NDArray[np.int64]
"""Numbers of places: a node of the search has its own number, what is found here the numbers after those."""

CHUNK = 16_384
"""Rows that are followed at once at most."""
MIXER = np.uint64(0x9E3779B97F4A7C15)
"""Odd; times this, the high bits of a word depend on all its bits (D. E. Knuth, TAOCP 3, 6.4: golden ratio)."""


class Beyond:
    """The places that are reached from some others without a departure, apart from the nodes that the search has."""

    def __init__(self, search: InterleavingSearch, most: int) -> None:
        self.search = search
        self.most = most
        self.known = len(search.edges)
        """The nodes of the search that are followed there; places found here have the numbers from this one on."""
        graph = search.graph
        self.layout = Layout(graph.machine)
        self._words = self.layout.words
        self.tests: dict[Expr, int] = {}
        """All that is asked of a place, numbered."""
        self._plant = [(self._test(rule.guard), self.layout.writes(rule), rule.name) for rule in search.acting]
        moves: dict[tuple[str | None, Expr], dict[int, list[tuple[int, int]]]] = {}
        for place, move in enumerate(graph.moves):
            if move.slip is None:
                moves.setdefault((move.rule, move.when), {}).setdefault(move.source, []).append((place, move.dest))
        self._moves = []
        for (name, when), by_source in moves.items():
            rule = None if name is None else graph.machine.rule(name)
            tests = (self._test(TRUE if rule is None else rule.guard), self._test(when))
            writes = {} if rule is None else self.layout.writes(rule)
            for nth in range(max(map(len, by_source.values()))):
                table = np.full((len(graph.points), 2), -1, np.int64)
                for source, entries in by_source.items():
                    if nth < len(entries):
                        table[source] = entries[nth]
                self._moves.append((tests, writes, name, table))
        self._bad = [self._test(hazard.bad) for hazard in search.hazards]
        self._standing = [at for at, hazard in enumerate(search.hazards) if hazard.steps is None]
        self._stepping: dict[str, list[int]] = {}
        for at, hazard in enumerate(search.hazards):
            for name in hazard.steps or ():
                self._stepping.setdefault(name, []).append(at)
        self.truths = compile_truths(self.layout, list(self.tests))
        """What is true of places given by their words, of `tests` by their numbers."""
        self._numbers: dict[int, int] = {}
        self._clashing: dict[bytes, int] = {}
        """Rows whose digest is that of another row."""
        self._rows: Words = np.empty((1024, self._words + 1), np.uint64)
        self.count = 0
        """The places there are, the nodes of the search among them."""
        self._followed = self.known
        self._edges: list[tuple[Places, Places, Places]] = []
        self._hits: dict[int, list[Places]] = {}
        self.enter(search.point[: self.known], search.hold[: self.known])

    def _test(self, expr: Expr) -> int:
        return self.tests.setdefault(expr, len(self.tests))

    def enter(self, points: Sequence[int], holds: Sequence[int]) -> Places:
        """The places of these points with these packed states of the hold; what is new waits to be followed."""
        width = self._words * WORD // 8
        packed = b"".join(hold.to_bytes(width, "little") for hold in holds)
        rows = np.empty((len(points), self._words + 1), np.uint64)
        rows[:, :-1] = np.frombuffer(packed, "<u8").reshape(len(points), self._words)
        rows[:, -1] = points
        return self._enter(rows)

    def _enter(self, rows: Words) -> Places:
        digest = np.zeros(len(rows), np.uint64)
        for at in range(self._words + 1):
            digest = (digest ^ rows[:, at]) * MIXER
            digest ^= digest >> np.uint64(29)
        numbers, first = self._numbers, self.count
        found = np.array([numbers.setdefault(one, -1) for one in digest.tolist()], np.int64)
        fresh = np.flatnonzero(found < 0)
        kept: list[int] = []
        for at, one in zip(fresh.tolist(), digest[fresh].tolist(), strict=True):
            if numbers[one] < 0:
                numbers[one] = first + len(kept)
                kept.append(at)
            found[at] = numbers[one]
        self._keep(rows[kept])
        # the digest only says where to look: what is there must be the very row
        for at in np.flatnonzero((self._rows[found] != rows).any(axis=1)).tolist():
            row = rows[at].tobytes()
            if row not in self._clashing:
                self._clashing[row] = self.count
                self._keep(rows[at : at + 1])
            found[at] = self._clashing[row]
        return found

    def _keep(self, rows: Words) -> None:
        last = self.count + len(rows)
        if last > len(self._rows):
            larger = np.empty((max(last, 2 * len(self._rows)), self._words + 1), np.uint64)
            larger[: self.count] = self._rows[: self.count]
            self._rows = larger
        self._rows[self.count : last] = rows
        self.count = last

    def rows_of(self, places: Sequence[int]) -> Words:
        """The words of the hold's state and the point, a row for each place."""
        found: Words = self._rows[np.array(places, np.int64)]
        return found

    def happenings(self, points: Places) -> Iterator[tuple[tuple[int, ...], Flags | None]]:
        """All that can happen at places with these points: which tests must hold, and where (None: everywhere)."""
        yield from (((test,), None) for test in {test for test, _, _ in self._plant} | set(self._bad))
        for tests, _, _, table in self._moves:
            yield tests, table[points, 0] >= 0

    def follow(self) -> None:
        """Follows all that waits, and what it leads to.  Raises OutOfTime and TooMuch."""
        while self._followed < self.count:
            self.search.clock.check()
            if self.count > self.most:
                raise TooMuch
            first = self._followed
            self._followed = min(self.count, first + CHUNK)
            self._expand(first, self._followed)

    def _expand(self, first: int, last: int) -> None:
        rows = self._rows[first:last]
        everything = np.arange(last - first)
        points = rows[:, -1].astype(np.int64)
        truths = dict(self.truths([np.ascontiguousarray(rows[:, at]) for at in range(self._words)]))
        for hazard in self._standing:
            self._hit(hazard, first + _where(truths.get(self._bad[hazard]), everything))
        sources: list[Places] = []
        whats: list[Places] = []
        after: list[Words] = []

        def fired(at: Places, what: Places, writes: dict[int, tuple[int, int]], name: str | None) -> Words:
            moved: Words = rows[at]
            for word, (keep, bits) in writes.items():
                moved[:, word] = moved[:, word] & np.uint64(keep) | np.uint64(bits)
            for hazard in self._stepping.get(name or "", ()):
                self._hit(hazard, first + _among(truths.get(self._bad[hazard]), at))
            sources.append(at)
            whats.append(what)
            after.append(moved)
            return moved

        for place, (test, writes, rule) in enumerate(self._plant):
            at = _where(truths.get(test), everything)
            if len(at):
                fired(at, np.full(len(at), -1 - place), writes, rule)
        for (guard, when), writes, name, table in self._moves:
            at = _among(truths.get(guard), _where(truths.get(when), everything))
            if not len(at):
                continue
            entry = table[points[at]]
            there = entry[:, 0] >= 0
            if there.any():
                at, entry = at[there], entry[there]
                fired(at, entry[:, 0], writes, name)[:, -1] = entry[:, 1]
        if sources:
            self._edges.append(
                (first + np.concatenate(sources), np.concatenate(whats), self._enter(np.concatenate(after)))
            )

    def _hit(self, hazard: int, places: Places) -> None:
        if len(places):
            self._hits.setdefault(hazard, []).append(places)

    def reaching(self, hazards: Iterable[int]) -> Iterator[tuple[int, Flags]]:
        """Per hazard all places, nodes of the search among them, from which it can be reached without a departure."""
        source, _, dest = self._joined()
        order = np.argsort(dest, kind="stable")
        before = source[order]
        bounds = np.searchsorted(dest[order], np.arange(self.count + 1))
        outcomes = self.search.outcomes
        for hazard in hazards:
            self.search.clock.check()
            reach = np.zeros(self.count, np.bool_)
            reach[: self.known] = [outcome >> hazard & 1 for outcome in outcomes[: self.known]]
            for places in self._hits.get(hazard, ()):
                reach[places] = True
            fresh = np.flatnonzero(reach)
            while len(fresh):
                earlier = np.unique(before[_ranges(bounds[fresh], bounds[fresh + 1])])
                fresh = earlier[~reach[earlier]]
                reach[fresh] = True
            yield hazard, reach

    @property
    def met(self) -> int:
        """The hazards that are met in some place found here, as bits."""
        return sum(1 << hazard for hazard in self._hits)

    def outcomes_left(self) -> set[int]:
        """What can come of the nodes of the search to which what is found here leads back."""
        _, _, dest = self._joined()
        return {self.search.outcomes[node] for node in np.unique(dest[dest < self.known]).tolist()}

    def way(self, place: int, hazard: int) -> list[tuple[int, int]]:
        """The shortest way without a departure from a place to where the hazard is met or to a node of the search.

        As (number of a place, what led to it: as in an `Edge`), without the first; that must be found here, and such a
        way must be there.
        """
        source, what, dest = self._joined()
        order = np.argsort(source, kind="stable")
        bounds = np.searchsorted(source[order], np.arange(self.count + 1))
        ends = {int(one) for places in self._hits.get(hazard, ()) for one in places}
        outcomes = self.search.outcomes
        parents: dict[int, tuple[int, int]] = {}
        queue = deque([place])
        while queue:
            here = queue.popleft()
            if here in ends or (here < self.known and outcomes[here] >> hazard & 1):
                found = []
                while here != place:
                    found.append((here, parents[here][1]))
                    here = parents[here][0]
                return found[::-1]
            if here >= self.known:
                for at in order[bounds[here] : bounds[here + 1]].tolist():
                    after = int(dest[at])
                    if after != place and after not in parents:
                        parents[after] = (here, int(what[at]))
                        queue.append(after)
        raise ValueError("the hazard is not reached from there")

    def node(self, place: int) -> int:
        """The node of the search for a place."""
        if place < self.known:
            return place
        row = self._rows[place]
        return self.search.node(int(row[-1]), int.from_bytes(row[:-1].astype("<u8").tobytes(), "little"))

    def _joined(self) -> tuple[Places, Places, Places]:
        if not self._edges:
            nothing = np.empty(0, np.int64)
            return nothing, nothing, nothing
        if len(self._edges) > 1:
            parts = zip(*self._edges, strict=True)
            source, what, dest = (np.concatenate(part) for part in parts)
            self._edges = [(source, what, dest)]
        return self._edges[0]


def _where(truth: Flags | bool | None, everything: Places) -> Places:
    """The places where it is true; a test that is not there is true nowhere."""
    if truth is None:
        return everything[:0]
    return everything if truth is True else np.flatnonzero(truth)


def _among(truth: Flags | bool | None, places: Places) -> Places:
    if truth is None:
        return places[:0]
    return places if truth is True else places[np.asarray(truth)[places]]


def _ranges(starts: Places, ends: Places) -> Places:
    """All numbers from each start to before its end, one range after the other."""
    sizes = ends - starts
    total = int(sizes.sum())
    jumps = np.repeat(starts - np.concatenate(([0], np.cumsum(sizes)[:-1])), sizes)
    found: Places = jumps + np.arange(total)
    return found
