"""A hold that is eased: with nothing lifted it is as described, and what is lifted only ever makes more possible."""

from __future__ import annotations

import random

import pytest

from interlock.hold.compile.compiler import CompiledHold, ease_hold
from interlock.hold.origin import Lifted
from interlock.kernel.enabling import started_with
from interlock.kernel.evaluator import State, evaluate, initial_states, successors
from interlock.kernel.machine import Machine, RequirementKind
from tests.agreement.hold_texts import SOUND, compile_file, compile_text, standing
from tests.some import telling
from tests.teeth.written_holds import chosen, written

HOLDS = [*SOUND[:2], pytest.param(SOUND[2], marks=pytest.mark.thorough), *telling(range(46, 52), 49)]
STATES = 150


def holds(name: str | int) -> tuple[CompiledHold, CompiledHold, tuple[str, ...]]:
    """As described and eased, asked for what can be done, and what can be lifted."""
    if isinstance(name, int):
        plain = compile_text(written(chosen(name)), standing())
    else:
        plain = compile_file(f"models/{name}.yaml", standing())
    work = [one for one in plain.instances if one.requirement.kind is RequirementKind.CAN]
    eased = ease_hold(plain, work)
    lifted = [memory.name for memory in eased.origins.variables.values() if isinstance(memory, Lifted)]
    return plain, eased, tuple(lifted)


def walked(machine: Machine, seed: int) -> list[State]:
    """States met on a random walk."""
    draw = random.Random(seed)
    state = draw.choice(list(initial_states(machine))[:64])
    met = [state]
    while len(met) < STATES and (after := [one for _, one in successors(machine, state)]):
        state = draw.choice(after)
        met.append(state)
    return met


@pytest.mark.parametrize("name", HOLDS)
def test_with_nothing_lifted_all_is_as_described(name: str | int) -> None:
    """The same starts; from states met on a walk the same steps to the same states; and the same of every goal."""
    plain, eased, lifted = holds(name)
    assert len(lifted) > 10
    none = started_with(eased.machine, lifted, ())
    assert [v.name for v in none.variables if v.name not in lifted] == [v.name for v in plain.machine.variables]
    width = len(plain.machine.variables)
    assert [v.name for v in none.variables[:width]] == [v.name for v in plain.machine.variables]
    rest = (False,) * len(lifted)
    if len(starts := list(initial_states(plain.machine))) <= 5_000:
        assert sorted(state[:width] for state in initial_states(none)) == sorted(starts)
    instances = {one.requirement.id: one.requirement for one in plain.instances}
    for state in walked(plain.machine, 5):
        there = {(rule.actor, after) for rule, after in successors(plain.machine, state)}
        assert {(rule.actor, after[:width]) for rule, after in successors(none, state + rest)} == there
        for one in eased.instances:
            condition = evaluate(none, one.requirement.condition, state + rest)
            assert condition == evaluate(plain.machine, instances[one.requirement.id].condition, state)


@pytest.mark.parametrize("name", HOLDS)
def test_what_is_lifted_makes_more_possible(name: str | int) -> None:
    """From a state that some things lifted lead to, every step is possible with more of them lifted too."""
    _, eased, lifted = holds(name)
    draw = random.Random(3)
    machine = eased.machine
    width = len(machine.variables) - len(lifted)
    first = machine.positions[lifted[0]]
    assert first == width
    gained = 0
    for seed in range(4):
        some = set(draw.sample(lifted, max(1, len(lifted) // 6)))
        more = some | set(draw.sample(lifted, len(lifted) // 3))
        for state in walked(started_with(machine, lifted, some), seed)[:40]:
            wider = (*state[:width], *(name in more for name in lifted))
            here = {(rule.name, after[:width]) for rule, after in successors(machine, state)}
            there = {(rule.name, after[:width]) for rule, after in successors(machine, wider)}
            assert here <= there
            gained += len(there) - len(here)
            for one in eased.instances:
                condition = one.requirement.condition
                assert not evaluate(machine, condition, state) or evaluate(machine, condition, wider)
    assert gained
