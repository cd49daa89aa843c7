"""Runs that are called shortest are shortest, and each step of them is needed."""

from __future__ import annotations

from typing import Any

import pytest

from interlock.kernel.claims import Limits, Refuted
from interlock.kernel.expressions import Is, conj
from interlock.kernel.machine import Actor, Machine, Question, Rule, Variable
from interlock.prove.decide import decide
from interlock.prove.search.bmc import bmc
from interlock.prove.search.explicit import explicit
from tests.agreement.engines import SHORTEST, assert_runs, reachable_states, truth
from tests.agreement.random_machines import random_case
from tests.some import swept

engines = pytest.mark.parametrize("engine", SHORTEST.values(), ids=SHORTEST.keys())


@engines
@pytest.mark.parametrize("block", swept(range(4), 4))
def test_runs_are_shortest(engine: Any, block: int) -> None:
    """On random machines every run called shortest is as long as plain enumeration says it must be."""
    found = 0
    for seed in range(100_000 + 15 * block, 100_000 + 15 * (block + 1)):
        machine, questions = random_case(seed)
        right = truth(machine, questions, reachable_states(machine))
        for question, claim, depth in zip(questions, engine(machine, questions, Limits(depth=8)), right, strict=True):
            if isinstance(claim, Refuted):
                assert claim.shortest
                assert claim.trace.depth == depth
                assert_runs(machine, question, claim.trace)
                found += 1
            else:
                assert depth is None or depth > 8
    assert found >= 10


def independent(width: int, height: int) -> tuple[Machine, Question]:
    """Counters that know nothing of one another; the target needs all of them at the top: width x height steps."""
    variables = tuple(Variable(f"n{at}", tuple(range(height + 1)), (0,)) for at in range(width))
    rules = tuple(
        Rule(f"n{at} to {value + 1}", Actor.CREW, Is(f"n{at}", value), ((f"n{at}", value + 1),))
        for at in range(width)
        for value in range(height)
    )
    return Machine(variables, (), rules), Question("top", conj(*(Is(f"n{at}", height) for at in range(width))))


def test_keeping_steps_in_order_keeps_the_depth() -> None:
    """Where all steps commute, bounded search finds the one order it keeps, at the right depth, and soon."""
    machine, question = independent(6, 4)
    (claim,) = bmc(machine, [question], Limits(depth=30))
    assert isinstance(claim, Refuted) and claim.trace.depth == 24
    assert_runs(machine, question, claim.trace)


def test_the_default_strategy_shortens() -> None:
    """A run too deep for the first look is found by other means and then made shortest."""
    machine, question = independent(7, 3)
    (claim,) = decide(machine, [question], Limits(states=50))
    assert isinstance(claim, Refuted) and claim.shortest and claim.trace.depth == 21
    assert_runs(machine, question, claim.trace)


def test_ties_are_broken_the_same_way_each_time() -> None:
    """Of several shortest runs the same one is given every time."""
    machine, question = independent(3, 2)
    for engine in (explicit, bmc, decide):
        assert engine(machine, [question], Limits(depth=8)) == engine(machine, [question], Limits(depth=8))
