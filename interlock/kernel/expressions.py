"""Boolean expressions over the variables and signals of a machine.

An atom says that a variable has a value; everything else is Boolean structure.  There is no
arithmetic: a description that needs it is compiled into one rule per case, so that what has to
be trusted stays small.  Use the lower-case constructors (`conj`, `disj`, ...): they fold
constants, flatten nesting and drop repeats, without changing the meaning.
"""

from __future__ import annotations

from collections.abc import Callable, Generator, Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any, TypeAlias, TypeVar, final

Value: TypeAlias = bool | int | str
"""What a variable can hold.  `True` and `1` are equal in Python, so no domain may mix the two."""

Part = TypeVar("Part")
Made = TypeVar("Made")


def fold(step: Callable[[Part], Generator[Part, Made, Made]], whole: Part) -> Made:
    """What `step` makes of the whole, without recursion, so that nesting has no limit.

    `step` is a generator function: where it would call itself it yields the part instead, and is sent what was made of
    that.
    """
    begun: list[Generator[Part, Made, Made]] = []
    at = step(whole)
    sent: Any = None
    while True:
        try:
            part = at.send(sent)
        except StopIteration as end:
            sent = end.value
            if not begun:
                made: Made = sent
                return made
            at = begun.pop()
        else:
            begun.append(at)
            at = step(part)
            sent = None


def each(parts: Iterable[Part]) -> Generator[Part, Made, list[Made]]:
    """For a step of `fold`: what is made of each of the parts, in their order."""
    made: list[Made] = []
    for part in parts:
        made.append((yield part))  # noqa: PERF401  (no comprehension may yield)
    return made


class _Nested:
    """An expression with parts: its hash is worked out once, and no method of it is recursive."""

    __slots__ = ("_hash",)
    _hash: int

    def __hash__(self) -> int:
        return self._hash

    def __eq__(self, other: object) -> bool:
        waiting: list[tuple[object, object]] = [(self, other)]
        while waiting:
            one, two = waiting.pop()
            if isinstance(one, _Nested) and one is not two:
                ours, others = parts_of(one), parts_of(two)
                if type(one) is not type(two) or hash(one) != hash(two) or len(ours) != len(others):
                    return False
                waiting.extend(zip(ours, others, strict=True))
            elif one is not two and (type(one) is not type(two) or one != two):
                return False
        return True

    def __repr__(self) -> str:
        whole: Any = self
        return fold(_shown, whole)

    def __reduce__(self) -> tuple[Any, ...]:
        return type(self), (parts_of(self)[0] if isinstance(self, Not) else parts_of(self),)


@final
@dataclass(frozen=True, slots=True)
class Const:
    """A truth value."""

    value: bool


@final
@dataclass(frozen=True, slots=True)
class Is:
    """The variable has exactly this value."""

    variable: str
    value: Value


@final
@dataclass(frozen=True, slots=True)
class Ref:
    """The named signal is true."""

    signal: str


@final
@dataclass(frozen=True, slots=True, eq=False, repr=False)
class Not(_Nested):
    """The argument is false."""

    arg: Expr

    def __post_init__(self) -> None:
        object.__setattr__(self, "_hash", hash((Not, self.arg)))


@final
@dataclass(frozen=True, slots=True, eq=False, repr=False)
class And(_Nested):
    """Every argument is true (none: true)."""

    args: tuple[Expr, ...]

    def __post_init__(self) -> None:
        object.__setattr__(self, "_hash", hash((And, self.args)))


@final
@dataclass(frozen=True, slots=True, eq=False, repr=False)
class Or(_Nested):
    """Some argument is true (none: false)."""

    args: tuple[Expr, ...]

    def __post_init__(self) -> None:
        object.__setattr__(self, "_hash", hash((Or, self.args)))


Leaf: TypeAlias = Const | Is | Ref
Expr: TypeAlias = Leaf | Not | And | Or

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
        if type(arg) is Const:
            if not arg.value:
                return FALSE
        elif type(arg) is And:
            flat.update(dict.fromkeys(arg.args))
        else:
            flat[arg] = None
    for arg in flat:
        if type(arg) is Not and arg.arg in flat:
            return FALSE
    if not flat:
        return TRUE
    return next(iter(flat)) if len(flat) == 1 else And(tuple(flat))


def disj(*args: Expr) -> Expr:
    """Disjunction; flattens, drops repeats, folds constants; keeps the order of first mention."""
    flat: dict[Expr, None] = {}
    for arg in args:
        if type(arg) is Const:
            if arg.value:
                return TRUE
        elif type(arg) is Or:
            flat.update(dict.fromkeys(arg.args))
        else:
            flat[arg] = None
    for arg in flat:
        if type(arg) is Not and arg.arg in flat:
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


def parts_of(expr: object) -> tuple[Expr, ...]:
    """What the expression is directly made of."""
    if type(expr) is And or type(expr) is Or:
        return expr.args
    return (expr.arg,) if type(expr) is Not else ()


def _shown(expr: Expr) -> Generator[Expr, str, str]:
    if isinstance(expr, Not):
        return f"Not(arg={(yield expr.arg)})"
    if not isinstance(expr, And | Or):
        return repr(expr)
    texts: list[str] = yield from each(expr.args)
    return f"{type(expr).__name__}(args=({', '.join(texts)}{',' if len(texts) == 1 else ''}))"


def variables_of(expr: Expr, definitions: Mapping[str, Expr] | None = None) -> frozenset[str]:
    """The variables that the expression mentions; through signals where `definitions` is given.

    Raises KeyError when a signal is not defined in `definitions`.
    """
    found: set[str] = set()
    seen: set[str] = set()
    stack = [expr]
    while stack:
        node = stack.pop()
        if type(node) is Is:
            found.add(node.variable)
        elif type(node) is not Ref:
            stack += parts_of(node)
        elif definitions is not None and node.signal not in seen:
            seen.add(node.signal)
            stack.append(definitions[node.signal])
    return frozenset(found)


def signals_of(expr: Expr) -> frozenset[str]:
    """The signals that the expression names directly."""
    found: set[str] = set()
    stack = [expr]
    while stack:
        node = stack.pop()
        if type(node) is Ref:
            found.add(node.signal)
        elif type(node) is not Is:
            stack += parts_of(node)
    return frozenset(found)


def with_leaves(expr: Expr, leaf: Callable[[Leaf], Expr]) -> Expr:
    """The expression made anew, folded, of what `leaf` makes of its constants, facts and signals.

    Of a part that one of these decides the rest is not looked at.
    """
    if not isinstance(expr, _Nested):
        return leaf(expr)
    begun: list[tuple[Expr, Iterator[Expr], list[Expr]]] = [(expr, iter(parts_of(expr)), [])]
    while True:
        node, parts, made = begun[-1]
        decided = FALSE if type(node) is And else TRUE
        for part in () if made and made[-1] is decided else parts:
            if isinstance(part, _Nested):
                begun.append((part, iter(parts_of(part)), []))
                break
            made.append(leaf(part))
            if made[-1] is decided:
                break
        else:
            begun.pop()
            whole = neg(made[0]) if type(node) is Not else conj(*made) if type(node) is And else disj(*made)
            if not begun:
                return whole
            begun[-1][2].append(whole)


def assign(expr: Expr, values: Mapping[str, Value], signals: Mapping[str, Expr] | None = None) -> Expr:
    """The expression with these variables fixed, folded, and these signals replaced by what is the same as they.

    Other signals stay as they are: expand them first.
    """

    def leaf(node: Leaf) -> Expr:
        if type(node) is Is:
            return node if node.variable not in values else TRUE if values[node.variable] == node.value else FALSE
        return signals.get(node.signal, node) if signals and type(node) is Ref else node

    return with_leaves(expr, leaf)


def expand(expr: Expr, definitions: Mapping[str, Expr]) -> Expr:
    """The expression with every signal replaced by its definition, all the way down.

    Raises KeyError for an undefined signal.  Definitions must not be circular (`Machine` checks that).
    """
    known: dict[str, Expr] = {}

    def step(node: Expr) -> Generator[Expr, Expr, Expr]:
        if not isinstance(node, Ref):
            return (yield from rebuilt(node))
        if node.signal not in known:
            known[node.signal] = yield definitions[node.signal]
        return known[node.signal]

    return fold(step, expr)


def rebuilt(expr: Expr) -> Generator[Expr, Expr, Expr]:
    """For a step of `fold`: the expression made anew, folded, of what is made of its parts."""
    if type(expr) is Not:
        return neg((yield expr.arg))
    if type(expr) is not And and type(expr) is not Or:
        return expr
    args: list[Expr] = yield from each(expr.args)
    return conj(*args) if type(expr) is And else disj(*args)
