"""Runs that people can follow: the fewest failures, then the fewest steps, then the fewest hands for the least time."""

from __future__ import annotations

import random
from collections import deque
from collections.abc import Iterator
from dataclasses import replace
from heapq import heappop, heappush
from itertools import count
from typing import Any

import pytest

from interlock.hold.hands import hands_of
from interlock.kernel.claims import Limits, Proved, Refuted, Trace, Unknown
from interlock.kernel.evaluator import State, evaluate, fire, initial_states, is_enabled, successors
from interlock.kernel.expressions import TRUE, Expr, Is, conj, neg
from interlock.kernel.machine import Actor, Machine, Question, Rule, Variable
from interlock.prove.decide import decide
from interlock.prove.following import Burden, Handling, at_most, easier, failures_on, follow
from interlock.prove.search.bmc import bmc
from interlock.prove.search.explicit import explicit
from interlock.study.verify import Status, verify
from tests.agreement.engines import assert_runs
from tests.agreement.hold_texts import compile_text, standing
from tests.agreement.random_machines import random_case
from tests.teeth.test_why_never import HOLD


def failing_case(seed: int) -> tuple[Machine, tuple[Question, ...]]:
    """A random machine some of whose rules are failures."""
    draw = random.Random(seed)
    machine, questions = random_case(seed)
    rules = tuple(replace(rule, actor=Actor.FAILURE) if draw.random() < 0.4 else rule for rule in machine.rules)
    return Machine(machine.variables, machine.signals, rules, (), machine.start), questions


def least(machine: Machine, target: Expr) -> tuple[int, int] | None:
    """The fewest failures, and of runs with so many the fewest steps, by visiting states in that order."""
    waiting: list[tuple[int, int, int, State]] = []
    number = count()
    for state in initial_states(machine):
        heappush(waiting, (0, 0, next(number), state))
    seen: set[State] = set()
    while waiting:
        failures, steps, _, state = heappop(waiting)
        if state in seen:
            continue
        seen.add(state)
        if evaluate(machine, target, state):
            return failures, steps
        for rule, after in successors(machine, state):
            heappush(waiting, (failures + (rule.actor is Actor.FAILURE), steps + 1, next(number), after))
    return None


@pytest.mark.parametrize("engine", [decide, bmc, explicit], ids=["decide", "bmc", "explicit"])
@pytest.mark.parametrize("block", range(3))
def test_fewest_failures_come_first(engine: Any, block: int) -> None:
    """On random machines runs have the fewest failures, and of those that have as many they are the shortest."""
    fewer = failing = 0
    # bounded search proves nothing: with it no run that needs a failure is called shortest
    limits = Limits(depth=8) if engine is bmc else Limits()
    for seed in range(500_000 + 40 * block, 500_000 + 40 * (block + 1)):
        machine, questions = failing_case(seed)
        plain = engine(machine, questions, limits)
        found = follow(engine)(machine, questions, limits)
        for question, before, claim in zip(questions, plain, found, strict=True):
            assert type(claim) is type(before)
            if not isinstance(claim, Refuted) or question.expects_run:
                continue
            assert_runs(machine, question, claim.trace)
            assert isinstance(before, Refuted)
            fewer += failures_on(machine, claim.trace) < failures_on(machine, before.trace)
            right = least(machine, question.target)
            assert right is not None
            failing += right[0] > 0
            if claim.shortest:
                assert (failures_on(machine, claim.trace), claim.trace.depth) == right, seed
            else:
                assert engine is bmc
    assert fewer and failing


def test_what_was_not_excluded_is_not_claimed() -> None:
    """Where nobody says whether fewer failures would do, the run stays and is no longer called shortest."""
    step = Rule("it breaks", Actor.FAILURE, Is("broken", False), (("broken", True),))
    machine = Machine((Variable("broken", (False, True), (False,)),), (), (step,))
    question = Question("q", Is("broken", True))

    def silent_engine(machine: Machine, questions: Any, limits: Any = None, report: Any = None) -> Any:
        return tuple(Unknown(one.id, "none", "no idea") for one in questions)

    (claim,) = follow(decide, again=silent_engine)(machine, [question])
    assert isinstance(claim, Refuted) and claim.trace.depth == 1 and not claim.shortest
    (claim,) = follow(decide)(machine, [question])
    assert isinstance(claim, Refuted) and claim.shortest


def test_only_so_many_failures_strike() -> None:
    """In a machine limited to some number of failures no run has more, and every run that has not is there."""
    visited = 0
    for seed in range(510_000, 510_010):
        machine, _ = failing_case(seed)
        for most in (0, 1, 2):
            limited, names = at_most(machine, most)
            width = len(machine.variables)
            seen: dict[State, int] = {}
            waiting = deque((state, 0) for state in initial_states(limited))
            while waiting:
                state, failures = waiting.popleft()
                if seen.get(state, most + 1) <= failures:
                    continue
                seen[state] = failures
                assert failures <= most
                there = {(names[rule.name], after[:width]) for rule, after in successors(limited, state)}
                wanted = {
                    (rule.name, after)
                    for rule, after in successors(machine, state[:width])
                    if rule.actor is not Actor.FAILURE or failures < most
                }
                assert there == wanted
                for rule, after in successors(limited, state):
                    waiting.append((after, failures + (rule.actor is Actor.FAILURE)))
            visited += len(seen)
    assert visited > 500


# ---- hands ---------------------------------------------------------------------------------------------------------


def lever(name: str, guard: Expr = TRUE) -> Iterator[Rule]:
    yield Rule(f"hold {name}", Actor.CREW, conj(Is(name, "neutral"), guard), ((name, "held"),))
    yield Rule(f"release {name}", Actor.CREW, Is(name, "held"), ((name, "neutral"),))


def chain(length: int, guard: Expr) -> tuple[Variable, tuple[Rule, ...]]:
    """Work in so many steps, of which the last needs the guard."""
    rules = tuple(
        Rule(f"work {at}", Actor.CREW, conj(Is("work", at), guard if at == length - 1 else TRUE), (("work", at + 1),))
        for at in range(length)
    )
    return Variable("work", tuple(range(length + 1)), (0,)), rules


def handling(names: str) -> Handling:
    pairs = tuple((name, "neutral") for name in names)
    triples = [
        neg(conj(*(Is(one, "held") for one in (a, b, c)))) for a in names for b in names for c in names if a < b < c
    ]
    return Handling(pairs, conj(*triples))


def test_levers_are_held_when_they_are_needed() -> None:
    """A lever that only the last of six steps needs is held just before it; let go as soon as it is not needed."""
    variable, rules = chain(6, Is("A", "held"))
    levers = Variable("A", ("neutral", "held"), ("neutral",))
    machine = Machine((levers, variable), (), (*lever("A"), *rules))
    question = Question("done", Is("work", 6))
    (plain,) = bmc(machine, [question])
    (claim,) = follow(bmc, handling("A"))(machine, [question])
    assert isinstance(plain, Refuted) and isinstance(claim, Refuted)
    assert claim.shortest and claim.trace.depth == plain.trace.depth == 7
    assert claim.trace.rules[-2:] == ("hold A", "work 5")
    at_rest = Question("done", conj(Is("work", 6), Is("A", "neutral")))
    early = ("hold A", *(f"work {at}" for at in range(6)), "release A")
    states = [next(initial_states(machine))]
    for name in early:
        states.append(fire(machine, machine.rule(name), states[-1]))
    burden = Burden(machine, handling("A"))
    better = easier(machine, Trace(early, tuple(states)), burden)
    assert_runs(machine, at_rest, better)
    assert burden.of(better.states) == (0, 2)


def test_no_order_is_worse_than_the_one_found_and_moving_helps() -> None:
    """On random work with levers the order is valid and as short, never worse than before, often the best there is."""
    best = better = total = 0
    for seed in range(60):
        draw = random.Random(seed)
        names = "ABC"[: draw.randint(1, 3)]
        needs = [conj(*(Is(n, "held") for n in names if draw.random() < 0.4)) for _ in range(draw.randint(2, 4))]
        steps = [
            Rule(f"work {at}", Actor.CREW, conj(Is("work", at), need), (("work", at + 1),))
            for at, need in enumerate(needs)
        ]
        variables = [Variable(name, ("neutral", "held"), ("neutral",)) for name in names]
        variables.append(Variable("work", tuple(range(len(needs) + 1)), (0,)))
        machine = Machine(tuple(variables), (), (*(rule for name in names for rule in lever(name)), *steps))
        question = Question("done", Is("work", len(needs)))
        hands, burden = handling(names), Burden(machine, handling(names))
        (plain,) = bmc(machine, [question])
        (claim,) = follow(bmc, hands)(machine, [question])
        assert isinstance(plain, Refuted) and isinstance(claim, Refuted)
        assert_runs(machine, question, claim.trace)
        assert claim.trace.depth == plain.trace.depth
        before, after = burden.of(plain.trace.states), burden.of(claim.trace.states)
        assert after <= before
        right = min(burden.of(states) for states in shortest_runs(machine, question, plain.trace.depth))
        total += 1
        best += after == right
        better += after < before
    assert better >= 10 and best >= 0.9 * total


def shortest_runs(machine: Machine, question: Question, depth: int) -> Iterator[tuple[State, ...]]:
    """The states of every run of that length."""
    waiting: list[tuple[State, ...]] = [(state,) for state in initial_states(machine)]
    while waiting:
        states = waiting.pop()
        if len(states) == depth + 1:
            if evaluate(machine, question.target, states[-1]):
                yield states
            continue
        waiting += [(*states, after) for _, after in successors(machine, states[-1])]


def three_levers_or_a_switch() -> tuple[Machine, Question]:
    """The work needs three levers together, or two levers and a switch: as many steps either way."""
    variables = [Variable(name, ("neutral", "held"), ("neutral",)) for name in "ABC"]
    variables += [Variable("switch", (False, True), (False,)), Variable("work", (0, 1), (0,))]
    two = conj(Is("A", "held"), Is("B", "held"))
    rules = [rule for name in "ABC" for rule in lever(name)]
    rules += [
        Rule("go by levers", Actor.PLANT, conj(two, Is("C", "held")), (("work", 1),)),
        Rule("set switch", Actor.CREW, Is("switch", False), (("switch", True),)),
        Rule("go by switch", Actor.PLANT, conj(two, Is("switch", True)), (("work", 1),)),
    ]
    return Machine(tuple(variables), (), tuple(rules)), Question("done", Is("work", 1))


def test_another_run_is_taken_where_hands_do_not_suffice() -> None:
    """Of two runs of four steps the one with no more than two levers at a time is given; with none such, the other."""
    machine, question = three_levers_or_a_switch()

    def first(machine: Machine, questions: Any, limits: Any = None, report: Any = None) -> Any:
        names = ("hold A", "hold B", "hold C", "go by levers")
        states = [next(initial_states(machine))]
        for name in names:
            assert is_enabled(machine, machine.rule(name), states[-1])
            states.append(fire(machine, machine.rule(name), states[-1]))
        return (Refuted(questions[0].id, "first", Trace(names, tuple(states)), True),)

    claim: Any
    (claim,) = follow(first, handling("ABC"))(machine, [question])
    assert claim.shortest and claim.trace.depth == 4 and "go by switch" in claim.trace.rules
    assert_runs(machine, question, claim.trace)
    without = Machine(machine.variables, (), tuple(r for r in machine.rules if r.name != "set switch"))
    (claim,) = follow(first, handling("ABC"))(without, [question])
    assert claim.trace.rules[-1] == "go by levers"


def test_evidence_that_is_no_run_is_passed_on() -> None:
    """What an engine claims wrongly is for `confirm` to find: it is neither mended nor tripped over."""
    machine, question = three_levers_or_a_switch()
    forged = Refuted("done", "liar", Trace(("nobody knows",), ((), ())), True)
    (claim,) = follow(lambda *_: (forged,), handling("ABC"))(machine, [question])
    assert claim is forged
    proved = Proved("done", "liar", None, 3)
    assert follow(lambda *_: (proved,), handling("ABC"))(machine, [question]) == (proved,)


# ---- whole holds ---------------------------------------------------------------------------------------------------


def test_hands_are_those_of_people_who_can_reach() -> None:
    """One person on the ramp holds both levers; from within the hold he holds none."""
    compiled = compile_text(HOLD)
    hands = hands_of(compiled)
    assert {name for name, _ in hands.held} == {"control.HL.position", "control.RL.position"}
    machine = compiled.machine
    values = dict(zip((v.name for v in machine.variables), next(initial_states(machine)), strict=True))

    def enough(**facts: str) -> bool:
        names = {"HL": "control.HL.position", "RL": "control.RL.position", "P1": "person.P1.at"}
        changed = {**values, **{names[key]: value for key, value in facts.items()}}
        return evaluate(machine, hands.enough, tuple(changed[v.name] for v in machine.variables))

    assert enough() and enough(HL="up") and enough(HL="up", RL="fore")
    assert enough(P1="nose") and not enough(P1="nose", HL="up")


def test_a_breach_that_needs_no_failure_is_told_without_one() -> None:
    """The hatch sensor may stick, but a contact left out does as much: the run has no failure and says so."""
    text = HOLD.replace("mains and hatch_up and HL is neutral", "mains and HL is neutral")
    text += "failures:\n  - {of: hatch_up, mode: stuck_true}\n"
    compiled = compile_text(text, standing())
    found = verify(compiled, decide, Limits(), chosen=["sill-drive-only-with-door-open"])
    assert found.count(Status.FAILS) >= 1
    for answer in found.answers:
        if isinstance(claim := getattr(answer.finding, "claim", None), Refuted) and answer.status is Status.FAILS:
            assert failures_on(found.machine, claim.trace) == 0 and claim.shortest
