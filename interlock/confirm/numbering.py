"""A second count for many states: a level at a time, each state one number in mixed radix, or a row of several.

Shares with the engines nothing but the meaning of a step: they hold states as bit fields in sorted runs and compile
guards to source text; here a guard is walked as it stands, over one column of places per variable.
"""

from __future__ import annotations

from collections.abc import Generator, Iterator, Mapping, Sequence
from math import prod
from time import monotonic
from typing import Any, TypeAlias

import numpy as np
from numpy.typing import NDArray

from interlock.confirm.enumeration import MOST_CANDIDATES, Enumeration
from interlock.kernel.expressions import And, Const, Expr, Is, Not, Ref, fold
from interlock.kernel.machine import Machine

Numbers: TypeAlias = NDArray[np.int64]
Flags: TypeAlias = NDArray[np.bool_]

LARGEST = 1 << 63
"""No number of a row comes up to this."""
CHUNK = 1 << 16
"""States that are looked at together."""


def count_by_numbers(
    machine: Machine, targets: Sequence[Expr], most_states: int, deadline: float | None = None
) -> Enumeration:
    """Walk all states until done, more than `most_states` were seen, or the time (monotonic clock) is up.

    About 40 bytes are held for each state, twice that for a moment; of a machine with 2^63 valuations or more, as
    many times more as it takes numbers for a state.
    """
    states = _States(machine)
    first: list[int | None] = [None] * len(targets)
    level = seen = states.keys(np.empty((0, states.width), np.int64))
    depth = -1

    def ended(complete: bool, why: str = "") -> Enumeration:
        return Enumeration(len(seen), depth, complete, tuple(first), why)

    if (candidates := prod(len(variable.init) for variable in machine.variables)) > MOST_CANDIDATES:
        return ended(False, f"{candidates} combinations of initial values are too many to count")
    level = seen = np.unique(states.keys(states.initial()))
    while len(level):
        following = [seen[:0]]
        for start in range(0, len(level), CHUNK):
            if deadline is not None and monotonic() > deadline:
                return ended(False, "out of time")
            view = _View(states, states.rows(level[start : start + CHUNK]))
            for at, target in enumerate(targets):
                if first[at] is None and view.truth(target).any():
                    first[at] = depth + 1
            following.append(np.unique(np.concatenate([seen[:0], *map(states.keys, view.steps())])))
        depth += 1
        level = np.unique(np.concatenate(following))
        level = level[seen[np.minimum(np.searchsorted(seen, level), len(seen) - 1)] != level]
        seen = np.concatenate((seen, level))
        seen.sort(kind="stable")  # two sorted runs: this merges them
        if len(seen) > most_states:
            return ended(False, f"more than {most_states} states")
    return ended(True)


class _States:
    """What the numbers of a row stand for: sums, over the variables, of the place of the value times the weight.

    `weights`: in which number of the row the variable is, and its weight there.
    """

    def __init__(self, machine: Machine) -> None:
        self.machine = machine
        self.sizes = {variable.name: len(variable.domain) for variable in machine.variables}
        self.weights: dict[str, tuple[int, int]] = {}
        self.places = {variable.name: {v: at for at, v in enumerate(variable.domain)} for variable in machine.variables}
        word, weight = 0, 1
        for name, size in self.sizes.items():
            if weight * size >= LARGEST:
                word, weight = word + 1, 1
            self.weights[name] = word, weight
            weight *= size
        self.width = word + 1

    def keys(self, rows: Numbers) -> NDArray[Any]:
        """One value per row that can be sorted and told from others: the number itself, or the bytes of all."""
        if self.width == 1:
            return rows[:, 0]
        found: NDArray[Any] = np.ascontiguousarray(rows).view(f"V{8 * self.width}")[:, 0]
        return found

    def rows(self, keys: NDArray[Any]) -> Numbers:
        """The rows that have these keys."""
        return np.ascontiguousarray(keys).view(np.int64).reshape(-1, self.width)

    def initial(self) -> Numbers:
        found = np.zeros((1, self.width), np.int64)
        for variable in self.machine.variables:
            word, weight = self.weights[variable.name]
            parts = np.zeros((len(variable.init), 1, self.width), np.int64)
            parts[:, 0, word] = [self.places[variable.name][value] * weight for value in variable.init]
            found = (parts + found).reshape(-1, self.width)
        return found[_View(self, found).truth(self.machine.start)]


class _View:
    """Some states, with the place of each variable's value in each of them."""

    def __init__(self, states: _States, rows: Numbers) -> None:
        self.states = states
        self.rows = rows
        # narrow, because they are compared many times: a few times as fast as whole numbers
        self.columns: Mapping[str, NDArray[Any]] = {
            name: (rows[:, word] // weight % states.sizes[name]).astype(np.min_scalar_type(states.sizes[name]))
            for name, (word, weight) in states.weights.items()
        }
        self._signals: dict[str, Flags] = {}

    def truth(self, expr: Expr) -> Flags:
        """In which of the states the expression is true."""
        return fold(self._truth, expr)

    def _truth(self, expr: Expr) -> Generator[Expr, Flags, Flags]:
        if isinstance(expr, Const):
            return np.full(len(self.rows), expr.value)
        if isinstance(expr, Is):
            found: Flags = self.columns[expr.variable] == self.states.places[expr.variable][expr.value]
            return found
        if isinstance(expr, Not):
            return ~(yield expr.arg)
        if isinstance(expr, Ref):
            if expr.signal not in self._signals:
                self._signals[expr.signal] = yield self.states.machine.definitions[expr.signal]
            return self._signals[expr.signal]
        whole = np.full(len(self.rows), isinstance(expr, And))
        for arg in expr.args:
            whole = whole & (yield arg) if isinstance(expr, And) else whole | (yield arg)
        return whole

    def steps(self) -> Iterator[Numbers]:
        """The states after one step, rule by rule, with repeats."""
        for rule in self.states.machine.rules:
            fired = np.flatnonzero(self.truth(rule.guard))
            after = self.rows[fired]
            for name, value in rule.update:
                word, weight = self.states.weights[name]
                change = self.states.places[name][value] - self.columns[name][fired].astype(np.int64)
                after[:, word] += change * weight
            yield after
