"""Work done for many things in two processes: what comes of it is what comes of it in one, in the same order."""

from __future__ import annotations

import os
import time
from collections.abc import Iterator, Sequence

import pytest

from interlock.kernel import beside
from interlock.kernel.claims import Limits, Progress, ProgressCallback, silent
from interlock.prove.engine import NO_LIMITS
from interlock.study.halves import in_halves

LONG_S = 60.0
"""Longer than any test waits."""


@pytest.fixture(autouse=True)
def _two_processors() -> Iterator[None]:
    beside.allow(2)
    yield
    assert beside.may_begin()
    beside.allow(1)


def numbered(some: Sequence[int], report: ProgressCallback) -> list[tuple[int, int, int]]:
    """Each with its place among those that it was done with, and where it was done."""
    report(Progress("numbered", "counting", 0, len(some)))
    return [(one, at, os.getpid()) for at, one in enumerate(some)]


@pytest.mark.parametrize("count", [0, 1, 2, 5, 6])
def test_every_second_one_is_done_beside(count: int) -> None:
    """In its order, and reported of by nobody; alone where there is one processor, or memory is limited."""
    heard: list[int] = []
    things = [7 * at for at in range(count)]
    found = in_halves(numbered, things, NO_LIMITS, lambda progress: heard.append(progress.total or 0))
    assert [one for one, _, _ in found] == things
    if count > 1:
        assert [at for _, at, _ in found] == [at // 2 for at in range(count)]
        assert [process == os.getpid() for _, _, process in found] == [at % 2 == 0 for at in range(count)]
    assert heard == [(count + 1) // 2]
    limited = in_halves(numbered, things, Limits(memory=2**40), silent)
    beside.allow(1)
    alone = in_halves(numbered, things, NO_LIMITS, silent)
    beside.allow(2)
    for one in (limited, alone):
        assert [thing for thing, _, _ in one] == things
        assert {process for _, _, process in one} <= {os.getpid()}


def test_who_asks_for_an_end_does_not_wait_for_the_other() -> None:
    """What is not done there is done here, by work that sees that an end is asked for."""
    asked: list[None] = []

    def slow(some: Sequence[int], _report: ProgressCallback) -> list[str]:
        found = []
        for one in some:
            if not asked and one % 2:
                time.sleep(LONG_S)
            found.append("left" if asked else "done")
        asked.append(None)
        return found

    begun = time.monotonic()
    found = in_halves(slow, range(5), Limits(stop=lambda: bool(asked)), silent)
    assert time.monotonic() - begun < LONG_S / 2
    assert found == ["done", "left", "done", "left", "done"]
