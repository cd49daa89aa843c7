"""The expressions of a machine as one table, each once and after those that it is made of.

One pass over such a table in its order finds the truth of everything in a state; that is how a page works a hold.
"""

from __future__ import annotations

from collections.abc import Generator, Mapping
from typing import TypeAlias

from interlock.kernel.expressions import And, Const, Expr, Is, Not, Ref, each, fold
from interlock.kernel.machine import Machine

Row: TypeAlias = tuple[str | int, ...]
"""`const` 0 or 1; `is` variable, value; `not` row; `and` rows; `or` rows; `signal` row, phrase (-1: it has none)."""


class Numbering:
    """Numbers expressions as they are asked for; variables and values go by their places in the machine.

    `phrases` are (said when true, said when false), by signal; what is not said of any signal has no phrase.
    """

    def __init__(self, machine: Machine, phrases: Mapping[str, tuple[str, str]]) -> None:
        self.machine = machine
        self.rows: list[Row] = []
        self.phrases: list[tuple[str, str]] = []
        self._said = phrases
        self._numbers: dict[Expr, int] = {}

    def number(self, expr: Expr) -> int:
        """The row of the expression.  Raises KeyError for a name that the machine lacks."""
        return fold(self._step, expr)

    @property
    def expressions(self) -> tuple[Expr, ...]:
        """What each row is of, in their order."""
        return tuple(self._numbers)

    def _step(self, expr: Expr) -> Generator[Expr, int, int]:
        if expr not in self._numbers:
            row = yield from self._row(expr)
            self._numbers[expr] = len(self.rows)
            self.rows.append(row)
        return self._numbers[expr]

    def _row(self, expr: Expr) -> Generator[Expr, int, Row]:
        if isinstance(expr, Const):
            return "const", int(expr.value)
        if isinstance(expr, Is):
            at = self.machine.positions[expr.variable]
            return "is", at, self.machine.variables[at].domain.index(expr.value)
        if isinstance(expr, Not):
            return "not", (yield expr.arg)
        if isinstance(expr, Ref):
            of = yield self.machine.definitions[expr.signal]
            return "signal", of, self._phrase(expr.signal)
        args: list[int] = yield from each(expr.args)
        return ("and" if isinstance(expr, And) else "or", *args)

    def _phrase(self, signal: str) -> int:
        if signal not in self._said:
            return -1
        self.phrases.append(self._said[signal])
        return len(self.phrases) - 1
