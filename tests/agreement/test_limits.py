"""A limit under which an item is deferred can be broken behind shut doors, or it is no limit."""

from __future__ import annotations

import pytest

from tests.agreement.hold_texts import faults_of, overlay

CHANGE = "  - {{defer: M3L, in: lowered, because: worn, limit: '{limit}'}}\n"


def codes(limit: str) -> list[str]:
    """What is said of the twin-lane hold where a mid latch is deferred under the limit."""
    return [fault.code for fault in faults_of(overlay("twin-lane", CHANGE.format(limit=limit)))]


@pytest.mark.parametrize(
    "limit",
    [
        "always",
        "M3L is lowered or not M3L is lowered",
        "M3L is lowered",
        "3L is empty or 3L is occupied",
        "LVX is fore or LVX is aft or LVX is neutral",
        "load_secured or not load_secured",
        "load_secured implies (3L is occupied or not at3L)",
        "D1 is closed",
        "D1 is open implies 3L is empty",
    ],
)
def test_a_limit_that_nothing_breaks_is_a_fault(limit: str) -> None:
    """Whatever way it is written in: always true, true of what is fixed, or true of every closed door."""
    assert codes(limit) == ["limit-without-effect"]


@pytest.mark.parametrize(
    "limit",
    [
        "3L is empty",
        "3L is empty and 4L is empty",
        "load_secured",
        "SEL is both",
        "M3R is lowered",
        "D1 is locked",
        "never",
    ],
)
def test_a_limit_that_can_be_broken_is_one(limit: str) -> None:
    """What some state behind shut doors breaks is let through, whether or not that state can be reached."""
    assert codes(limit) == []
