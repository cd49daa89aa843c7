"""Boolean expressions over the variables and signals of a machine.

An atom says that a variable has a value; everything else is Boolean structure.  There is no
arithmetic: a description that needs it is compiled into one rule per case, so that what has to
be trusted stays small.  Use the lower-case constructors (`conj`, `disj`, ...): they fold
constants, flatten nesting and drop repeats, without changing the meaning.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import TypeAlias

Value: TypeAlias = bool | int | str
"""What a variable can hold.  `True` and `1` are equal in Python, so no domain may mix the two."""


@dataclass(frozen=True, slots=True)
class Const:
    """A truth value."""

    value: bool


@dataclass(frozen=True, slots=True)
class Is:
    """The variable has exactly this value."""

    variable: str
    value: Value


@dataclass(frozen=True, slots=True)
class Ref:
    """The named signal is true."""

    signal: str


@dataclass(frozen=True, slots=True)
class Not:
    """The argument is false."""

    arg: Expr


@dataclass(frozen=True, slots=True)
class And:
    """Every argument is true (none: true)."""

    args: tuple[Expr, ...]


@dataclass(frozen=True, slots=True)
class Or:
    """Some argument is true (none: false)."""

    args: tuple[Expr, ...]


Expr: TypeAlias = Const | Is | Ref | Not | And | Or

TRUE = Const(True)
FALSE = Const(False)


def neg(arg: Expr) -> Expr:
    """Negation; folds constants and double negation."""
    if isinstance(arg, Const):
        return FALSE if arg.value else TRUE
    if isinstance(arg, Not):
        return arg.arg
    return Not(arg)


def conj(*args: Expr) -> Expr:
    """Conjunction; flattens, drops repeats, folds constants; keeps the order of first mention."""
    flat: dict[Expr, None] = {}
    for arg in args:
        if isinstance(arg, Const):
            if not arg.value:
                return FALSE
        elif isinstance(arg, And):
            flat.update(dict.fromkeys(arg.args))
        else:
            flat[arg] = None
    if any(isinstance(arg, Not) and arg.arg in flat for arg in flat):
        return FALSE
    if not flat:
        return TRUE
    return next(iter(flat)) if len(flat) == 1 else And(tuple(flat))


def disj(*args: Expr) -> Expr:
    """Disjunction; flattens, drops repeats, folds constants; keeps the order of first mention."""
    flat: dict[Expr, None] = {}
    for arg in args:
        if isinstance(arg, Const):
            if arg.value:
                return TRUE
        elif isinstance(arg, Or):
            flat.update(dict.fromkeys(arg.args))
        else:
            flat[arg] = None
    if any(isinstance(arg, Not) and arg.arg in flat for arg in flat):
        return TRUE
    if not flat:
        return FALSE
    return next(iter(flat)) if len(flat) == 1 else Or(tuple(flat))


def implies(premise: Expr, conclusion: Expr) -> Expr:
    """`conclusion` whenever `premise`."""
    return disj(neg(premise), conclusion)


def one_of(variable: str, values: Iterable[Value]) -> Expr:
    """The variable has one of these values (none: false)."""
    return disj(*(Is(variable, value) for value in values))


def at_most_one(args: Iterable[Expr]) -> Expr:
    """No two of the arguments are true together.  Quadratic in their number."""
    listed = list(args)
    return conj(
        *(disj(neg(first), neg(second)) for place, first in enumerate(listed) for second in listed[place + 1 :])
    )


def variables_of(expr: Expr, definitions: Mapping[str, Expr] | None = None) -> frozenset[str]:
    """The variables that the expression mentions; through signals where `definitions` is given.

    Raises KeyError when a signal is not defined in `definitions`.
    """
    found: set[str] = set()
    seen: set[str] = set()
    stack = [expr]
    while stack:
        node = stack.pop()
        if isinstance(node, Is):
            found.add(node.variable)
        elif isinstance(node, Not):
            stack.append(node.arg)
        elif isinstance(node, And | Or):
            stack.extend(node.args)
        elif isinstance(node, Ref) and definitions is not None and node.signal not in seen:
            seen.add(node.signal)
            stack.append(definitions[node.signal])
    return frozenset(found)


def signals_of(expr: Expr) -> frozenset[str]:
    """The signals that the expression names directly."""
    found: set[str] = set()
    stack = [expr]
    while stack:
        node = stack.pop()
        if isinstance(node, Ref):
            found.add(node.signal)
        elif isinstance(node, Not):
            stack.append(node.arg)
        elif isinstance(node, And | Or):
            stack.extend(node.args)
    return frozenset(found)


def assign(expr: Expr, values: Mapping[str, Value]) -> Expr:
    """The expression with these variables fixed, folded.  Signals stay as they are: expand them first."""
    if isinstance(expr, Is):
        if expr.variable in values:
            return TRUE if values[expr.variable] == expr.value else FALSE
        return expr
    if isinstance(expr, Not):
        return neg(assign(expr.arg, values))
    if isinstance(expr, And):
        return conj(*(assign(arg, values) for arg in expr.args))
    if isinstance(expr, Or):
        return disj(*(assign(arg, values) for arg in expr.args))
    return expr


def expand(expr: Expr, definitions: Mapping[str, Expr]) -> Expr:
    """The expression with every signal replaced by its definition, all the way down.

    Raises KeyError for an undefined signal.  Definitions must not be circular (`Machine` checks that).
    """
    if isinstance(expr, Ref):
        return expand(definitions[expr.signal], definitions)
    if isinstance(expr, Not):
        return neg(expand(expr.arg, definitions))
    if isinstance(expr, And):
        return conj(*(expand(arg, definitions) for arg in expr.args))
    if isinstance(expr, Or):
        return disj(*(expand(arg, definitions) for arg in expr.args))
    return expr
