"""Whether a value is made exactly as its type says, all the way down: asked of evidence before any of it is believed.

What evidence may be made of is declared once, by the fields of its dataclasses.  Where Python takes one type for
another (a float for a number, 1 for `True`, a subclass with an equality of its own), what was checked need not be what
is believed.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import MISSING
from functools import cache
from itertools import repeat
from types import UnionType
from typing import Any, TypeAlias, get_args, get_origin, get_type_hints

MOST_BITS = 4096
"""Of a number; more could not be written in a message."""

Options: TypeAlias = Mapping[Any, Any]
"""The types that something may have; for a tuple what its parts may be: one for all of them, or a sequence."""


def fault_of_shape(value: object, declared: Any, seen: set[tuple[int, int]] | None = None) -> str:
    """In words the first part that is not exactly as declared; empty when every part is.

    Understands what evidence is declared with: plain types, unions, tuples, dataclasses.  `seen` remembers parts from
    call to call; all that was looked at must be kept for as long as it is used.
    """
    seen = set() if seen is None else seen
    waiting: list[tuple[object, Options, str]] = [(value, _options(declared), "the claim")]
    while waiting:
        part, options, where = waiting.pop()
        kind: Any = type(part)
        inner: Any = options.get(kind)
        fault = ""
        if kind not in options:
            fault = f"{where} has a part of type {kind.__name__}"
        elif isinstance(part, int) and part.bit_length() > MOST_BITS:
            fault = f"{where} has a number of {part.bit_length()} bits"
        elif isinstance(part, tuple) and not isinstance(inner, dict) and len(inner) != len(part):
            fault = f"{where} has {len(part)} parts in place of {len(inner)}"
        if fault:
            seen.clear()  # of what holds a faulty part, some was seen
            return fault
        if isinstance(part, int | str) or part is None or (id(part), id(options)) in seen:
            continue
        seen.add((id(part), id(options)))
        if isinstance(inner, dict) and isinstance(part, tuple) and inner.keys() & {bool, str} >= set(map(type, part)):
            continue  # states have too many parts to go through one by one
        if isinstance(part, tuple):
            waiting.extend(zip(part, repeat(inner) if isinstance(inner, dict) else inner, repeat(where)))
        else:
            waiting += [(getattr(part, name, MISSING), those, place) for name, those, place in _fields(kind)]
    return ""


@cache
def _options(declared: Any) -> Options:
    kinds = get_args(declared) if isinstance(declared, UnionType) else (declared,)
    return {get_origin(kind) or kind: _inner(get_args(kind)) for kind in kinds}


def _inner(args: Sequence[Any]) -> Any:
    return _options(args[0]) if args[-1:] == (Ellipsis,) else tuple(map(_options, args))


@cache
def _fields(kind: Any) -> Sequence[tuple[str, Options, str]]:
    return [(name, _options(due), f"{kind.__name__}.{name}") for name, due in get_type_hints(kind).items()]
