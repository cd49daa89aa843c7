"""One machine that stands for several: which of them it is say Booleans that no rule writes, its choices.

What is proved of such a machine holds of each that it stands for, where with the choices made for that one it is the
same machine: `fault_of_merge` tells.
"""

from __future__ import annotations

from collections.abc import Generator, Iterable, Mapping
from typing import TypeAlias

from interlock.kernel.expressions import (
    FALSE,
    TRUE,
    And,
    Expr,
    Is,
    Not,
    Or,
    assign,
    conj,
    each,
    fold,
    one_of,
    variables_of,
)
from interlock.kernel.machine import Machine, Variable, is_among

_Form: TypeAlias = tuple[str, object]


class Forms:
    """Numbers expressions: two have one number where they differ in no more than order, repeats and folded constants.

    Kept for as long as numbers of it are compared.
    """

    def __init__(self) -> None:
        self._objects: dict[int, tuple[Expr, int]] = {}
        self._numbers: dict[_Form, int] = {}
        self._forms: list[_Form] = []
        self._known: dict[Expr, int] = {}
        self._true, self._false = self._number(("const", True)), self._number(("const", False))

    def of(self, expr: Expr) -> int:
        """The number of the expression."""
        kept = self._objects.get(id(expr))
        if kept is not None and kept[0] is expr:
            return kept[1]
        number = self._known.get(expr)
        if number is None:
            number = self._known[expr] = fold(self._step, expr)
        self._objects[id(expr)] = expr, number  # kept, so that no other object has its id
        return number

    def _step(self, expr: Expr) -> Generator[Expr, int, int]:
        if expr in (TRUE, FALSE):
            return self._true if expr == TRUE else self._false
        if isinstance(expr, Not):
            return self._negated((yield expr.arg))
        if isinstance(expr, And | Or):
            numbers: list[int] = yield from each(expr.args)
            return self._joined("and" if isinstance(expr, And) else "or", numbers)
        return self._number(("leaf", expr))

    def _negated(self, number: int) -> int:
        if number in (self._true, self._false):
            return self._true if number == self._false else self._false
        sort, inner = self._forms[number]
        return inner if sort == "not" and isinstance(inner, int) else self._number(("not", number))

    def _joined(self, sort: str, numbers: Iterable[int]) -> int:
        neutral, deciding = (self._true, self._false) if sort == "and" else (self._false, self._true)
        parts: set[int] = set()
        for number in numbers:
            inner_sort, inner = self._forms[number]
            parts |= inner if inner_sort == sort and isinstance(inner, frozenset) else {number}
        parts.discard(neutral)
        if deciding in parts or any(
            sort == "not" and inner in parts for sort, inner in map(self._forms.__getitem__, parts)
        ):
            return deciding
        if len(parts) <= 1:
            return next(iter(parts), neutral)
        return self._number((sort, frozenset(parts)))

    def _number(self, form: _Form) -> int:
        number = self._numbers.get(form)
        if number is None:
            number = self._numbers[form] = len(self._numbers)
            self._forms.append(form)
        return number


def start_within(variables: Iterable[Variable], choices: Mapping[str, bool], one: Machine) -> Expr:
    """Where a machine with these variables must start to start as `one` does.

    What `one` does not have keeps its first initial value; of choices nothing is said.
    """
    own = {variable.name: variable for variable in one.variables}
    parts = [one.start]
    for variable in variables:
        if variable.name in choices:
            continue
        there = own.get(variable.name)
        if there is None:
            parts.append(Is(variable.name, variable.init[0]))
        elif set(there.init) != set(variable.init):
            parts.append(one_of(variable.name, there.init))
    return conj(*parts)


def fault_of_merge(
    merged: Machine,
    choices: Mapping[str, bool],
    one: Machine,
    rules: Mapping[str, str],
    asked: Iterable[tuple[Expr, Expr]],
    forms: Forms,
) -> str:
    """In words why the merged machine with these choices is not the same as `one`; empty where it is.

    `rules` says which rules of the merged machine are which of `one`; the others must never be possible.  `asked` are
    expressions over the merged machine, each with what it should mean in `one`.  What `one` does not have must
    play no part: no rule that is possible writes it, nothing that `one` has names it.
    """
    domains = merged.domains
    for name in choices:
        if domains.get(name) != (False, True) or any(
            name == written for rule in merged.rules for written, _ in rule.update
        ):
            return f"{name!r} is no choice"
    for variable in one.variables:
        if variable.name in choices or not all(is_among(x, domains.get(variable.name, ())) for x in variable.domain):
            return f"variable {variable.name!r} has other values"
        if not all(is_among(value, merged.variables[merged.positions[variable.name]].init) for value in variable.init):
            return f"variable {variable.name!r} starts with other values"

    def differs(here: Expr, there: Expr) -> bool:
        with_them = assign(here, choices) if variables_of(here) & choices.keys() else here
        return forms.of(with_them) != forms.of(there)

    if differs(merged.start, start_within(merged.variables, choices, one)):
        return "they start otherwise"
    for signal in one.signals:
        if signal.name not in merged.definitions or differs(merged.definitions[signal.name], signal.definition):
            return f"signal {signal.name!r} is defined otherwise"
    for rule in merged.rules:
        there = one.rule(rules[rule.name]) if rule.name in rules else None
        if there is None:
            if differs(rule.guard, FALSE):
                return f"rule {rule.name!r} is possible"
        elif (
            there.actor is not rule.actor or dict(there.update) != dict(rule.update) or differs(rule.guard, there.guard)
        ):
            return f"rule {rule.name!r} is another"
    if sorted(rules.values()) != sorted(rule.name for rule in one.rules):
        return "not every rule is there once"
    return "what is asked is another thing" if any(differs(here, there) for here, there in asked) else ""
