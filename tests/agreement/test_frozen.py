"""A compiled hold is a value: nothing in it can be changed, however deep one looks."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import fields, is_dataclass
from enum import Enum
from types import MappingProxyType

import pytest

from interlock.kernel.machine import Machine
from tests.agreement.hold_texts import SOUND, compile_file, standing

DERIVED = frozenset(field.name for field in fields(Machine) if not field.init)
"""Look-up tables that a machine makes of its own parts."""


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
    elif is_dataclass(value) and type(value).__dataclass_params__.frozen:  # type: ignore[union-attr]
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
