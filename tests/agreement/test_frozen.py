"""A compiled hold is a value: nothing in it can be changed, however deep one looks."""

from __future__ import annotations

import copy
import re
from collections.abc import Callable, Iterator
from dataclasses import FrozenInstanceError, dataclass, field, fields, is_dataclass, replace
from enum import Enum
from types import MappingProxyType
from typing import Any

import pytest

from interlock.diagnostics.frozen import frozen
from interlock.kernel.machine import Machine
from tests.agreement.hold_texts import SOUND, compile_file, standing

DERIVED = frozenset(field.name for field in fields(Machine) if not field.init)
"""Look-up tables that a machine makes of its own parts."""


def refuses(value: object, name: str) -> bool:
    """Whether an attribute cannot be set, not even to what it is."""
    try:
        setattr(value, name, getattr(value, name))
    except FrozenInstanceError:
        return True
    return False


def mutable_parts(value: object, path: str, seen: set[int]) -> Iterator[str]:
    """The ways to whatever can be changed."""
    if id(value) in seen or value is None or isinstance(value, str | int | float | Enum):
        return
    seen.add(id(value))
    if isinstance(value, tuple | frozenset):
        for at, one in enumerate(value):
            yield from mutable_parts(one, f"{path}[{at}]", seen)
    elif isinstance(value, MappingProxyType):
        for key, one in value.items():
            yield from mutable_parts(key, f"{path} key", seen)
            yield from mutable_parts(one, f"{path}[{key!r}]", seen)
    elif is_dataclass(value) and all(refuses(value, field.name) for field in fields(value)):
        for field in fields(value):
            if not (isinstance(value, Machine) and field.name in DERIVED):
                yield from mutable_parts(getattr(value, field.name), f"{path}.{field.name}", seen)
    else:
        yield f"{path}: {type(value).__name__}"


@pytest.mark.parametrize("name", SOUND)
def test_nothing_in_a_compiled_hold_can_be_changed(name: str) -> None:
    """Dataclasses are frozen, sequences are tuples, mappings read-only: in the description, the floor, the things."""
    compiled = compile_file(f"models/{name}.yaml", standing())
    assert list(mutable_parts(compiled, "compiled", set())) == []


def test_what_can_be_changed_is_found() -> None:
    """The search above would see a list, a dictionary or a set anywhere."""
    held = (1, MappingProxyType({"a": ("b", ["c"])}), frozenset({2}))
    assert list(mutable_parts(held, "held", set())) == ["held[1]['a'][1]: list"]
    assert list(mutable_parts({"a": 1}, "held", set())) == ["held: dict"]


def declared_by(decorator: Callable[[Any], Any]) -> tuple[Any, Any]:
    """Two classes, one without fields, as the decorator makes them."""

    class Part:
        """Something."""

        name: str
        size: int = 1
        others: list[int] = field(default_factory=list, compare=False)
        hidden: str = field(default="", repr=False)

        def __post_init__(self) -> None:
            if self.size < 0:
                raise ValueError(self.name)

    class Bare:
        """Nothing."""

        def __repr__(self) -> str:
            return "bare"

    return decorator(Part), decorator(Bare)


def deed(done: Callable[..., object], *given: object, **named: object) -> object:
    """What comes of it, or which error and what it says, but for the name of the class in it."""
    try:
        return done(*given, **named)
    except (TypeError, ValueError, AttributeError) as fault:
        return type(fault), re.sub(r"\S*__init__", "__init__", str(fault))


def told_of(part: Any, bare: Any) -> Iterator[object]:
    """Whatever can be seen of the two classes."""
    one, other = part("a", others=[1]), part(name="a", size=1)
    yield from (part.__match_args__, one.others, other.others, other.others is part("a").others)
    yield from (one == other, one != part("b"), one == "a", one == bare(), hash(one) == hash(other), hash(part("b")))
    yield from (hash(bare()), bare() == bare(), repr(one), repr(bare()), [field.name for field in fields(part)])
    yield from (replace(one, size=3).size, deed(replace, one, size=-3), len({one, other, part("b")}))
    yield from (deed(setattr, one, "name", "b"), deed(delattr, one, "name"), hasattr(one, "__dict__"))
    for given, named in WRONGLY:
        yield deed(part, *given, **named)
    deep = copy.deepcopy(one)
    yield from (deep == one, deep.others == one.others, deep.others is one.others, copy.copy(one).others is one.others)


def test_frozen_is_what_the_library_makes() -> None:
    """Made, refused, compared, hashed, shown, matched, replaced, copied, kept in sets: as by `dataclasses`."""
    told = list(told_of(*declared_by(frozen)))
    assert told == list(told_of(*declared_by(dataclass(frozen=True, slots=True))))
    assert sum(isinstance(one, tuple) and one[0] in {TypeError, ValueError} for one in told) == len(WRONGLY) + 1


WRONGLY: tuple[tuple[tuple[Any, ...], dict[str, Any]], ...] = (
    ((), {}),
    (("a",), {"name": "b"}),
    (("a", 1, [], "", 2), {}),
    (("a",), {"colour": 1}),
    (("a", -1), {}),
)
"""Ways in which nothing can be made."""
