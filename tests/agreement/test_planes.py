"""Very many states asked at once, and what can come about at all, against the reference evaluator."""

from __future__ import annotations

import random
from collections.abc import Iterator

from interlock.kernel.evaluator import State, evaluate, initial_states, successors
from interlock.kernel.expressions import Is, Ref, neg
from interlock.kernel.machine import Machine
from interlock.prove.core.packing import Packing, bits_of
from interlock.prove.core.planes import Planes
from interlock.prove.search.delete_relaxation import DeleteRelaxation
from interlock.study.functional_test.reach import Reach
from tests.agreement.random_machines import random_case

SEEDS = range(60)


def states_of(machine: Machine, draw: random.Random, many: int) -> list[State]:
    """Any states, reachable or not."""
    return [tuple(draw.choice(variable.domain) for variable in machine.variables) for _ in range(many)]


def test_what_is_so_in_many_states_is_what_the_evaluator_says() -> None:
    """Guards, signals and targets, in blocks of every size about the width of a byte, one block after the other."""
    told = {False: 0, True: 0}
    for seed in SEEDS:
        machine, questions = random_case(seed)
        exprs = [rule.guard for rule in machine.rules] + [one.target for one in questions]
        exprs += [neg(Ref(one.name)) for one in machine.signals]
        packing = Packing(machine)
        planes = Planes(packing, exprs)
        draw = random.Random(seed)
        assert planes([]) == []
        for many in (1, 7, 8, 9, 30, 1):
            states = states_of(machine, draw, many)
            found = planes([packing.pack(state) for state in states])
            for state, true in zip(states, found, strict=True):
                expected = {at for at, expr in enumerate(exprs) if evaluate(machine, expr, state)}
                assert set(bits_of(true)) == expected, (seed, many)
                for so in (at in expected for at in range(len(exprs))):
                    told[so] += 1
    assert min(told.values()) > 1000


def test_places_are_those_of_the_values_whatever_was_asked_before() -> None:
    """State after state, near and far ones."""
    wrong, asked = [], 0
    for seed in SEEDS:
        machine, _ = random_case(seed)
        packing = Packing(machine)
        for state in states_of(machine, random.Random(seed), 10):
            asked += 1
            expected = [one.domain.index(value) for one, value in zip(machine.variables, state, strict=True)]
            if packing.places(packing.pack(state)) != expected:
                wrong.append((seed, state))
    assert not wrong
    assert asked == 10 * len(SEEDS)


def test_what_comes_about_is_never_said_to_be_out_of_reach() -> None:
    """Every fact, guard and target of a reachable state can be; of what cannot some is told."""
    told = 0
    for seed in SEEDS:
        machine, questions = random_case(seed)
        packing = Packing(machine)
        exprs = [rule.guard for rule in machine.rules] + [one.target for one in questions]
        exprs += [Is(one.name, value) for one in machine.variables for value in one.domain]
        start = next(initial_states(machine), None)
        if start is None:
            continue
        reach = Reach(DeleteRelaxation(machine), packing.places(packing.pack(start)))
        for state in all_behind(start, machine):
            assert all(reach.can_be(expr) for expr in exprs if evaluate(machine, expr, state)), seed
        told += sum(not reach.can_be(expr) for expr in exprs)
    assert told > 50


def all_behind(start: State, machine: Machine) -> Iterator[State]:
    """Every state that some run from this one leads to."""
    met = {start: None}
    waiting = [start]
    while waiting:
        state = waiting.pop()
        yield state
        for _, after in successors(machine, state):
            if after not in met:
                met[after] = None
                waiting.append(after)
