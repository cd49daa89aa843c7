"""Every row of the table, by the reference evaluator alone: if a number differs here, the machine is built wrongly."""

from __future__ import annotations

import pytest

from interlock.kernel.machine import question_of, with_monitors
from tests.some import telling

from .graphs import explore
from .row import Row
from .rows import ROWS

SECONDS = ("hanoi 4 pegs, 6 discs", "counter as a flag", "couples 6, boat 3, no way")
"""Rows that take the evaluator seconds, each of a family that has smaller ones."""


@pytest.mark.parametrize(
    "row",
    telling(
        (row for row in ROWS if not row.large), *(row.name for row in ROWS if not row.large and row.name not in SECONDS)
    ),
    ids=lambda row: row.name,
)
def test_row_by_the_evaluator(row: Row) -> None:
    """States, steps, dead ends, depths, fewest steps and number of shortest runs are as published."""
    machine = with_monitors(row.build())
    reach = explore(machine)
    found = {
        "states": reach.states,
        "steps": reach.steps,
        "dead": len(reach.dead),
        "farthest": max(reach.depth.values()),
        "profile": reach.profile,
    }
    expected = {name: getattr(row, name) for name in found}
    assert {name: found[name] for name, value in expected.items() if value is not None} == {
        name: value for name, value in expected.items() if value is not None
    }, row.source
    if row.goal is not None:
        requirement = next(r for r in machine.requirements if r.id == row.goal)
        target = question_of(machine, requirement).target
        assert reach.shortest(target) == row.shortest, row.source
        if row.runs is not None:
            assert reach.shortest_runs(target) == row.runs, row.source


def test_rows_are_told_apart() -> None:
    """Row names are unique, each row has a source and states at least one number or verdict."""
    names = [row.name for row in ROWS]
    assert len(set(names)) == len(names)
    for row in ROWS:
        assert any(label in row.source for label in ("[read", "[memory]", "[recomputed]", "[trivial]", "[own")), (
            row.name
        )
        assert row.goal is not None or row.states is not None, row.name
        assert row.shortest is None or row.goal is not None, row.name
