"""Reachable states as decision diagrams, by a general-purpose library, from the kernel's machine alone.

Owes nothing to an engine: no packing, no compiled guards, no state is ever listed.  Rules are not made into relations:
the image of a set through a rule is the set within its guard, the written bits forgotten and set to their constants.

Reference (from memory)
  J. R. Burch, E. M. Clarke, K. L. McMillan, D. L. Dill, L. J. Hwang: Symbolic model checking: 10^20 states and
  beyond. LICS 1990.
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import reduce
from time import monotonic
from typing import Any

from interlock.kernel.expressions import And, Const, Expr, Is, Not, Ref, Value
from interlock.kernel.machine import Machine


class Diagrams:
    """A machine as diagrams over the bits of its variables, in their order."""

    def __init__(self, machine: Machine) -> None:
        from dd import cudd

        self.machine = machine
        self.manager = cudd.BDD()
        self.manager.configure(reordering=True)
        self.bits = {
            variable.name: [f"x{at}_{bit}" for bit in range((len(variable.domain) - 1).bit_length())]
            for at, variable in enumerate(machine.variables)
        }
        self.manager.declare(*(bit for own in self.bits.values() for bit in own))
        self._signals: dict[str, Any] = {}
        self.rules = [
            (
                self.expression(rule.guard),
                [bit for name, _ in rule.update for bit in self.bits[name]],
                self._all(self._fact(name, value) for name, value in rule.update),
            )
            for rule in machine.rules
        ]

    def expression(self, expr: Expr) -> Any:
        """The states that satisfy the expression."""
        if isinstance(expr, Const):
            return self.manager.true if expr.value else self.manager.false
        if isinstance(expr, Is):
            return self._fact(expr.variable, expr.value)
        if isinstance(expr, Ref):
            if expr.signal not in self._signals:
                self._signals[expr.signal] = self.expression(self.machine.definitions[expr.signal])
            return self._signals[expr.signal]
        if isinstance(expr, Not):
            return ~self.expression(expr.arg)
        parts = map(self.expression, expr.args)
        if isinstance(expr, And):
            return self._all(parts)
        return reduce(lambda one, other: one | other, parts, self.manager.false)

    def levels(self, seconds: float | None = None) -> Iterator[Any]:
        """The states at depth 0, 1, ...  Raises TimeoutError between two rules once the time is up."""
        end = None if seconds is None else monotonic() + seconds
        level = self._all(
            reduce(lambda one, other: one | other, (self._fact(v.name, value) for value in v.init))
            for v in self.machine.variables
        ) & self.expression(self.machine.start)
        reached = level
        while level != self.manager.false:
            yield level
            following = self.manager.false
            for guard, written, constants in self.rules:
                if end is not None and monotonic() > end:
                    raise TimeoutError
                following |= self.manager.exist(written, level & guard) & constants
            level = following & ~reached
            reached |= level

    def count(self, states: Any) -> int:
        """How many states are in the set."""
        return int(self.manager.count(states, nvars=sum(map(len, self.bits.values()))))

    def steps_from(self, states: Any) -> int:
        """How many pairs there are of a state of the set and a rule that may fire in it."""
        return sum(self.count(states & guard) for guard, _, _ in self.rules)

    def _fact(self, name: str, value: Value) -> Any:
        place = self.machine.domains[name].index(value)
        own = (self.manager.var(bit) for bit in self.bits[name])
        return self._all(one if place >> at & 1 else ~one for at, one in enumerate(own))

    def _all(self, parts: Iterator[Any]) -> Any:
        return reduce(lambda one, other: one & other, parts, self.manager.true)
