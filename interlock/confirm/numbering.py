"""A second count for many states: a level at a time, each state one number in mixed radix.

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

CHUNK = 1 << 16
"""States that are looked at together."""


def count_by_numbers(
    machine: Machine, targets: Sequence[Expr], most_states: int, deadline: float | None = None
) -> Enumeration:
    """Walk all states until done, more than `most_states` were seen, or the time (monotonic clock) is up.

    About 40 bytes are held for each state, twice that for a moment.  A machine with 2^63 valuations or more is refused.
    """
    states = _States(machine)
    first: list[int | None] = [None] * len(targets)
    level = seen = np.empty(0, np.int64)
    depth = -1

    def ended(complete: bool, why: str = "") -> Enumeration:
        return Enumeration(len(seen), depth, complete, tuple(first), why)

    if prod(states.sizes.values()) >= 1 << 63:
        return ended(False, "too many valuations to number")
    if (candidates := prod(len(variable.init) for variable in machine.variables)) > MOST_CANDIDATES:
        return ended(False, f"{candidates} combinations of initial values are too many to count")
    level = seen = np.unique(states.initial())
    while len(level):
        following = [np.empty(0, np.int64)]
        for start in range(0, len(level), CHUNK):
            if deadline is not None and monotonic() > deadline:
                return ended(False, "out of time")
            view = _View(states, level[start : start + CHUNK])
            for at, target in enumerate(targets):
                if first[at] is None and view.truth(target).any():
                    first[at] = depth + 1
            following.append(np.unique(np.concatenate([following[0], *view.steps()])))
        depth += 1
        level = np.unique(np.concatenate(following))
        level = level[seen[np.minimum(np.searchsorted(seen, level), len(seen) - 1)] != level]
        seen = np.concatenate((seen, level))
        seen.sort(kind="stable")  # two sorted runs: this merges them
        if len(seen) > most_states:
            return ended(False, f"more than {most_states} states")
    return ended(True)


class _States:
    """What a number stands for: the sum, over the variables, of the place of the value times the weight."""

    def __init__(self, machine: Machine) -> None:
        self.machine = machine
        self.sizes = {variable.name: len(variable.domain) for variable in machine.variables}
        self.weights: dict[str, int] = {}
        self.places = {variable.name: {v: at for at, v in enumerate(variable.domain)} for variable in machine.variables}
        weight = 1
        for name, size in self.sizes.items():
            self.weights[name] = weight
            weight *= size

    def initial(self) -> Numbers:
        found = np.zeros(1, np.int64)
        for variable in self.machine.variables:
            parts = [self.places[variable.name][value] * self.weights[variable.name] for value in variable.init]
            found = np.add.outer(np.array(parts, np.int64), found).ravel()
        return found[_View(self, found).truth(self.machine.start)]


class _View:
    """Some states, with the place of each variable's value in each of them."""

    def __init__(self, states: _States, numbers: Numbers) -> None:
        self.states = states
        self.numbers = numbers
        # narrow, because they are compared many times: a few times as fast as whole numbers
        self.columns: Mapping[str, NDArray[Any]] = {
            name: (numbers // states.weights[name] % size).astype(np.min_scalar_type(size))
            for name, size in states.sizes.items()
        }
        self._signals: dict[str, Flags] = {}

    def truth(self, expr: Expr) -> Flags:
        """In which of the states the expression is true."""
        return fold(self._truth, expr)

    def _truth(self, expr: Expr) -> Generator[Expr, Flags, Flags]:
        if isinstance(expr, Const):
            return np.full(len(self.numbers), expr.value)
        if isinstance(expr, Is):
            found: Flags = self.columns[expr.variable] == self.states.places[expr.variable][expr.value]
            return found
        if isinstance(expr, Not):
            return ~(yield expr.arg)
        if isinstance(expr, Ref):
            if expr.signal not in self._signals:
                self._signals[expr.signal] = yield self.states.machine.definitions[expr.signal]
            return self._signals[expr.signal]
        whole = np.full(len(self.numbers), isinstance(expr, And))
        for arg in expr.args:
            whole = whole & (yield arg) if isinstance(expr, And) else whole | (yield arg)
        return whole

    def steps(self) -> Iterator[Numbers]:
        """The states after one step, rule by rule, with repeats."""
        for rule in self.states.machine.rules:
            fired = np.flatnonzero(self.truth(rule.guard))
            after = self.numbers[fired]
            for name, value in rule.update:
                change = self.states.places[name][value] - self.columns[name][fired].astype(np.int64)
                after += change * self.states.weights[name]
            yield after
