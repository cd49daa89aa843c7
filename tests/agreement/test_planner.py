"""The planner that proofs and checklists share: its plans lead where they should, and nothing in them is to spare."""

from __future__ import annotations

import random
from collections.abc import Container, Iterator, Sequence, Set
from itertools import combinations

import pytest

from interlock.kernel.claims import Refuted
from interlock.kernel.evaluator import evaluate, fire, initial_states, is_enabled
from interlock.kernel.expressions import TRUE, Expr
from interlock.kernel.machine import Machine
from interlock.kernel.recovery import Rank, rank_of, restarted
from interlock.prove.core.packing import Packing, compile_enabled
from interlock.prove.engine import NO_LIMITS, clock_of
from interlock.prove.recovery.planning import Planner, StagePlanner
from interlock.prove.search.best_first import OpenList, best_first, without_spare
from interlock.prove.search.delete_relaxation import NEVER, DeleteRelaxation, RelaxedGoal
from interlock.prove.search.explicit import explicit
from tests.agreement.random_machines import random_case
from tests.some import swept


def planned(machine: Machine, target: Expr) -> list[int] | None:
    """The rules of a plan from the only initial state, by place."""
    packing = Packing(machine)
    enabled = compile_enabled(packing)
    writes = [packing.writes(rule) for rule in machine.rules]

    def successors(state: int, helping: Set[int], met: Container[int]) -> Iterator[tuple[int, int, bool]]:
        for rule in enabled(state):
            keep, bits = writes[rule]
            yield rule, state & keep | bits, rule in helping

    def is_goal(before: int, rule: int, after: int) -> bool:
        return evaluate(machine, target, packing.unpack(after))

    relaxation = DeleteRelaxation(machine, [target])
    aim = RelaxedGoal(relaxation, relaxation.targets[0])
    (start,) = initial_states(machine)
    return best_first(packing, packing.pack(start), aim, successors, is_goal, 10_000, clock_of(NO_LIMITS))


def test_milestones_are_what_a_plan_brings_about() -> None:
    """Of the facts on a plan's way none is so already, and rules of the plan make each."""
    told = 0
    for seed in range(40):
        machine, questions = random_case(seed)
        start = next(iter(initial_states(machine)), None)
        if start is None:
            continue
        packing = Packing(machine)
        relaxation = DeleteRelaxation(machine, [question.target for question in questions])
        relaxation.put_all(packing.places(packing.pack(start)))
        now = dict(zip(machine.domains, start, strict=True))
        for node in relaxation.targets:
            plan, facts = relaxation.plan_here(node), relaxation.milestones_here(node)
            if plan is None:
                assert facts == []
                continue
            made = [fact for rule in plan.rules for fact in machine.rules[rule].update]
            assert all(fact in made and now[fact[0]] != fact[1] for fact in facts), seed
            assert len(set(facts)) == len(facts) >= min(1, plan.size)
            # without the rules that make a fact on the way another way is taken, or none
            for name, value in facts[:1]:
                banned = {at for at, rule in enumerate(machine.rules) if (name, value) in rule.update}
                assert (name, value) not in relaxation.milestones_here(node, banned)
            told += len(facts)
        # of several targets the rules of the plan do for one
        costs = relaxation.survey()
        left = [at for at, node in enumerate(relaxation.targets) if not relaxation.is_so(node)]
        nearest = relaxation.nearest_here([relaxation.targets[at] for at in left])
        assert (nearest is None) == all(costs.cost(relaxation.targets[at]) >= NEVER for at in left)
        if nearest is not None:
            alone = DeleteRelaxation(machine, [questions[at].target for at in left], sorted(nearest.rules))
            alone.put_all(packing.places(packing.pack(start)))
            assert any(alone.survey().cost(node) < NEVER for node in alone.targets), seed
    assert told > 50


@pytest.mark.parametrize("tens", range(6))
def test_finds_a_way_exactly_where_there_is_one(tens: int) -> None:
    """With as many states as it likes the planner reaches what enumeration reaches, by a run of the machine."""
    ways = none = 0
    for seed in range(20 * tens, 20 * tens + 20):
        whole, questions = random_case(seed)
        start = next(iter(initial_states(whole)), None)
        if start is None:
            continue
        machine = restarted(whole, start)
        for question, claim in zip(questions, explicit(machine, questions), strict=True):
            if evaluate(machine, question.target, start):
                continue
            plan = planned(machine, question.target)
            assert (plan is not None) == isinstance(claim, Refuted), (seed, question.id)
            if plan is None:
                none += 1
                continue
            ways += 1
            state = start
            for rule in plan:
                assert is_enabled(machine, machine.rules[rule], state)
                state = fire(machine, machine.rules[rule], state)
            assert evaluate(machine, question.target, state)
    assert ways > 5
    assert none > 5


def test_fewer_rules_are_a_machine_of_fewer_rules() -> None:
    """A relaxation in which only some rules fire plans as that of the machine which has only these."""
    plans = 0
    for seed in range(60):
        machine, questions = random_case(seed)
        draw = random.Random(seed)
        some = [at for at in range(len(machine.rules)) if draw.random() < 0.7]
        fewer = Machine(machine.variables, machine.signals, tuple(machine.rules[at] for at in some), (), machine.start)
        targets = [question.target for question in questions]
        one, two = DeleteRelaxation(machine, targets, some), DeleteRelaxation(fewer, targets)
        packing = Packing(machine)
        for state in list(initial_states(machine))[:3]:
            places = packing.places(packing.pack(state))
            for at, other in zip(one.targets, two.targets, strict=True):
                plan, same = one.plan(places, at), two.plan(places, other)
                assert (plan is None) == (same is None)
                if plan is not None and same is not None:
                    assert set(plan.rules) == {some[rule] for rule in same.rules}
                    assert set(plan.first) == {some[rule] for rule in same.first}
                    plans += bool(plan.rules)
            one.put_all(places)
            two.put_all(places)
            assert one.enabled() == [some[rule] for rule in two.enabled()]
    assert plans > 50


def test_three_states_of_four_are_those_that_help() -> None:
    """Nearest first in each queue, of the same estimate the one put in first; every fourth is one of the others."""
    waiting = OpenList([100])
    assert waiting.take() == 100
    for state in range(6):
        waiting.put_helped(10 - state // 2, state)
    waiting.put_others(5, iter([20, 21]))
    waiting.put_others(4, iter([30]))
    assert [waiting.take() for _ in range(11)] == [4, 5, 30, 2, 3, 0, 20, 1, 21, None, None]


@pytest.mark.parametrize(
    ("together", "seed"), swept([(together, seed) for together in (1, 2) for seed in range(30)], 5)
)
def test_nothing_is_left_that_can_be_spared(together: int, seed: int) -> None:
    """What is left suffices, in its order, and no step (or two at once) of it can be left out."""
    draw = random.Random(seed)
    steps = tuple(range(9))
    needed = [set(draw.sample(steps, draw.randint(1, 4))) for _ in range(3)]

    def suffices(kept: tuple[int, ...]) -> bool:
        # steps 0 and 1 undo one another: either both or neither
        return any(need <= {*kept} for need in needed) and (0 in kept) == (1 in kept)

    if not suffices(steps):
        pytest.fail("all steps together suffice")
    left = without_spare(steps, suffices, together)
    assert suffices(left)
    assert list(left) == sorted(left)
    for gone in range(1, together + 1):
        for places in combinations(range(len(left)), gone):
            assert not suffices(tuple(step for at, step in enumerate(left) if at not in places))


def test_soon_found_runs_lead_to_better_states_and_spare_nothing() -> None:
    """By the reference evaluator, of random machines: with any one rule less a run helps no more, or cannot be made."""
    several = 0
    for seed in range(60):
        machine, questions = random_case(seed)
        start = next(iter(initial_states(machine)), None)
        ranked = [variable for variable in machine.variables if len(variable.domain) > 1]
        goal = questions[0].target
        if start is None or not ranked or evaluate(machine, goal, start):
            continue
        rank = (tuple((one.name, value, at) for one in ranked for at, value in enumerate(one.domain)),)

        def helps(names: Sequence[str], goal: Expr = goal, rank: Rank = rank, machine: Machine = machine) -> bool:
            state = next(iter(initial_states(machine)))
            least = rank_of(machine, rank, state)
            for name in names:
                if not is_enabled(machine, machine.rule(name), state):
                    return False
                state = fire(machine, machine.rule(name), state)
            return evaluate(machine, goal, state) or rank_of(machine, rank, state) < least

        run = StagePlanner(Planner(machine), TRUE, goal, rank).plan_near(start, clock_of(NO_LIMITS))
        if run:
            several += len(run) > 1
            assert helps(run)
            assert not any(helps([*run[:at], *run[at + 1 :]]) for at in range(len(run)))
    assert several > 5
