"""Certificates, true and spoiled, against a brute-force reading of their obligations."""

from __future__ import annotations

from collections import Counter
from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from interlock.confirm.confirm import confirm
from interlock.kernel.claims import Certificate, Disputed, Finding, Holds, Proved
from interlock.kernel.expressions import FALSE, Expr, Is, Not, Ref, disj, neg
from interlock.kernel.machine import Actor, Machine, Question, Rule, Signal, Variable
from tests.some import swept

from .machines_confirm import (
    a_certificate,
    a_machine,
    a_target,
    cube_of,
    obligations_kept,
    true_certificate,
    true_in,
    world_of,
)

seeds = st.integers(0, 10**9)
quick = settings(max_examples=100, deadline=None, derandomize=True)


def finding_of(machine: Machine, certificate: Certificate, target: Expr) -> Finding:
    (finding,) = confirm(machine, [Question("q", target)], [Proved("q", "test", certificate)])
    return finding


@pytest.mark.parametrize("block", swept(range(3), 3))
@quick
@given(seeds)
def test_verdict_is_that_of_the_brute_force_reading(block: int, number: int) -> None:
    """A certificate, spoiled or not, holds exactly when its three obligations are true over all states."""
    rng = Random(number + block * 10**9)
    machine = a_machine(rng)
    world = world_of(machine)
    certificate = a_certificate(rng, machine, world)
    target = a_target(rng, machine, world)
    kept = obligations_kept(machine, world, certificate, target)
    finding = finding_of(machine, certificate, target)
    if all(kept.values()):
        assert isinstance(finding, Holds)
        assert finding.checked_by.startswith("cvc5 ")
        assert not any(true_in(machine, target, state) for state in world.reachable)
    else:
        assert isinstance(finding, Disputed)
        assert finding.what.startswith(f"({next(name for name, right in kept.items() if not right)}) ")


@pytest.mark.parametrize("block", swept(range(3), 3))
@quick
@given(seeds)
def test_true_certificates_hold(block: int, number: int) -> None:
    """The clauses that exclude every unreachable state prove that each of them is unreachable."""
    rng = Random(number + block * 10**9)
    machine = a_machine(rng)
    world = world_of(machine)
    certificate = true_certificate(machine, world)
    questions = [Question(str(at), cube_of(machine, state)) for at, state in enumerate(world.states)]
    findings = confirm(machine, questions, [Proved(q.id, "test", certificate) for q in questions])
    held = {state for state, finding in zip(world.states, findings, strict=True) if isinstance(finding, Holds)}
    assert held == set(world.states) - world.reachable
    assert all(isinstance(f, Holds) or (isinstance(f, Disputed) and f.what.startswith("(safe)")) for f in findings)


def test_generator_meets_every_case() -> None:
    """The random certificates are not all alike: each verdict and each broken obligation is common, also for k > 1."""
    seen: Counter[tuple[bool, str]] = Counter()
    for number in range(1000):
        rng = Random(number)
        machine = a_machine(rng)
        world = world_of(machine)
        certificate = a_certificate(rng, machine, world)
        kept = obligations_kept(machine, world, certificate, a_target(rng, machine, world))
        seen[certificate.k > 1, next((name for name, right in kept.items() if not right), "holds")] += 1
    for deep in (False, True):
        for case in ("start", "step", "safe", "holds"):
            assert seen[deep, case] >= 10, seen


# The machine of the examples below: a ring of four places, of which two are never reached.
PLACE = Variable("place", ("a", "b", "c", "d"), ("a",))
RING = Machine(
    (PLACE,),
    (Signal("far", disj(Is("place", "c"), Is("place", "d"))),),
    (
        Rule("go", Actor.CREW, Is("place", "a"), (("place", "b"),)),
        Rule("back", Actor.CREW, Is("place", "b"), (("place", "a"),)),
        Rule("onward", Actor.CREW, Is("place", "c"), (("place", "d"),)),
    ),
)
NOT_C, NOT_D = Not(Is("place", "c")), Not(Is("place", "d"))


@pytest.mark.parametrize(
    ("certificate", "target", "what"),
    [
        (Certificate((NOT_C,)), Ref("far"), "(safe) some state that satisfies the clauses satisfies the target of 'q'"),
        (Certificate((NOT_D,)), Is("place", "d"), "(step) rule 'onward' leads to a state that breaks a clause"),
        (Certificate((Not(Is("place", "a")),)), FALSE, "(start) a state 0 steps from an initial one breaks a clause"),
        (Certificate((Not(Is("place", "b")),), k=2), FALSE, "(start) a state 1 steps from an initial one breaks"),
        (Certificate((NOT_C, NOT_D), k=0), Ref("far"), "the certificate is ill-formed: k = 0"),
        (Certificate((Not(Is("palce", "c")),)), FALSE, "the certificate is ill-formed: start: no variable 'palce'"),
        (Certificate((Not(Is("place", "e")),)), FALSE, "the certificate is ill-formed: start: 'place' is never 'e'"),
        (Certificate((Ref("near"),)), FALSE, "the certificate is ill-formed: start: no signal 'near'"),
    ],
)
def test_wrong_certificate_is_disputed_in_words(certificate: Certificate, target: Expr, what: str) -> None:
    """The dispute names the obligation, and the rule where one breaks it."""
    finding = finding_of(RING, certificate, target)
    assert isinstance(finding, Disputed)
    assert finding.what.startswith(what)


@pytest.mark.parametrize(
    "certificate",
    [
        Certificate((NOT_C, NOT_D)),
        Certificate((neg(Ref("far")),)),
        Certificate((NOT_D, NOT_C), k=2),
        Certificate((NOT_D,), k=2, distinct=True),
    ],
)
def test_right_certificate_holds(certificate: Certificate) -> None:
    """Clauses over variables or signals, and induction over one state or two, can all prove the same."""
    assert isinstance(finding_of(RING, certificate, Is("place", "d")), Holds)


def test_looking_back_further_proves_more() -> None:
    """A place that only an unreachable place leads to is excluded by two-state induction, not by one."""
    chain = Machine(
        (Variable("n", (0, 1, 2, 3), (0,)),),
        (),
        (Rule("on", Actor.CREW, Is("n", 1), (("n", 2),)), Rule("further", Actor.CREW, Is("n", 2), (("n", 3),))),
    )
    excluded = (Not(Is("n", 3)),)
    verdicts = [type(finding_of(chain, Certificate(excluded, k), Is("n", 3))).__name__ for k in (1, 2, 3)]
    assert verdicts == ["Disputed", "Disputed", "Holds"]


def test_different_states_matter_where_a_run_may_stay() -> None:
    """Where an unreachable place can be kept for ever, induction needs the states of a run to differ."""
    idle = Machine(
        (Variable("n", (0, 1, 2), (0,)),),
        (),
        (Rule("stay", Actor.CREW, Is("n", 1), ()), Rule("on", Actor.CREW, Is("n", 1), (("n", 2),))),
    )
    excluded = (Not(Is("n", 2)),)
    assert isinstance(finding_of(idle, Certificate(excluded, 3), Is("n", 2)), Disputed)
    assert isinstance(finding_of(idle, Certificate(excluded, 2, distinct=True), Is("n", 2)), Holds)


def test_run_that_ends_early_is_not_overlooked() -> None:
    """A start that has no step at all still breaks a clause, however long the runs that k speaks of."""
    stuck = Machine((Variable("n", (0, 1), (0, 1)),), (), ())
    for k in (1, 2, 3):
        finding = finding_of(stuck, Certificate((Not(Is("n", 1)),), k), Is("n", 1))
        assert isinstance(finding, Disputed)
        assert finding.what.startswith("(start)")


@pytest.mark.parametrize("switched_to", [1, 2])
def test_clause_over_signals_is_read_anew_after_the_rule(switched_to: int) -> None:
    """A clause that speaks only through signals of signals is judged with what they are after the rule has fired."""
    machine = Machine(
        (Variable("n", (0, 1, 2), (0,)), Variable("idle", (False, True), (False,))),
        (Signal("outer", Ref("inner")), Signal("inner", disj(Is("n", 1), Is("idle", True)))),
        (Rule("switch", Actor.CREW, Is("n", 0), (("n", switched_to),)),),
    )
    finding = finding_of(machine, Certificate((neg(Ref("outer")),)), Ref("outer"))
    if switched_to == 1:
        assert isinstance(finding, Disputed)
        assert finding.what.startswith("(step) rule 'switch'")
    else:
        assert isinstance(finding, Holds)


def test_clause_over_signals_may_become_true_again() -> None:
    """A signal that the rule makes true satisfies the clause after it, whatever it was before."""
    machine = Machine(
        (Variable("n", (0, 1, 2), (0,)),),
        (Signal("outer", Ref("inner")), Signal("inner", Is("n", 1))),
        (Rule("off", Actor.CREW, Is("n", 0), (("n", 2),)), Rule("on", Actor.CREW, Is("n", 2), (("n", 1),))),
    )
    certificate = Certificate((disj(Ref("outer"), Is("n", 0), Is("n", 2)),))
    assert isinstance(finding_of(machine, certificate, FALSE), Holds)
