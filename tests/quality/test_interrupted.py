"""Whatever ends the default strategy early, what it has claimed by then is kept and is right."""

from __future__ import annotations

import random
from functools import cache

import pytest

from interlock.kernel.claims import Claim, Limits, Progress, Proved, Refuted, Unknown
from interlock.kernel.evaluator import evaluate, fire, is_enabled, is_initial
from interlock.kernel.expressions import Is
from interlock.kernel.machine import Machine, Question
from interlock.prove.decide import decide
from tests.quality.test_minimal_certificates import asked_of

SEED = 11
TIMES = 8


@cache
def case() -> tuple[Machine, list[Question], dict[str, type]]:
    """A hold of four bays, questions with and without a run, and what each of them comes to when nothing interrupts."""
    machine, questions = asked_of("single-lane")
    states = [Question(f"{v.name}={x}", Is(v.name, x), True) for v in machine.variables[:12] for x in v.domain]
    questions = [*questions, *states]
    calls = 0

    def count(_: Progress) -> None:
        nonlocal calls
        calls += 1

    claims = decide(machine, questions, Limits(), count)
    assert not any(isinstance(claim, Unknown) for claim in claims)
    CALLS.append(calls)
    return machine, questions, {claim.question: type(claim) for claim in claims}


CALLS: list[int] = []


def runs(machine: Machine, question: Question, claim: Refuted) -> bool:
    """The trace is a run of the machine to the target, by the reference evaluator."""
    states = claim.trace.states
    rules = [machine.rule(name) for name in claim.trace.rules]
    steps = zip(rules, states, states[1:], strict=False)
    return (
        len(states) == len(rules) + 1
        and is_initial(machine, states[0])
        and all(is_enabled(machine, rule, a) and fire(machine, rule, a) == b for rule, a, b in steps)
        and evaluate(machine, question.target, states[-1])
    )


def check(claims: tuple[Claim, ...], reason: str) -> int:
    """Every claim made is right, every other says why it is not; gives how many were made."""
    machine, questions, truth = case()
    made = 0
    for question, claim in zip(questions, claims, strict=True):
        assert claim.question == question.id
        if isinstance(claim, Unknown):
            assert reason in claim.reason
            continue
        made += 1
        assert type(claim) is truth[claim.question]
        if isinstance(claim, Refuted):
            assert runs(machine, question, claim)
        else:
            assert isinstance(claim, Proved)
    return made


def test_an_interrupt_at_any_moment_loses_no_claim() -> None:
    """Ctrl-C, at moments drawn at random: no exception, right claims, and no fewer the later it comes."""
    machine, questions, _ = case()
    draw = random.Random(SEED)
    made = []
    # the last moment too: the longer stages report often, and what they lead to is claimed at their end
    for moment in sorted({*draw.sample(range(CALLS[0]), min(TIMES, CALLS[0])), CALLS[0] - 1}):
        calls = 0

        def interrupt(_: Progress, moment: int = moment) -> None:
            nonlocal calls
            if calls == moment:
                raise KeyboardInterrupt
            calls += 1

        made.append(check(decide(machine, questions, Limits(), interrupt), "interrupted"))
    assert made == sorted(made)
    assert made[-1] > made[0]


@pytest.mark.parametrize("seconds", [0.001, 0.2, 0.6])
def test_a_limit_in_seconds_loses_no_claim(seconds: float) -> None:
    """What was claimed in time is right; the rest says that time ran out."""
    machine, questions, _ = case()
    check(decide(machine, questions, Limits(seconds=seconds)), "out of time")
