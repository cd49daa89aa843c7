"""What expressions mean in a hold in which one thing has failed, said of the hold in which nothing has."""

from __future__ import annotations

from collections.abc import Generator, Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from interlock.kernel.expressions import (
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
        definitions = {name: self.machine.definitions[name] for name in touched}
        others = {name: meaning for name, meaning in self.plain.signals.items() if name not in touched}
        without = Meaning(self.constant, others, definitions)
        with_it = Meaning({**self.constant, failure: True}, dict(others), definitions)
        return Under(failure, frozenset(touched), without, with_it)


@dataclass(frozen=True, slots=True)
class Meaning:
    """What signals and variables stand for; signals that have one of the `definitions` are put in by it."""

    facts: Mapping[str, Value]
    signals: dict[str, Expr] = field(default_factory=dict)
    definitions: Mapping[str, Expr] = field(default_factory=dict)

    def of(self, expr: Expr) -> Expr:
        """The expression with that put in."""

        def step(part: Expr) -> Generator[Expr, Expr, Expr]:
            if isinstance(part, Not):
                return neg((yield part.arg))
            if isinstance(part, And | Or):
                args: list[Expr] = yield from each(list(part.args))
                return conj(*args) if isinstance(part, And) else disj(*args)
            if not isinstance(part, Ref):
                return assign(part, self.facts)
            if part.signal in self.definitions and part.signal not in self.signals:
                self.signals[part.signal] = yield self.definitions[part.signal]
            return self.signals.get(part.signal, part)

        return fold(step, expr)


@dataclass(frozen=True, slots=True)
class Under:
    """One failure: the signals that it bears on, and what they mean without it and with it."""

    failure: str
    touched: frozenset[str]
    without: Meaning
    with_it: Meaning

    def otherwise(self, exprs: Expressions) -> Changed:
        """Where one of the expressions is so with the failure and not without, or without and not with it.

        Each is false where that is clear to see.
        """
        lost, gained = [], []
        for expr in exprs.named_by(self):
            with_it, without = self.with_it.of(expr), self.without.of(expr)
            if with_it != without:
                lost.append(conj(without, neg(with_it)))
                gained.append(conj(with_it, neg(without)))
        return Changed(disj(*lost), disj(*gained))


@dataclass(frozen=True, slots=True)
class Changed:
    """In which states something is so without a failure and `lost` with it, or `gained`."""

    lost: Expr
    gained: Expr

    @property
    def at_all(self) -> Expr:
        """Either."""
        return disj(self.gained, self.lost)


class Expressions:
    """Some expressions, found by what they name."""

    def __init__(self, exprs: Sequence[Expr]) -> None:
        self._exprs = tuple(exprs)
        self._of_signal: dict[str, list[int]] = {}
        self._of_variable: dict[str, list[int]] = {}
        for at, expr in enumerate(self._exprs):
            for name in signals_of(expr):
                self._of_signal.setdefault(name, []).append(at)
            for name in variables_of(expr):
                self._of_variable.setdefault(name, []).append(at)

    def named_by(self, under: Under) -> Iterator[Expr]:
        """Those that the failure bears on, in order."""
        found = set(self._of_variable.get(under.failure, ()))
        found.update(at for name in under.touched for at in self._of_signal.get(name, ()))
        return (self._exprs[at] for at in sorted(found))
