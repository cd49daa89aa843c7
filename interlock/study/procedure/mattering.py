"""At which of very many places a failure makes a difference at once when it strikes last.

A failure that can strike at any time, and does nothing but strike, matters at a place where something can happen with
it that could not without: a step from there, or a hazard.  Elsewhere, whatever comes first can come before it as well,
and it strikes then just as well; and where nothing comes, its striking leads to nothing.  No other departure may come
after it: two failures may matter only together.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

import numpy as np

from interlock.kernel.expressions import Is, neg
from interlock.kernel.machine import Rule, support_of
from interlock.prove.search.arrays import Words, compile_truths
from interlock.study.procedure.beyond import CHUNK, Beyond, Flags
from interlock.study.procedure.interleavings import Departure


class Mattering:
    """The failures of a search, and what each of them bears on."""

    def __init__(self, beyond: Beyond) -> None:
        self._beyond = beyond
        self._search = beyond.search
        self._tests = list(beyond.tests)
        machine = beyond.search.graph.machine
        self._naming: dict[str, set[int]] = {}
        for test, expr in enumerate(self._tests):
            for name in support_of(machine, expr):
                self._naming.setdefault(name, set()).add(test)

    def strikes(self, nodes: Sequence[int]) -> Iterator[tuple[int, Departure]]:
        """The nodes of the search at which a failure can strike and matters, each with that; in no order."""
        search, beyond = self._search, self._beyond
        for first in range(0, len(nodes), CHUNK):
            some = nodes[first : first + CHUNK]
            rows = beyond.rows_of(some)
            words = [np.ascontiguousarray(rows[:, at]) for at in range(rows.shape[1] - 1)]
            points = rows[:, -1].astype(np.int64)
            truths = dict(beyond.truths(words))
            for place, rule in enumerate(search.failures, len(search.acting)):
                search.clock.check()
                can = _holds((0,), dict(compile_truths(beyond.layout, [rule.guard])(words)), len(some))
                if _is_plain(rule):
                    can = can & self._matters(rule, words, points, truths)
                keep, bits = search.packing.writes(rule)
                for at in np.flatnonzero(can).tolist():
                    node = some[at]
                    yield node, (-1 - place, search.point[node], search.hold[node] & keep | bits, 0)

    def _matters(self, rule: Rule, words: Sequence[Words], points: Any, truths: Mapping[int, Any]) -> Flags:
        """Where something can happen once it has struck that could not before."""
        beyond = self._beyond
        ((name, _),) = rule.update
        asked = sorted(self._naming.get(name, ()))
        struck = list(words)
        for word, (keep, bits) in beyond.layout.writes(rule).items():
            struck[word] = struck[word] & np.uint64(keep) | np.uint64(bits)
        found = dict(compile_truths(beyond.layout, [self._tests[test] for test in asked])(struck))
        after = {**truths, **{test: found.get(at) for at, test in enumerate(asked)}}
        bears = set(asked)
        fresh: Flags = np.zeros(len(points), np.bool_)
        for tests, there in beyond.happenings(points):
            if not bears.isdisjoint(tests):
                now = _holds(tests, after, len(points)) & ~_holds(tests, truths, len(points))
                fresh |= now if there is None else now & there
        return fresh


def _is_plain(rule: Rule) -> bool:
    """Whether the failure can strike whenever it has not yet, and does nothing else."""
    (name, _), *more = rule.update
    return not more and rule.guard in (Is(name, False), neg(Is(name, True)))


def _holds(tests: Sequence[int], truths: Mapping[int, Any], size: int) -> Flags:
    """Where all of the tests are true; one that has no truth is true nowhere."""
    found: Flags = np.ones(size, np.bool_)
    for test in tests:
        truth = truths.get(test)
        if truth is None:
            return np.zeros(size, np.bool_)
        if truth is not True:
            found = found & truth
    return found
