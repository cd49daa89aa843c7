"""Loops that must do something, since one that is empty passes unseen; and sweeps of which a part is enough by day."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Any, TypeVar

import pytest

One = TypeVar("One")


def some(items: Iterable[One]) -> Iterator[One]:
    """The items one after another, of which there must be at least one; AssertionError otherwise."""
    empty = True
    for item in items:
        empty = False
        yield item
    assert not empty, "there was nothing to look at"


def swept(items: Iterable[Any], every: int) -> list[Any]:
    """Parameters of a sweep: the first and then one in so many is quick, the others are marked `thorough`."""
    return [one if at % every == 0 else _thorough(one) for at, one in enumerate(items)]


def telling(items: Iterable[Any], *quick: Any) -> list[Any]:
    """Parameters of which those named are quick, each an item, its `name` or its id; the others are `thorough`."""
    found = list(items)
    names = [_names(one) for one in found]
    missing = [name for name in quick if not any(name in those for those in names)]
    assert not missing, f"nothing is called {missing}"
    return [
        one if any(name in quick for name in those) else _thorough(one) for one, those in zip(found, names, strict=True)
    ]


def _names(one: Any) -> tuple[Any, ...]:
    if hasattr(one, "marks"):  # made by pytest.param
        return (one.id, *one.values)
    return (one, getattr(one, "name", None))


def _thorough(one: Any) -> Any:
    mark = pytest.mark.thorough
    if any(mark.name == "slow" for mark in getattr(one, "marks", ())):
        return one  # slower than that
    if hasattr(one, "marks"):  # made by pytest.param
        return pytest.param(*one.values, id=one.id, marks=[*one.marks, mark])
    return pytest.param(*one, marks=mark) if isinstance(one, tuple) else pytest.param(one, marks=mark)
