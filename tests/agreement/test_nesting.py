"""Nesting has no limit: a guard 2,000 deep, 10,000 signals in a chain, through kernel, engines and sceptic."""

from __future__ import annotations

from collections.abc import Mapping

import pytest

from interlock.confirm.confirm import confirm
from interlock.confirm.consequences import Track, Watched, count_consequences
from interlock.confirm.evidence import evidence_files
from interlock.confirm.numbering import count_by_numbers
from interlock.confirm.recovery import confirm_recovery
from interlock.kernel.claims import Certificate, Claim, Fails, Holds, Limits, Proved, Refuted, Trace, Unknown
from interlock.kernel.evaluator import evaluate
from interlock.kernel.expressions import FALSE, TRUE, And, Expr, Is, Not, Or, Ref, assign, conj, disj, expand, neg
from interlock.kernel.machine import Actor, Machine, Question, Rule, Signal, Variable
from interlock.kernel.recovery import DeadEnd, HasDeadEnd, Recoverable, Recovers, RecoveryQuestion
from interlock.prove.recovery.recovery import recover
from interlock.prove.search import explicit, vectorised
from tests.agreement.judging import BY_CASES, JUDGED

DEEP = 2_000
LONG = 10_000
QUICK_DEEP, QUICK_LONG = 600, 2_500
"""Beyond what a stack of calls bears as well, each level of the guard being three expressions; for the quick tests."""


def nested(depth: int) -> Expr:
    """True exactly where x is true; every level is needed, and none can be folded away."""
    whole: Expr = Is("x", True)
    for at in range(depth):
        other = Is("x", at % 2 == 0)
        whole = Not(And((Or((Not(whole), other)), Not(And((whole if at < 1 else Is("x", True), other))))))
    return whole


def deep(depth: int) -> Machine:
    """A lamp that can be lit only where a guard so deep allows, and one that it never allows."""
    guard = nested(depth)
    return Machine(
        (Variable("x", (False, True), (False,)), Variable("lamp", ("off", "on", "broken"), ("off",))),
        (Signal("allowed", guard),),
        (
            Rule("set", Actor.CREW, Is("x", False), (("x", True),)),
            Rule("light", Actor.CREW, conj(Is("lamp", "off"), guard), (("lamp", "on"),)),
            Rule("dark", Actor.CREW, Is("lamp", "on"), (("lamp", "off"),)),
            Rule("break", Actor.CREW, conj(guard, neg(Ref("allowed"))), (("lamp", "broken"),)),
        ),
    )


def chained(length: int) -> Machine:
    """The same with so many signals in a row, each the opposite of the one before."""
    signals = [Signal("s0", Is("x", True))]
    signals += [Signal(f"s{at}", Or((Not(Ref(f"s{at - 1}")), FALSE))) for at in range(1, length + 1)]
    last = Ref(f"s{length}")
    return Machine(
        (Variable("x", (False, True), (False,)), Variable("lamp", ("off", "on", "broken"), ("off",))),
        tuple(signals),
        (
            Rule("set", Actor.CREW, Is("x", False), (("x", True),)),
            Rule("light", Actor.CREW, conj(Is("lamp", "off"), last), (("lamp", "on"),)),
            Rule("dark", Actor.CREW, Is("lamp", "on"), (("lamp", "off"),)),
            Rule("break", Actor.CREW, conj(last, neg(Is("x", True))), (("lamp", "broken"),)),
        ),
    )


MACHINES: Mapping[str, Machine] = {
    "deep": deep(QUICK_DEEP),
    "chained": chained(QUICK_LONG),
    "deeper": deep(DEEP),
    "longer": chained(LONG),
}
nesting = pytest.mark.parametrize(
    "name", ["deep", "chained", *(pytest.param(name, marks=pytest.mark.slow) for name in ("deeper", "longer"))]
)
QUESTIONS = (Question("lit", Is("lamp", "on")), Question("broken", Is("lamp", "broken")))


@nesting
@pytest.mark.parametrize("engine", JUDGED)
def test_engines_end_in_a_claim_that_is_confirmed(name: str, engine: str) -> None:
    """Every engine decides such a machine or says honestly that it does not; what it claims is found true."""
    machine = MACHINES[name]
    claims = JUDGED[engine](machine, QUESTIONS, Limits(depth=4))
    findings = confirm(machine, QUESTIONS, claims)
    unknown = [isinstance(claim, Unknown) for claim in claims]
    assert isinstance(claims[0], Refuted) or unknown[0]
    assert isinstance(findings[0], Fails) or unknown[0]
    assert isinstance(claims[1], Proved) or unknown[1]
    assert isinstance(findings[1], Holds) or unknown[1]


@nesting
@pytest.mark.parametrize("limits", [Limits(), pytest.param(BY_CASES, marks=pytest.mark.slow)])
def test_ways_back_end_in_a_claim_that_is_confirmed(name: str, limits: Limits) -> None:
    """The same for what can always be brought about, and for what cannot."""
    machine = MACHINES[name]
    asked = [RecoveryQuestion("lit", Is("lamp", "on")), RecoveryQuestion("dark", Is("x", False))]
    claims = recover(machine, asked, limits)
    assert [type(claim) for claim in claims] == [Recoverable, DeadEnd]
    assert [type(finding) for finding in confirm_recovery(machine, asked, claims)] == [Recovers, HasDeadEnd]


@nesting
def test_counts_go_through(name: str) -> None:
    """Both counting engines and the second count see the four states."""
    machine = MACHINES[name]
    assert explicit.count_states(machine).states == vectorised.count_states(machine).states == 3
    assert count_by_numbers(machine, [QUESTIONS[0].target], 100).states == 3
    track = Track(machine, "lamp", {"set": "set"}, {"lit": Watched(QUESTIONS[0].target, None)}, {"off": None}, 2)
    assert count_consequences(track).leading == {"lit": {("set",)}}


def test_expressions_go_through() -> None:
    """What is done with expressions is done with deep ones, twice built ones included: equal, hashed, shown, fixed."""
    one, two = nested(DEEP), nested(DEEP)
    assert one is not two and one == two and hash(one) == hash(two) and len({one, two}) == 1
    assert one != nested(DEEP + 1) and one != nested(DEEP - 1)
    assert repr(one) == repr(two) and repr(one).count("Is(") >= DEEP
    assert conj(one, two) == one and disj(one, neg(two)) == TRUE
    for value in (False, True):
        state = (value, "off")
        folded = assign(one, {"x": value})
        assert folded in (TRUE, FALSE)
        assert evaluate(MACHINES["deeper"], one, state) is (folded == TRUE)
        assert evaluate(MACHINES["longer"], Ref(f"s{LONG}"), state) is value
    assert expand(Ref(f"s{LONG}"), MACHINES["longer"].definitions) == Is("x", True)


@nesting
def test_evidence_is_written(name: str) -> None:
    """The evidence of such a machine is written out as that of any other."""
    machine = MACHINES[name]
    certificate = Certificate((Not(QUESTIONS[1].target),))
    run = Trace(("set", "light"), ((False, "off"), (True, "off"), (True, "on")))
    claims: list[Claim] = [Refuted("lit", "a", run, True), Proved("broken", "a", certificate)]
    findings = confirm(machine, QUESTIONS, claims)
    assert [type(finding) for finding in findings] == [Fails, Holds]
    assert len(evidence_files(machine, QUESTIONS, findings)) > 4
