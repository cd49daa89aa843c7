"""What was mined is not lost where there is no time left to check all of it."""

from __future__ import annotations

from collections.abc import Sequence

import pytest

from interlock.confirm.confirm import confirm
from interlock.kernel.claims import Certificate, Claim, Proved, Unknown, silent
from interlock.kernel.evaluator import initial_states
from interlock.kernel.expressions import Expr, Is, conj
from interlock.kernel.machine import Actor, Machine, Question, Rule, Variable
from interlock.prove.core.local import Cube, LocalRules
from interlock.prove.core.solvers import light_solver
from interlock.prove.engine import NO_LIMITS, Clock, OutOfTime, clock_of
from interlock.prove.frames.pdr import certify
from interlock.prove.invariants import mined

LATCHES = 40


def latches() -> tuple[Machine, list[Question]]:
    """Latches, each with a pin that goes in only while it is up and keeps it up: never down with the pin in."""
    variables, rules, questions = [], [], []
    for at in range(LATCHES):
        up, pin = f"up {at}", f"pin {at}"
        variables += [Variable(up, (False, True), (True,)), Variable(pin, (False, True), (False,))]
        rules += [
            Rule(f"lower {at}", Actor.CREW, Is(pin, False), ((up, False),)),
            Rule(f"raise {at}", Actor.CREW, Is(up, False), ((up, True),)),
            Rule(f"put in {at}", Actor.CREW, Is(up, True), ((pin, True),)),
            Rule(f"pull out {at}", Actor.CREW, Is(pin, True), ((pin, False),)),
        ]
        questions.append(Question(f"down and pinned {at}", conj(Is(up, False), Is(pin, True))))
    return Machine(tuple(variables), (), tuple(rules)), questions


def claimed(most: int, monkeypatch: pytest.MonkeyPatch) -> tuple[dict[int, Claim], bool]:
    """What is claimed where no certificate for more targets than that is made in time, and whether time ran out."""
    machine, questions = latches()
    rules, clock = LocalRules(machine), clock_of(NO_LIMITS)
    starts = list(initial_states(machine))
    lemmas = mined.mine(rules, [q.target for q in questions], starts, clock, light_solver, silent)

    def short_of_time(
        rules: LocalRules, cubes: Sequence[Cube], targets: Sequence[Expr], clock: Clock, hastily: bool = False
    ) -> Certificate:
        if len(targets) > most:
            raise OutOfTime
        return certify(rules, cubes, targets, clock, hastily)

    monkeypatch.setattr(mined, "certify", short_of_time)
    claims: dict[int, Claim] = {}
    is_over = False
    try:
        mined.claim_mined(rules, lemmas, questions, claims, clock)
    except OutOfTime:
        is_over = True
    found = confirm(machine, questions, [claims.get(at, _unknown(one)) for at, one in enumerate(questions)])
    assert {at for at, one in enumerate(found) if type(one).__name__ == "Holds"} == claims.keys()
    return claims, is_over


def _unknown(question: Question) -> Claim:
    return Unknown(question.id, "none", "not claimed")


def test_parts_are_claimed_where_all_at_once_takes_too_long(monkeypatch: pytest.MonkeyPatch) -> None:
    """Each part has a certificate that a second solver agrees with; what comes after the last part in time is open."""
    claims, is_over = claimed(7, monkeypatch)
    assert is_over
    assert sorted(claims) == list(range(6))
    assert len({id(claim.certificate) for claim in claims.values() if isinstance(claim, Proved)}) == 2


def test_one_certificate_serves_all_where_there_is_time(monkeypatch: pytest.MonkeyPatch) -> None:
    """Nothing is told apart needlessly."""
    claims, is_over = claimed(LATCHES, monkeypatch)
    assert not is_over
    assert len(claims) == LATCHES
    assert len({id(claim.certificate) for claim in claims.values() if isinstance(claim, Proved)}) == 1
