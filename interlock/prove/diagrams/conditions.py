"""Expressions as decision diagrams that leave out every level on which they do not depend."""

from __future__ import annotations

from collections.abc import Generator, Mapping, Sequence

from interlock.kernel.expressions import And, Const, Expr, Is, Not, Ref, fold
from interlock.kernel.machine import Machine
from interlock.prove.diagrams.forest import Work

FALSE = 0
TRUE = 1


class Conditions:
    """Nodes (level, children); FALSE and TRUE have none.  Equal conditions are one node."""

    def __init__(self, machine: Machine, level_of: Mapping[str, int], work: Work) -> None:
        self.machine = machine
        self.level_of = level_of
        self.work = work
        self.levels = [0, 0]
        self.kids: list[tuple[int, ...]] = [(), ()]
        self._places = {v.name: {value: at for at, value in enumerate(v.domain)} for v in machine.variables}
        self._nodes: dict[tuple[int, tuple[int, ...]], int] = {}
        self._joined: dict[tuple[bool, int, int], int] = {}
        self._opposite: dict[int, int] = {FALSE: TRUE, TRUE: FALSE}
        self._signals: dict[str, int] = {}
        self._made: dict[Expr, int] = {}

    def place(self, fact: Is) -> int:
        """The place of the value in its variable's domain."""
        return self._places[fact.variable][fact.value]

    def node(self, level: int, kids: Sequence[int]) -> int:
        """The condition that asks the variable of this level first."""
        key = level, tuple(kids)
        if key[1].count(key[1][0]) == len(key[1]):
            return key[1][0]
        found = self._nodes.get(key)
        if found is None:
            self.work.look(1 + len(key[1]) // 4)
            found = self._nodes[key] = len(self.kids)
            self.kids.append(key[1])
            self.levels.append(level)
        return found

    def of(self, expr: Expr) -> int:
        """The expression as a condition."""
        return fold(self._of, expr)

    def _of(self, expr: Expr) -> Generator[Expr, int, int]:
        if isinstance(expr, Const):
            return TRUE if expr.value else FALSE
        if isinstance(expr, Is):
            kids = [FALSE] * len(self._places[expr.variable])
            kids[self.place(expr)] = TRUE
            return self.node(self.level_of[expr.variable], kids)
        if isinstance(expr, Ref):
            if expr.signal not in self._signals:
                self._signals[expr.signal] = yield self.machine.definitions[expr.signal]
            return self._signals[expr.signal]
        if expr in self._made:
            return self._made[expr]
        if isinstance(expr, Not):
            made = self.negation((yield expr.arg))
        else:
            parts = []
            for arg in expr.args:
                parts.append((yield arg))  # noqa: PERF401  (no comprehension may yield)
            made = self.joined(isinstance(expr, And), parts)
        self._made[expr] = made
        return made

    def negation(self, condition: int) -> int:
        """Where the condition is false."""
        found = self._opposite.get(condition)
        if found is None:
            found = self.node(self.levels[condition], [self.negation(kid) for kid in self.kids[condition]])
            self._opposite[condition] = found
            self._opposite[found] = condition
        return found

    def joined(self, all_of: bool, conditions: Sequence[int]) -> int:
        """All of the conditions, or any of them; the lowest first, so that what is made stays small."""
        whole = TRUE if all_of else FALSE
        for condition in sorted(conditions, key=lambda one: (self.levels[one], one)):
            whole = self.join(all_of, whole, condition)
        return whole

    def join(self, all_of: bool, one: int, other: int) -> int:
        """Both conditions, or either."""
        neutral, absorbing = (TRUE, FALSE) if all_of else (FALSE, TRUE)
        if one == other or other == neutral:
            return one
        if one == neutral:
            return other
        if absorbing in (one, other):
            return absorbing
        key = (all_of, one, other) if one < other else (all_of, other, one)
        found = self._joined.get(key)
        if found is None:
            self.work.look()
            level = max(self.levels[one], self.levels[other])
            ours, others = self.below(one, level), self.below(other, level)
            size = max(len(ours), len(others))
            # one of them asks the level; the other, where it does not, is the same for every value
            ours, others = ours * (size // len(ours)), others * (size // len(others))
            kids = [self.join(all_of, a, b) for a, b in zip(ours, others, strict=True)]
            found = self._joined[key] = self.node(level, kids)
        return found

    def below(self, condition: int, level: int) -> tuple[int, ...]:
        """What is left of the condition for each value at the level; a single one where it does not ask there."""
        return self.kids[condition] if self.levels[condition] == level else (condition,)
