"""Loops that must do something: a test that asserts only inside a loop passes unseen where the loop is empty."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import TypeVar

One = TypeVar("One")


def some(items: Iterable[One]) -> Iterator[One]:
    """The items one after another, of which there must be at least one; AssertionError otherwise."""
    empty = True
    for item in items:
        empty = False
        yield item
    assert not empty, "there was nothing to look at"
