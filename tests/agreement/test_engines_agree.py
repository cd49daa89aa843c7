"""Every engine against plain enumeration on 2,000 random machines, three of four slow; `long_run.py` goes on."""

from __future__ import annotations

from collections import Counter
from statistics import median

import pytest

from interlock.kernel.claims import Limits, Proved, Refuted
from interlock.kernel.evaluator import evaluate, successors
from interlock.kernel.expressions import Expr, Is, Not, neg
from interlock.kernel.machine import Machine, Question, Rule, support_of
from interlock.prove.certificates.obligations import discharge
from interlock.prove.core.solvers import FOREVER
from interlock.prove.search.explicit import count_states, explicit
from tests.agreement.state_graphs import state_graph
from tests.some import some, swept

from .engines import (
    COMPLETE,
    ENGINES,
    ON_Z3,
    every_state,
    reachable_states,
    truth,
)
from .judging import judge, judge_counts
from .random_machines import random_case

BLOCKS = 50
PER_BLOCK = 40


@pytest.mark.parametrize(
    "block",
    [*swept(range(BLOCKS // 4), 12), *(pytest.param(at, marks=pytest.mark.slow) for at in range(BLOCKS // 4, BLOCKS))],
)
def test_every_engine_agrees_with_enumeration(block: int) -> None:
    """Verdicts, depths, traces and certificates of all engines agree with plain enumeration."""
    for seed in range(block * PER_BLOCK, (block + 1) * PER_BLOCK):
        judge(seed)
        judge_counts(seed)


@pytest.mark.parametrize("seed", swept(range(0, 60, 2), 10))
@pytest.mark.parametrize("name", ON_Z3)
def test_engines_claim_the_same_on_another_solver(name: str, seed: int) -> None:
    """On z3 in place of a SAT solver an engine gives the same verdicts and, where it says so, the same depths."""
    machine, questions = random_case(seed)
    limits = Limits(depth=None if name == "pdr" else 5)
    claimed = ENGINES[name](machine, questions, limits)
    for one, other in some(zip(claimed, ON_Z3[name](machine, questions, limits), strict=True)):
        assert type(one) is type(other)
        if isinstance(one, Refuted) and isinstance(other, Refuted) and one.shortest:
            assert one.trace.depth == other.trace.depth


def test_the_generator_is_not_trivial() -> None:
    """The machines that the engines are judged on have a fair share of every kind of trouble."""
    reached: list[int] = []
    unreached = states = has_signal = has_start = no_rules = several = dead = 0
    largest: list[int] = []
    widest: Counter[int] = Counter()
    machines = 400
    for seed in range(machines):
        machine, questions = random_case(seed)
        depths = reachable_states(machine)
        largest.append(len(depths))
        states += len(depths)
        for depth in truth(machine, questions, depths):
            if depth is None:
                unreached += 1
            else:
                reached.append(depth)
        read = frozenset[str]().union(*(support_of(machine, rule.guard) for rule in machine.rules))
        has_signal += bool(machine.signals) and bool(read)
        has_start += not all(evaluate(machine, machine.start, state) for state in every_state(machine))
        no_rules += not machine.rules
        several += sum(depth == 0 for depth in depths.values()) > 1
        dead += any(next(successors(machine, state), None) is None for state in depths)
        widest[max(len(variable.domain) for variable in machine.variables)] += 1
    asked = len(reached) + unreached
    assert 0.25 < len(reached) / asked < 0.75
    assert sum(depth >= 3 for depth in reached) > 0.1 * asked
    assert sum(depth >= 6 for depth in reached) > 30
    assert max(reached) >= 12
    assert median(largest) >= 8 and max(largest) >= 200
    assert widest[2] < machines / 4 < sum(count for width, count in widest.items() if width >= 4)
    assert min(has_signal, several) > machines / 4
    assert min(has_start, no_rules, dead) > machines / 40


@pytest.mark.parametrize("seed", swept(range(0, 200, 4), 5))
def test_states_and_steps_are_counted_right(seed: int) -> None:
    """`count_states` and `state_graph` agree with plain enumeration on states, depths, steps and dead ends."""
    machine, _ = random_case(seed)
    depths = reachable_states(machine)
    steps = {state: [(rule.name, after) for rule, after in successors(machine, state)] for state in depths}
    count = count_states(machine)
    assert count.complete
    assert count.states == len(depths)
    assert count.steps == sum(map(len, steps.values()))
    assert count.dead == sum(not after for after in steps.values())
    assert count.depth == max(depths.values(), default=-1)
    assert count.per_depth == tuple(
        sum(depth == at for depth in depths.values()) for at in range(max(depths.values(), default=-1) + 1)
    )
    graph = state_graph(machine)
    nodes = graph.nodes(data=True)
    assert {data["state"]: data["depth"] for _, data in nodes} == depths
    state_of = {node: data["state"] for node, data in nodes}
    edges = Counter((state_of[a], data["rule"], state_of[b]) for a, b, data in graph.edges(data=True))
    assert edges == Counter((state, name, after) for state, found in steps.items() for name, after in found)
    assert graph.graph["complete"]


@pytest.mark.parametrize("seed", swept(range(0, 40, 2), 4))
def test_a_limited_count_says_so(seed: int) -> None:
    """A count that stopped early is not called complete, and what it gives is a part of the whole."""
    machine, _ = random_case(seed)
    whole = count_states(machine)
    for depth in range(whole.depth):
        part = count_states(machine, Limits(depth=depth))
        assert not part.complete
        assert part.per_depth == whole.per_depth[: depth + 1]
    assert count_states(machine, Limits(depth=whole.depth)) == whole
    if whole.states > 1:
        assert not count_states(machine, Limits(states=whole.states - 1)).complete


def _renamed(machine: Machine, expr: Expr) -> Expr:
    """A double negation that the constructors would fold away."""
    return Not(Not(expr))


@pytest.mark.parametrize("seed", swept(range(1, 61, 3), 4))
def test_edits_that_change_nothing_change_no_verdict(seed: int) -> None:
    """Rules in another order, a rule given twice and doubly negated guards leave verdicts and shortest depths alone."""
    machine, questions = random_case(seed)
    rules = tuple(
        Rule(rule.name, rule.actor, _renamed(machine, rule.guard), rule.update) for rule in reversed(machine.rules)
    )
    rules += tuple(Rule(f"{rule.name} again", rule.actor, rule.guard, rule.update) for rule in machine.rules)
    edited = Machine(machine.variables, machine.signals, rules, (), machine.start)
    for engine in some((ENGINES["decide"], explicit)):
        for one, other in some(zip(engine(machine, questions), engine(edited, questions), strict=True)):
            assert type(one) is type(other)
            if isinstance(one, Refuted) and isinstance(other, Refuted):
                assert one.trace.depth == other.trace.depth


@pytest.mark.parametrize("seed", swept(range(1, 41, 3), 4))
def test_fewer_rules_reach_no_more(seed: int) -> None:
    """Taking rules away never makes a proved target reachable, and a proof's certificate stays good."""
    machine, questions = random_case(seed)
    fewer = Machine(machine.variables, machine.signals, machine.rules[::2], (), machine.start)
    # the default may count the states, the other gives certificates
    for engine in some((ENGINES["decide"], ENGINES["mined"])):
        for question, one, other in some(
            zip(questions, engine(machine, questions), engine(fewer, questions), strict=True)
        ):
            assert isinstance(other, Proved) or not isinstance(one, Proved)
            if isinstance(one, Proved) and engine is not ENGINES["decide"]:
                assert one.certificate is not None
                discharge(fewer, one.certificate, [question.target], FOREVER)


def test_asking_the_opposite_at_the_start() -> None:
    """Of a target and its opposite at least one is reachable wherever there is an initial state."""
    for seed in range(60, 90):
        machine, questions = random_case(seed)
        if not reachable_states(machine):
            continue
        both = [Question("q", questions[0].target), Question("not q", neg(questions[0].target))]
        assert any(isinstance(claim, Refuted) for claim in ENGINES["decide"](machine, both))


def test_a_fact_is_not_its_name() -> None:
    """Values that print alike are kept apart: the name "1" is not the number 1."""
    from interlock.kernel.machine import Actor, Variable

    machine = Machine(
        (Variable("a", ("1", "2"), ("1",)), Variable("b", (1, 2), (1,))),
        (),
        (Rule("a", Actor.CREW, Is("a", "1"), (("a", "2"),)),),
    )
    for engine in some(COMPLETE.values()):
        moved, stayed = engine(machine, [Question("a", Is("a", "2")), Question("b", Is("b", 2))])
        assert isinstance(moved, Refuted) and isinstance(stayed, Proved)
