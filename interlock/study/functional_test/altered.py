"""What expressions mean in a hold in which one thing has failed, said of the hold in which nothing has."""

from __future__ import annotations

from collections.abc import Generator, Mapping
from dataclasses import dataclass, field

from interlock.kernel.expressions import (
    FALSE,
    And,
    Const,
    Expr,
    Not,
    Or,
    Ref,
    Value,
    assign,
    conj,
    disj,
    each,
    fold,
    neg,
    signals_of,
    variables_of,
)
from interlock.kernel.failures import failures_of
from interlock.kernel.machine import Machine


class Altered:
    """One machine in which some variables keep their value; of each failure it is worked out what it bears on."""

    def __init__(self, machine: Machine, constant: Mapping[str, Value]) -> None:
        self.machine = machine
        self.constant = {**constant, **dict.fromkeys(failures_of(machine), False)}
        self._failures = frozenset(failures_of(machine))
        self._users: dict[str, list[str]] = {}
        self._naming: dict[str, list[str]] = {}
        for one in machine.signals:
            for name in signals_of(one.definition):
                self._users.setdefault(name, []).append(one.name)
            for failure in variables_of(one.definition) & self._failures:
                self._naming.setdefault(failure, []).append(one.name)
        self.plain = Meaning(self.constant, {})
        """What signals mean without a failure, where that is the same in every state."""
        for one in machine.signals_in_order:
            meaning = self.plain.of(one.definition)
            if isinstance(meaning, Const):
                self.plain.signals[one.name] = meaning

    def under(self, failure: str) -> Under:
        """What expressions mean with the failure there, and without."""
        touched: set[str] = set()
        pending = list(self._naming.get(failure, ()))
        while pending:
            name = pending.pop()
            if name not in touched:
                touched.add(name)
                pending += self._users.get(name, ())
        without = Meaning(self.constant, dict(self.plain.signals))
        with_it = Meaning({**self.constant, failure: True}, dict(self.plain.signals))
        for signal in self.machine.signals_in_order:
            if signal.name in touched:
                for meaning in (without, with_it):
                    meaning.signals[signal.name] = meaning.of(signal.definition)
        return Under(failure, frozenset(touched), without, with_it)


@dataclass(frozen=True, slots=True)
class Meaning:
    """What signals and variables stand for."""

    facts: Mapping[str, Value]
    signals: dict[str, Expr] = field(default_factory=dict)

    def of(self, expr: Expr) -> Expr:
        """The expression with that put in."""

        def step(part: Expr) -> Generator[Expr, Expr, Expr]:
            if isinstance(part, Not):
                return neg((yield part.arg))
            if isinstance(part, And | Or):
                args: list[Expr] = yield from each(list(part.args))
                return conj(*args) if isinstance(part, And) else disj(*args)
            return self.signals.get(part.signal, part) if isinstance(part, Ref) else assign(part, self.facts)

        return fold(step, expr)


@dataclass(frozen=True, slots=True)
class Under:
    """One failure: the signals that it bears on, and what they mean without it and with it."""

    failure: str
    touched: frozenset[str]
    without: Meaning
    with_it: Meaning

    def touches(self, expr: Expr) -> bool:
        """The failure bears on the expression."""
        return not self.touched.isdisjoint(signals_of(expr)) or self.failure in variables_of(expr)

    def gained(self, expr: Expr) -> Expr:
        """Where the expression is so with the failure, and is not without; false where that is clear to see."""
        if not self.touches(expr):
            return FALSE
        with_it, without = self.with_it.of(expr), self.without.of(expr)
        return FALSE if with_it == without else conj(with_it, neg(without))

    def lost(self, expr: Expr) -> Expr:
        """Where the expression is so without the failure, and is not with it."""
        if not self.touches(expr):
            return FALSE
        with_it, without = self.with_it.of(expr), self.without.of(expr)
        return FALSE if with_it == without else conj(without, neg(with_it))

    def otherwise(self, expr: Expr) -> Expr:
        """Where it is one with the failure and the other without."""
        return disj(self.gained(expr), self.lost(expr))
