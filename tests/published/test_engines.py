"""Every row of the table, by the engines; what they claim is confirmed by replay, recount or a second solver."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import pytest

from interlock.confirm.confirm import confirm
from interlock.kernel.claims import Claim, Fails, Holds, Limits, Proved, Refuted, Unknown
from interlock.kernel.machine import Machine, Question, question_of, with_monitors
from interlock.prove.search.bmc import bmc
from interlock.prove.search.explicit import count_states, explicit
from tests.some import swept

from . import stories
from .row import Row
from .rows import ROWS

GOALS = [row for row in ROWS if row.goal is not None]
REACHED = [row for row in GOALS if row.shortest is not None]
NEVER_REACHED = [row for row in GOALS if row.shortest is None]
MANY_STATES = 100_000
"""Rows with more are counted by arrays (`test_arrays.py`), by the explicit engine among the slow."""
SHALLOW = 10
"""Steps that a bounded search looks ahead for a goal that is never reached."""


def marked(rows: Sequence[Row]) -> list[Any]:
    """The rows, those with many states slow."""
    return [
        pytest.param(row, marks=pytest.mark.slow if (row.states or 0) > MANY_STATES else weight_of(row)) for row in rows
    ]


def weight_of(row: Row) -> Any:
    """Some rows are like a smaller one, and take seconds."""
    return pytest.mark.thorough if row.name in ("couples 6, boat 3, no way", "hanoi 3 pegs, 6 discs") else ()


def question_in(row: Row) -> tuple[Machine, Question]:
    """The row's machine and its goal as a question."""
    machine = with_monitors(row.build())
    return machine, question_of(machine, next(r for r in machine.requirements if r.id == row.goal))


def is_as_published(row: Row, claim: Claim) -> bool:
    """The claim decides the row's goal as published, in as few steps."""
    if row.shortest is None:
        return isinstance(claim, Proved)
    return isinstance(claim, Refuted) and claim.shortest and claim.trace.depth == row.shortest


@pytest.mark.parametrize("row", swept(marked(ROWS), 4), ids=lambda row: row.name)
def test_counts_by_the_explicit_engine(row: Row) -> None:
    """The engine's count of states, steps, dead ends and levels is the published one."""
    count = count_states(with_monitors(row.build()))
    found = {
        "states": count.states,
        "steps": count.steps,
        "dead": count.dead,
        "farthest": count.depth,
        "profile": count.per_depth,
    }
    expected = {name: getattr(row, name) for name in found if getattr(row, name) is not None}
    assert count.complete
    assert {name: found[name] for name in expected} == expected, row.source


@pytest.mark.parametrize("row", swept(marked(GOALS), 4), ids=lambda row: row.name)
def test_verdict_by_the_explicit_engine(row: Row) -> None:
    """The explicit engine decides the goal as published, its traces replay and its counts are counted again."""
    machine, question = question_in(row)
    claims = explicit(machine, (question,))
    assert is_as_published(row, claims[0]), (row.source, claims[0])
    if not row.large:
        (finding,) = confirm(machine, (question,), claims)
        assert isinstance(finding, Holds if row.shortest is None else Fails), finding


@pytest.mark.parametrize(
    "row",
    swept((pytest.param(row, marks=weight_of(row)) for row in REACHED if not row.deep), 3),
    ids=lambda row: row.name,
)
def test_fewest_steps_by_bounded_search(row: Row) -> None:
    """Bounded search finds the published number of steps, having excluded every shorter run."""
    machine, question = question_in(row)
    claims = bmc(machine, (question,), Limits(depth=row.shortest))
    assert is_as_published(row, claims[0]), (row.source, claims[0])
    (finding,) = confirm(machine, (question,), claims)
    assert isinstance(finding, Fails), finding


@pytest.mark.parametrize(
    "row",
    swept((pytest.param(row, marks=weight_of(row)) for row in NEVER_REACHED if not row.large), 3),
    ids=lambda row: row.name,
)
def test_bounded_search_finds_nothing_unreachable(row: Row) -> None:
    """Where the goal is never reached bounded search says so to its depth, and claims no proof."""
    machine, question = question_in(row)
    (claim,) = bmc(machine, (question,), Limits(depth=SHALLOW))
    assert isinstance(claim, Unknown), claim
    assert claim.depth == SHALLOW or "no run has more than" in claim.reason


def test_bounded_search_misses_what_wraps_later() -> None:
    """Searched to a depth below the wrap of the counter the hazard stays unseen: a bounded search is no proof.

    The flag of one byte: Leveson and Turner, IEEE Computer 26(7), July 1993, pp. 18-41 [memory].
    """
    machine = stories.counter_flag()
    question = question_of(machine, machine.requirements[0])
    (claim,) = bmc(machine, (question,), Limits(depth=30))
    assert isinstance(claim, Unknown)
    assert claim.depth == 30
    (seen,) = explicit(machine, (question,))
    assert isinstance(seen, Refuted)
    assert seen.trace.depth == 257


@pytest.mark.slow
def test_bounded_search_sees_the_wrap_at_last() -> None:
    """One step below the wrap nothing is found; with that step the hazard is."""
    machine = stories.counter_flag()
    question = question_of(machine, machine.requirements[0])
    (missed,) = bmc(machine, (question,), Limits(depth=256))
    assert isinstance(missed, Unknown)
    assert missed.depth == 256
    (found,) = bmc(machine, (question,), Limits(depth=257))
    assert isinstance(found, Refuted)
    assert found.trace.depth == 257
