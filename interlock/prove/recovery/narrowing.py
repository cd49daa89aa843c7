"""Which values of single variables make an expression so: what follows is taken first, then what seems the easiest.

Of an `or` one arm will do.  Arms that what is known rules out are dropped, a last one left is taken (unit propagation);
where a choice is left the easiest arm is tried first, and where it leads to a contradiction the next (backtracking).

References (from memory)
  M. Davis, G. Logemann, D. Loveland: A machine program for theorem-proving. Communications of the ACM 5, 1962.
"""

from __future__ import annotations

from collections.abc import Generator, Iterable, Mapping
from dataclasses import dataclass
from typing import TypeAlias

from interlock.kernel.expressions import And, Const, Expr, Is, Not, Or, Ref, Value, each, fold
from interlock.kernel.machine import Machine, Rule

MOST_TRIED = 200
"""How many arms are tried in all; what is not narrowed down by then counts as impossible."""

Allowed: TypeAlias = dict[str, frozenset[Value]]
"""Per variable of which something is said the values that are good."""


@dataclass(frozen=True, slots=True, eq=False)
class _Fact:
    name: str
    values: frozenset[Value]


@dataclass(frozen=True, slots=True, eq=False)
class _Junction:
    is_all: bool
    parts: tuple[_Form, ...]


_Form: TypeAlias = bool | _Fact | _Junction
"""An expression in which nothing is negated and no signal is named."""


class Narrowing:
    """Narrows expressions of one machine down."""

    def __init__(self, machine: Machine) -> None:
        self._machine = machine
        self._domains = {v.name: frozenset(v.domain) for v in machine.variables}
        self._initial = {v.name: frozenset(v.init) for v in machine.variables}
        self._forms: dict[tuple[Expr, bool], _Form] = {}

    def narrow(self, expr: Expr, wanted: bool, allowed: Allowed) -> Allowed | None:
        """`allowed` with what makes the expression so, in what seems the easiest way; None where none is seen."""
        waiting: list[tuple[Allowed, list[_Form]]] = [(allowed, [self._form(expr, wanted)])]
        for _ in range(MOST_TRIED):
            if not waiting:
                return None
            forced = self._forced(*waiting.pop())
            if forced is None:
                continue
            known, choices = forced
            if not choices:
                return known
            tried = [(arm, self._forced(known, [arm])) for arm in reversed(choices[0].parts)]
            ways = [(self._cost(known, way), arm) for arm, way in tried if way is not None]
            # the last is taken up next: the easiest, of arms that are as easy the first
            waiting += [(known, [arm, *choices[1:]]) for _, arm in sorted(ways, key=lambda way: -way[0])]
        return None

    def forced(self, expr: Expr, allowed: Allowed) -> Allowed | None:
        """`allowed` with what surely has to be so for the expression to be; None where it cannot be."""
        found = self._forced(allowed, [self._form(expr, True)])
        return None if found is None else found[0]

    def effort(self, way: Allowed, before: Mapping[str, frozenset[Value]]) -> int:
        """How much the way asks for: of what is not so at the start three times as much."""
        return sum(
            1 + 2 * self._initial[name].isdisjoint(values) for name, values in way.items() if values != before.get(name)
        )

    def _cost(self, known: Allowed, way: tuple[Allowed, list[_Junction]]) -> int:
        return self.effort(way[0], known) + len(way[1])

    def _forced(self, allowed: Allowed, asked: Iterable[_Form]) -> tuple[Allowed, list[_Junction]] | None:
        """What follows from all of these, and those of which some part has still to be chosen."""
        known = dict(allowed)
        pending = list(reversed(list(asked)))
        choices: list[_Junction] = []
        while pending:
            while pending:
                form = pending.pop()
                if form is False:
                    return None
                if isinstance(form, _Fact):
                    before = known.get(form.name) or self._domains[form.name]
                    after = before & form.values
                    if not after:
                        return None
                    if after != before:
                        known[form.name] = after
                elif isinstance(form, _Junction):
                    if form.is_all:
                        pending.extend(reversed(form.parts))
                    else:
                        choices.append(form)
            left: list[_Junction] = []
            for choice in choices:
                said = [fold(self._said, (part, known)) for part in choice.parts]
                if True in said:
                    continue
                arms = tuple(part for part, so in zip(choice.parts, said, strict=True) if so is None)
                if not arms:
                    return None
                if len(arms) == 1:
                    pending.append(arms[0])
                else:
                    left.append(choice if len(arms) == len(choice.parts) else _Junction(False, arms))
            choices = left
        return known, choices

    def _said(self, asked: tuple[_Form, Allowed]) -> Generator[tuple[_Form, Allowed], bool | None, bool | None]:
        """Whether it is so, whatever else is; None where that is open."""
        form, known = asked
        if isinstance(form, bool):
            return form
        if isinstance(form, _Fact):
            values = known.get(form.name)
            if values is None:
                return None
            return True if values <= form.values else False if values.isdisjoint(form.values) else None
        open_left = False
        for part in form.parts:
            so = yield part, known
            if so is (not form.is_all):
                return so
            open_left = open_left or so is None
        return None if open_left else form.is_all

    def _form(self, expr: Expr, wanted: bool) -> _Form:
        return fold(self._formed, (expr, wanted))

    def _formed(self, asked: tuple[Expr, bool]) -> Generator[tuple[Expr, bool], _Form, _Form]:
        if asked in self._forms:
            return self._forms[asked]
        expr, wanted = asked
        found: _Form
        match expr:
            case Const(value):
                found = value is wanted
            case Not(arg):
                found = yield arg, not wanted
            case Ref(signal):
                found = yield self._machine.definitions[signal], wanted
            case Is(name, value):
                found = self._fact(name, frozenset((value,)) if wanted else self._domains[name] - {value})
            case And(args) | Or(args):
                is_all = isinstance(expr, And) == wanted
                parts: list[_Form] = yield from each((arg, wanted) for arg in args)
                found = _joined(is_all, parts)
        self._forms[asked] = found
        return found

    def _fact(self, name: str, values: frozenset[Value]) -> _Form:
        if not values:
            return False
        return True if values == self._domains[name] else _Fact(name, values)


def _joined(is_all: bool, parts: Iterable[_Form]) -> _Form:
    opened: list[_Form] = []
    for part in parts:
        if isinstance(part, bool):
            if part is not is_all:
                return part
        elif isinstance(part, _Junction) and part.is_all == is_all:
            opened += part.parts
        else:
            opened.append(part)
    if len(opened) == 1:
        return opened[0]
    return _Junction(is_all, tuple(opened)) if opened else is_all


def said_outright(rule: Rule) -> dict[str, Value]:
    """The values that the guard, as a conjunction, says of variables that the rule writes."""
    written = {name for name, _ in rule.update}
    parts = rule.guard.args if isinstance(rule.guard, And) else (rule.guard,)
    return {part.variable: part.value for part in parts if isinstance(part, Is) and part.variable in written}
