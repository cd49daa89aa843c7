"""Which of many expressions are true in a state, without looking at those that a few values already rule out."""

from __future__ import annotations

from collections.abc import Callable, Generator, Iterator, Mapping, Sequence
from functools import partial
from typing import TypeAlias

from interlock.kernel.evaluator import State
from interlock.kernel.expressions import And, Const, Expr, Is, Not, Ref, Value, each, fold
from interlock.kernel.machine import Machine

MOST_CASES = 16
"""Cases of one expression that are told apart; more of them are taken together."""

Needs: TypeAlias = Mapping[str, frozenset[Value]]
"""What variables must be for something to be true; a variable that is not there may be anything."""


class Screen:
    """Expressions of one machine: each is evaluated only where what one of its cases needs is so."""

    def __init__(self, machine: Machine, exprs: Sequence[Expr]) -> None:
        known: dict[tuple[str, bool], list[Needs]] = {}
        step = partial(_cases, machine, known)
        cases = [(expr, at, case) for at, expr in enumerate(exprs) for case in fold(step, (expr, True))]
        self._exprs = [(at, expr) for expr, at, _ in cases]
        self._all = (1 << len(cases)) - 1
        needing: dict[str, list[int]] = {}
        allowed: dict[tuple[str, Value], list[int]] = {}
        for place, (_, _, case) in enumerate(cases):
            for name, some in case.items():
                needing.setdefault(name, []).append(place)
                for value in some:
                    allowed.setdefault((name, value), []).append(place)
        # per variable that is needed, and per value of it, a bit for each case that this value does not rule out
        self._left: dict[int, dict[Value, int]] = {}
        for name, places in needing.items():
            free = self._all ^ _ones(places)
            values = machine.domains[name]
            self._left[machine.positions[name]] = {v: free | _ones(allowed.get((name, v), ())) for v in values}

    def true_in(self, state: State, truth: Callable[[Expr], bool]) -> Iterator[int]:
        """The places of all expressions that are true in the state, in order; `truth` evaluates there."""
        left = self._all
        for position, by_value in self._left.items():
            left &= by_value[state[position]]
        asked = -1
        while left:
            lowest = left & -left
            left ^= lowest
            at, expr = self._exprs[lowest.bit_length() - 1]
            if at != asked and truth(expr):
                yield at
            asked = at


def _ones(places: Sequence[int]) -> int:
    """The number that has ones at these places, which ascend."""
    made = bytearray(places[-1] // 8 + 1 if places else 0)
    for place in places:
        made[place // 8] |= 1 << place % 8
    return int.from_bytes(made, "little")


def _cases(
    machine: Machine, known: dict[tuple[str, bool], list[Needs]], asked: tuple[Expr, bool]
) -> Generator[tuple[Expr, bool], list[Needs], list[Needs]]:
    """Wherever the expression is true (or false), what one of these needs is so; `known` remembers signals."""
    expr, so = asked
    if isinstance(expr, Is):
        value = frozenset({expr.value})
        return [{expr.variable: value if so else frozenset(machine.domains[expr.variable]) - value}]
    if isinstance(expr, Ref):
        if (expr.signal, so) not in known:
            known[expr.signal, so] = yield machine.definitions[expr.signal], so
        return known[expr.signal, so]
    if isinstance(expr, Not):
        return (yield expr.arg, not so)
    if isinstance(expr, Const):
        return [{}] if expr.value is so else []
    parts: list[list[Needs]] = yield from each((arg, so) for arg in expr.args)
    if isinstance(expr, And) is not so:
        return _few(machine, [case for part in parts for case in part])
    found: list[Needs] = [{}]
    for part in sorted(parts, key=len):
        some = part if len(found) * len(part) <= MOST_CASES else _few(machine, part, 1)
        found = [both for one in found for other in some if all((both := _both(one, other)).values())]
    return found


def _both(one: Needs, other: Needs) -> Needs:
    return {**one, **other, **{name: one[name] & other[name] for name in one.keys() & other.keys()}}


def _few(machine: Machine, cases: list[Needs], most: int = MOST_CASES) -> list[Needs]:
    """These cases or, where they are too many, the one that they all are cases of."""
    if len(cases) <= most:
        return cases
    names = frozenset(cases[0]).intersection(*cases[1:])
    joined = {name: frozenset[Value]().union(*(case[name] for case in cases)) for name in sorted(names)}
    return [{name: values for name, values in joined.items() if len(values) < len(machine.domains[name])}]
