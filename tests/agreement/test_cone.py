"""What of a machine an answer can depend on: the part that is kept, and runs carried over to the whole."""

from __future__ import annotations

import random

import pytest

from interlock.confirm.replay import replay
from interlock.kernel.claims import Trace
from interlock.kernel.evaluator import successors
from interlock.kernel.expressions import TRUE, Is, Ref, conj
from interlock.kernel.machine import Actor, Machine, Rule, Signal, Variable, support_of
from interlock.prove.core.cone import cone_of, lifted
from interlock.prove.recovery.dead_ends import without_detours
from tests.some import swept

from .listing import listing_of
from .random_machines import random_way_back

FALSE_TRUE = (False, True)


def watched(machine: Machine, seed: int) -> Machine:
    """The machine with two memories that rules write and no guard reads, the second fed by the first alone."""
    draw = random.Random(seed)
    names = [variable.name for variable in machine.variables]
    memories = tuple(Variable(f"memory {at}", FALSE_TRUE, FALSE_TRUE if at else (False,)) for at in range(2))
    rules = [
        Rule(rule.name, rule.actor, rule.guard, (*rule.update, *((("memory 0", True),) if draw.random() < 0.5 else ())))
        for rule in machine.rules
    ]
    rules.append(Rule("remember", Actor.CREW, Is("memory 0", True), (("memory 1", False),)))
    assert not {variable.name for variable in memories}.intersection(names)
    return Machine((*machine.variables, *memories), machine.signals, tuple(rules), (), machine.start)


@pytest.mark.parametrize("tens", range(12))
def test_the_cone_reaches_what_the_whole_machine_reaches(tens: int) -> None:
    """Its reachable states are those of the whole machine, with what is left out forgotten."""
    smaller = 0
    for seed in range(10 * tens, 10 * tens + 10):
        bare, question = random_way_back(seed)
        whole = watched(bare, seed)
        cone = cone_of(whole, [question.goal])
        kept = [whole.positions[variable.name] for variable in cone.variables]
        assert "memory 0" not in cone.domains and "memory 1" not in cone.domains
        assert support_of(whole, question.goal) <= set(cone.domains)
        seen = {tuple(state[at] for at in kept) for state in listing_of(whole).depths}
        assert set(listing_of(cone).depths) == seen
        smaller += len(cone.variables) < len(bare.variables)
    assert smaller or tens


def test_what_the_start_ties_together_is_kept() -> None:
    """A variable that nothing but the start speaks of still says where the others may begin."""
    variables = (Variable("a", FALSE_TRUE, FALSE_TRUE), Variable("b", FALSE_TRUE, FALSE_TRUE))
    machine = Machine(variables, (Signal("same", Is("b", True)),), (), (), conj(Is("a", True), Ref("same")))
    cone = cone_of(machine, [Is("a", True)])
    assert [variable.name for variable in cone.variables] == ["a", "b"]
    assert set(listing_of(cone).depths) == {(True, True)}


@pytest.mark.parametrize("seed", swept(range(40), 5))
def test_a_run_of_the_cone_is_one_of_the_whole_machine(seed: int) -> None:
    """Whatever run the cone makes, the whole machine makes it too, and it ends alike."""
    bare, question = random_way_back(seed)
    whole = watched(bare, seed)
    cone = cone_of(whole, [question.goal])
    draw = random.Random(seed)
    starts = sorted(listing_of(cone).initial, key=repr)
    if not starts:
        assert not listing_of(whole).initial
        return
    states, names = [draw.choice(starts)], list[str]()
    for _ in range(12):
        steps = list(successors(cone, states[-1]))
        if not steps:
            break
        rule, after = draw.choice(steps)
        states.append(after)
        names.append(rule.name)
    run = lifted(whole, cone, Trace(tuple(names), tuple(states)))
    assert not replay(whole, TRUE, run)
    assert run.rules == tuple(names)
    kept = [whole.positions[variable.name] for variable in cone.variables]
    assert tuple(run.states[-1][at] for at in kept) == states[-1]


def test_detours_are_left_out() -> None:
    """There and back again on the way, and what is done beyond the target, are no part of the run."""
    counter = Variable("n", (0, 1, 2, 3), (0,))
    lamp = Variable("lamp", FALSE_TRUE, (False,))
    up = [Rule(f"up {n}", Actor.CREW, Is("n", n), (("n", n + 1),)) for n in range(3)]
    down = [Rule(f"down {n}", Actor.CREW, Is("n", n), (("n", n - 1),)) for n in (1, 2, 3)]
    switch = Rule("switch", Actor.CREW, TRUE, (("lamp", True),))
    machine = Machine((counter, lamp), (), (*up, *down, switch))
    names = ("up 0", "switch", "up 1", "down 2", "up 1", "up 2")
    states = ((0, False), (1, False), (1, True), (2, True), (1, True), (2, True), (3, True))
    found = without_detours(machine, Trace(names, states), Is("n", 2))
    assert found.rules == ("up 0", "up 1")
    assert found.states == ((0, False), (1, False), (2, False))
