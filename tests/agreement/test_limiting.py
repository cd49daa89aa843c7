"""Smallest sets of limitations against every subset tried by itself, on small random machines."""

from __future__ import annotations

import random
from collections.abc import Sequence
from itertools import combinations

import pytest

from interlock.hold.compile.compiler import compile_hold
from interlock.hold.loader import Source, load_hold, load_specification
from interlock.kernel.claims import Limits, silent
from interlock.kernel.evaluator import State, evaluate, fire, initial_states, is_enabled
from interlock.kernel.expressions import FALSE, Expr, Is, disj, neg
from interlock.kernel.limiting import Forbidding, with_choices, with_first
from interlock.kernel.machine import Actor, Machine, Question, Rule, Variable, question_of
from interlock.prove.invariants.lemmas import Remembered
from interlock.study.deferral import restoring
from interlock.study.deferral.deferral import defer
from interlock.study.deferral.inoperative import ways_of
from interlock.study.deferral.limitations import can_be_kept, limitations_of
from interlock.study.deferral.restoring import restore, smallest_hitting
from tests.agreement.random_machines import random_case
from tests.golden.small_hold import TEXT
from tests.repo.test_defer_command import SECURED

SIZE = 3
TWO_BAYS = (
    TEXT.replace("rows: 1", "rows: 2")
    .replace("ball_mat: [1C]", "ball_mat: [1C, 2C]")
    .replace("pushing: never", 'pushing: "true"')
    .replace("[1C.aft]", "[2C.aft]")
    .replace("[1C.right], stops", "[1C.right, 2C.right], stops")
    .replace("doorways:", "  - {id: SLIM, name: slim container, across: 1, along: 1}\ndoorways:")
    + """\
  - {id: LG, name: left guide, kind: fixed guide, on: [2C.left], stops: [left], restrains: [y]}
  - {id: ML, name: mid latch, kind: manual latch, on: [1C.aft], stops: [fore, aft], restrains: [x], locking: raised,
     starts: lowered}
"""
)
GUARDED = (
    TWO_BAYS.replace('hand_work: "true"', "hand_work: D1 is open").replace(
        "closes: not D1 is sill_covered",
        "closes: not D1 is sill_covered and (every b in bays, (b is empty or up and SL is raised) and "
        "(every s in b.sides, not s is crossed))",
    )
    + "sensors:\n  - {id: up, name: switch of the mid latch, reads: ML is raised}\n"
)
"""So guarded nothing is unsecured, while the switch tells the truth."""


def limitations(draw: random.Random, machine: Machine) -> tuple[Forbidding, ...]:
    """Some that each forbid some rules, or only where a fact is not so; now and then two are one limitation."""
    found = []
    for at in range(draw.randint(1, 5)):
        number = at - (at > 0 and draw.random() < 0.2)
        rules = frozenset(rule.name for rule in machine.rules if draw.random() < 0.3)
        one = draw.choice(machine.variables)
        fact: Expr = Is(one.name, draw.choice(one.domain))
        found.append(Forbidding(f"keep{number}", rules, draw.choice((FALSE, fact, neg(fact)))))
    return tuple(found)


def reaches(machine: Machine, target: Expr, kept: tuple[Forbidding, ...]) -> bool:
    """Some run reaches the target in which these are kept, by stepping through all states."""
    seen: set[State] = set(initial_states(machine))
    waiting = list(seen)
    while waiting:
        state = waiting.pop()
        if evaluate(machine, target, state):
            return True
        for rule in machine.rules:
            forbidden = any(rule.name in one.rules and not evaluate(machine, one.unless, state) for one in kept)
            if is_enabled(machine, rule, state) and not forbidden and (after := fire(machine, rule, state)) not in seen:
                seen.add(after)
                waiting.append(after)
    return False


def judge(seed: int) -> tuple[frozenset[str], ...]:
    """One machine; its smallest sets."""
    machine, questions = random_case(seed)
    draw = random.Random(seed)
    limits = limitations(draw, machine)
    question = draw.choice(questions)
    names = sorted({one.name for one in limits})
    safe = [
        frozenset(kept)
        for size in range(len(names) + 1)
        for kept in combinations(names, size)
        if not reaches(machine, question.target, tuple(one for one in limits if one.name in kept))
    ]
    least = {one for one in safe if len(one) <= SIZE and not any(other < one for other in safe)}
    found = restore(machine, [question], (), limits, SIZE, Limits(), silent, Remembered())
    assert not found.reason
    assert not found.disputed
    if not safe:
        assert question.id in found.hopeless
        assert not found.sets
        return ()
    assert set(found.sets) == least, seed
    for stopped in found.runs:
        assert evaluate(machine, question.target, stopped.run.states[-1])
        assert stopped.by
    return found.sets


def test_each_choice_starts_and_steps_as_is_written() -> None:
    """The starts are those of the machine with each choice that keeps one of every clause, kept for good or never."""
    refused = 0
    for seed in range(40):
        machine, _ = random_case(seed)
        draw = random.Random(seed)
        limits = limitations(draw, machine)
        names = list(dict.fromkeys(one.name for one in limits))
        clauses = [draw.sample(names, draw.randint(1, len(names))) for _ in range(draw.randint(0, 3))]
        choices = [
            frozenset(kept)
            for size in range(len(names) + 1)
            for kept in combinations(names, size)
            if not any(set(clause).isdisjoint(kept) for clause in clauses)
        ]
        chosen = with_choices(machine, limits, clauses)
        before = [(kept, state) for kept in choices for state in initial_states(machine)]
        keeping = {kept: tuple(name in kept for name in names) for kept in choices}
        assert sorted(initial_states(chosen)) == sorted((*state, *keeping[kept]) for kept, state in before)
        for kept, state in draw.sample(before, min(8, len(before))):
            both = (*state, *keeping[kept])
            possible = {rule.name: fire(chosen, rule, both) for rule in chosen.rules if is_enabled(chosen, rule, both)}
            meant = {
                rule.name: fire(machine, rule, state) for rule in machine.rules if is_enabled(machine, rule, state)
            }
            for one in limits:
                if one.name in kept and not evaluate(machine, one.unless, state):
                    refused += sum(meant.pop(rule, None) is not None for rule in one.rules)
            assert possible == {rule: (*after, *keeping[kept]) for rule, after in meant.items()}
    assert refused > 20


def test_smallest_sets_are_those_of_trying_every_subset() -> None:
    """On 140 machines; in some of them it takes one limitation, in some several."""
    sizes = [len(one) for seed in range(140) for one in judge(seed)]
    assert sizes.count(1) > 5
    assert max(sizes) > 1


def test_a_set_that_could_do_with_less_is_found_out(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where sets stay that have another within them, subsets disagree."""

    def all_hitting(clauses: Sequence[frozenset[str]], size: int) -> tuple[frozenset[str], ...]:
        names = sorted(frozenset[str]().union(*clauses))
        sets = (frozenset(some) for count in range(size + 1) for some in combinations(names, count))
        return tuple(one for one in sets if all(one & clause for clause in clauses))

    for seed in range(200):
        draw = random.Random(seed)
        clauses = [frozenset(draw.sample("abcdef", draw.randint(1, 4))) for _ in range(draw.randint(0, 6))]
        every = all_hitting(clauses, SIZE)
        least = smallest_hitting(clauses, SIZE)
        assert set(least) == {one for one in every if not any(other < one for other in every)}
        assert list(least) == sorted(least, key=lambda one: (len(one), sorted(one)))
    monkeypatch.setattr(restoring, "smallest_hitting", all_hitting)
    with pytest.raises(AssertionError):
        for seed in range(60):
            judge(seed)


def test_on_a_hold_smallest_sets_are_those_of_trying_every_subset() -> None:
    """Two bays, a latch between them that stays down, and its switch up: what `defer` tells is all that suffices."""
    texts = load_specification(Source("asked.yaml", SECURED.encode())).value
    hold = load_hold(Source("hold.yaml", GUARDED.encode()), lambda name: None).value
    assert texts is not None and hold is not None
    compiled = compile_hold(hold, texts).compiled
    assert compiled is not None
    items = (*ways_of(hold, "ML", "lowered"), *ways_of(hold, "up", "stuck_true"))
    found = defer(hold, compiled, items, texts, SIZE, Limits(), wider=True)
    assert found is not None and found.restoring is not None and not found.restoring.reason
    machine = found.compiled.machine
    targets = [question_of(machine, one.instance.requirement).target for one in found.broken]
    known = {one.name: one for one in limitations_of(found.compiled, ["ML", "up"])}
    safe: set[frozenset[str]] = set()
    for size in range(SIZE + 1):
        for some in combinations(sorted(known), size):
            kept = tuple(each for name in some for each in known[name].forbidding)
            if not can_be_kept([known[name] for name in some]):
                continue
            if not any(one < set(some) for one in safe) and not reaches(machine, disj(*targets), kept):
                safe.add(frozenset(some))
    assert set(found.restoring.sets) == safe
    assert {len(one) for one in safe} >= {1, 2}


def test_a_limitation_that_is_taken_to_stop_a_run_and_does_not_is_found_out(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where any limitation on a rule of the run counts as stopping it, subsets disagree."""
    monkeypatch.setattr(restoring, "stops", lambda machine, limit, run: bool(limit.rules & set(run.rules)))
    with pytest.raises(AssertionError):
        for seed in range(200):
            judge(seed)


def test_what_is_first_comes_before_everything_else() -> None:
    """No other rule fires while one of these Booleans is still false."""
    variables = (Variable("struck", (False, True), (False,)), Variable("at", (0, 1), (0,)))
    rules = (
        Rule("strike", Actor.FAILURE, Is("struck", False), (("struck", True),)),
        Rule("go", Actor.CREW, Is("at", 0), (("at", 1),)),
    )
    machine = with_first(Machine(variables, (), rules), {"struck"})
    early = Question("early", Is("at", 1))
    assert reaches(machine, early.target, ())
    assert not is_enabled(machine, machine.rule("go"), (False, 0))
    assert is_enabled(machine, machine.rule("go"), (True, 0))
