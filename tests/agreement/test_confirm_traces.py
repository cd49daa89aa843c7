"""Traces, true and spoiled: only a run of the machine into the target is let through."""

from __future__ import annotations

from collections.abc import Callable
from random import Random

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from interlock.confirm.confirm import confirm
from interlock.confirm.enumeration import check_shortest
from interlock.confirm.replay import replay
from interlock.kernel.claims import Disputed, Fails, Refuted, Trace
from interlock.kernel.evaluator import State
from interlock.kernel.expressions import FALSE, TRUE, Expr, Is, Not
from interlock.kernel.machine import Actor, Machine, Question, Rule, Variable

from .machines_confirm import World, a_machine, cube_of, true_in, world_of

seeds = st.integers(0, 10**9)
quick = settings(max_examples=300, deadline=None, derandomize=True)


def a_run(rng: Random, machine: Machine, world: World) -> Trace:
    """Some run, of up to five steps."""
    states = [rng.choice(sorted(world.initial, key=repr))]
    rules: list[str] = []
    for _ in range(rng.randint(0, 5)):
        enabled = [rule for rule in machine.rules if true_in(machine, rule.guard, states[-1])]
        if not enabled:
            break
        rule = rng.choice(enabled)
        rules.append(rule.name)
        states.append(after(machine, rule, states[-1]))
    return Trace(tuple(rules), tuple(states))


def after(machine: Machine, rule: Rule, state: State) -> State:
    values = dict(zip((v.name for v in machine.variables), state, strict=True)) | dict(rule.update)
    return tuple(values.values())


def is_run(machine: Machine, world: World, target: Expr, trace: Trace) -> bool:
    """The meaning of a trace, told once more without the kernel's evaluator."""
    if len(trace.states) != len(trace.rules) + 1 or trace.states[0] not in world.initial:
        return False
    for name, before, then in zip(trace.rules, trace.states, trace.states[1:], strict=False):
        named = [rule for rule in machine.rules if rule.name == name]
        if not named or not true_in(machine, named[0].guard, before) or after(machine, named[0], before) != then:
            return False
    return true_in(machine, target, trace.states[-1])


def spoil(rng: Random, machine: Machine, world: World, trace: Trace) -> Trace:
    """The trace with one thing changed, which may by chance be another run."""
    rules, states = list(trace.rules), list(trace.states)
    at = rng.randrange(len(states))
    way = rng.choice(
        ("rule", "no such rule", "state", "swap", "cut the end", "cut the start", "repeat", "short", "long")
    )
    if way == "rule" and rules:
        rules[at % len(rules)] = rng.choice(machine.rules).name
    elif way == "no such rule" and rules:
        rules[at % len(rules)] = "no such rule"
    elif way == "state":
        states[at] = rng.choice(world.states)
    elif way == "swap":
        states[at], states[at - 1] = states[at - 1], states[at]
    elif way == "cut the end":
        rules, states = rules[:at], states[: at + 1]
    elif way == "cut the start":
        rules, states = rules[at:], states[at:]
    elif way == "repeat" and rules:
        place = at % len(rules)
        rules.insert(place, rules[place])
        states.insert(place, states[place])
    elif way == "short":
        states = states[:-1] or [*states, *states]
    elif way == "long":
        states.append(states[-1])
    return Trace(tuple(rules), tuple(states))


@quick
@given(seeds)
def test_true_runs_are_let_through(number: int) -> None:
    """Every run of the machine replays without fault into the state in which it ends."""
    rng = Random(number)
    machine = a_machine(rng)
    world = world_of(machine)
    assume(world.initial)
    trace = a_run(rng, machine, world)
    assert replay(machine, cube_of(machine, trace.states[-1]), trace) == []


@quick
@given(seeds)
def test_spoiled_runs_are_caught(number: int) -> None:
    """A trace with one thing changed fails exactly when it is still a run into the target, else it is disputed."""
    rng = Random(number)
    machine = a_machine(rng)
    world = world_of(machine)
    assume(world.initial)
    trace = a_run(rng, machine, world)
    target = rng.choice((TRUE, cube_of(machine, trace.states[-1]), Not(cube_of(machine, trace.states[0]))))
    trace = spoil(rng, machine, world, trace)
    claim = Refuted("q", "test", trace, shortest=False)
    (finding,) = confirm(machine, [Question("q", target)], [claim])
    assert isinstance(finding, Fails if is_run(machine, world, target, trace) else Disputed)


def test_spoiling_does_not_often_leave_a_run() -> None:
    """Most spoiled traces are no run any more, and some still are: both answers of the test above are common."""
    verdicts = []
    for number in range(300):
        rng = Random(number)
        machine = a_machine(rng)
        world = world_of(machine)
        if world.initial:
            trace = spoil(rng, machine, world, a_run(rng, machine, world))
            verdicts.append(is_run(machine, world, TRUE, trace))
    assert verdicts.count(True) > 40
    assert verdicts.count(False) > 40


COUNTER = Machine(
    (Variable("n", (0, 1, 2), (0,)), Variable("lamp", (False, True), (False,))),
    (),
    (
        Rule("up", Actor.CREW, Is("n", 0), (("n", 1), ("lamp", True))),
        Rule("on", Actor.CREW, Is("n", 1), (("n", 2),)),
        Rule("jump", Actor.CREW, Is("lamp", False), (("n", 2),)),
    ),
)
RUN = Trace(("up", "on"), ((0, False), (1, True), (2, True)))


@pytest.mark.parametrize(
    ("trace", "faults"),
    [
        (RUN, []),
        (Trace(("up", "down"), RUN.states), ["step 2: there is no rule 'down'"]),
        (Trace(("up", "on"), ((1, False), (1, True), (2, True))), [
            "the first state is not an initial state",
            "step 1: rule 'up' may not fire there",
        ]),
        (Trace(("up", "jump"), RUN.states), ["step 2: rule 'jump' may not fire there"]),
        (Trace(RUN.rules, (RUN.states[0], (1, False), RUN.states[2])), [
            "step 1: rule 'up' leads to another value of lamp",
            "step 2: rule 'on' leads to another value of lamp",
        ]),
        (Trace(("up",), RUN.states[:2]), ["the last state does not satisfy the target"]),
        (Trace(("up",), RUN.states), ["1 steps do not fit 3 states"]),
        (Trace((), ()), ["0 steps do not fit 0 states"]),
        (Trace((), ((0,),)), ["a state does not have one value for each variable"]),
        (Trace((), ((2, False),)), ["the first state is not an initial state"]),
    ],
)  # fmt: skip
def test_faults_are_told_in_plain_words(trace: Trace, faults: list[str]) -> None:
    """Each thing that is wrong with a trace is named, with the step, the rule and the variable."""
    assert replay(COUNTER, Is("n", 2), trace) == faults


SHORT = Trace(("jump",), ((0, False), (2, False)))


@pytest.mark.parametrize(("trace", "answer"), [(SHORT, True), (RUN, False), (Trace((), ((0, False),)), True)])
def test_shortest_is_looked_into_on_request(trace: Trace, answer: bool) -> None:
    """A walk over all states of fewer steps says whether one of them is in the target already."""
    claim = Refuted("q", "test", trace, shortest=True)
    assert check_shortest(COUNTER, Question("q", Is("n", 2)), claim) is answer


def test_shortest_is_left_open_where_too_many_states_are_nearer() -> None:
    """Where the nearer states cannot all be visited, nobody vouches for the length."""
    claim = Refuted("q", "test", RUN, shortest=True)
    assert check_shortest(COUNTER, Question("q", FALSE), claim, most_states=1) is None


def steps_needed(world: World, reached: Callable[[State], bool]) -> int | None:
    layer, seen, depth = set(world.initial), set(world.initial), 0
    while layer:
        if any(reached(state) for state in layer):
            return depth
        layer = {then for state in layer for then in world.successors[state]} - seen
        seen |= layer
        depth += 1
    return None


@quick
@given(seeds)
def test_shortest_agrees_with_breadth_first_search(number: int) -> None:
    """On random runs, "no shorter run" is said exactly where the first visit in breadth-first order is as late."""
    rng = Random(number)
    machine = a_machine(rng)
    world = world_of(machine)
    assume(world.initial)
    trace = a_run(rng, machine, world)
    needed = steps_needed(world, lambda state: state == trace.states[-1])
    claim = Refuted("q", "test", trace, shortest=True)
    answer = check_shortest(machine, Question("q", cube_of(machine, trace.states[-1])), claim)
    assert answer is (needed == trace.depth)
