"""Engines broken on purpose: z3 must refuse what they would have claimed."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Any

import pytest

from interlock.kernel.claims import Certificate, Proved
from interlock.kernel.expressions import FALSE, TRUE, Is, Ref, conj, disj, neg
from interlock.kernel.machine import Actor, Machine, Rule, Signal, Variable
from interlock.prove.certificates import obligations
from interlock.prove.certificates.obligations import UnsoundCertificate, discharge
from interlock.prove.core.encoding import Encoding
from interlock.prove.core.local import Cube, LocalRules
from interlock.prove.core.solvers import FOREVER
from interlock.prove.frames import pdr as pdr_module
from interlock.prove.frames.frames import Frames
from interlock.prove.frames.pdr import pdr
from interlock.prove.invariants import mined as mined_module
from interlock.prove.invariants.candidates import Candidates
from interlock.prove.invariants.mined import mined
from tests.some import some, swept

from .engines import reachable_states, truth
from .random_machines import random_case

Break = Callable[[pytest.MonkeyPatch], None]


def drop_literals_unasked(patch: pytest.MonkeyPatch) -> None:
    """Generalisation keeps one literal that is false initially, and asks nobody."""

    def generalize(self: Frames, cube: Cube, kept: set[int], level: int) -> Cube:
        for literal in cube:
            if self._initial_state_in((literal,)) is None:
                return (literal,)
        return cube

    patch.setattr(Frames, "_generalize", generalize)


def skip_a_rule(patch: pytest.MonkeyPatch) -> None:
    """The last rule that could enter a cube is not asked."""
    whole = LocalRules.entering
    patch.setattr(LocalRules, "entering", lambda self, cube: whole(self, cube)[:-1])


def forget_an_effect(patch: pytest.MonkeyPatch) -> None:
    """The last assignment of a rule is not encoded."""
    whole = Encoding.effects

    def effects(self: Encoding, update: Iterable[tuple[str, Any]]) -> Mapping[int, bool]:
        return whole(self, list(update)[:-1])

    patch.setattr(Encoding, "effects", effects)


def read_or_as_and(patch: pytest.MonkeyPatch) -> None:
    """Disjunctions are encoded as conjunctions."""
    patch.setattr(Encoding, "any_of", Encoding.all_of)


def believe_every_candidate(patch: pytest.MonkeyPatch) -> None:
    """Mining asks no rule and takes what walks of no length did not see."""
    patch.setattr(mined_module, "_ask_rules", lambda *_: [])
    patch.setattr(Candidates, "watch", lambda *_: None)


@pytest.mark.parametrize(
    ("engine", "mutant"),
    [
        (pdr, drop_literals_unasked),
        (pdr, skip_a_rule),
        (pdr, forget_an_effect),
        (pdr, read_or_as_and),
        (mined, forget_an_effect),
        (mined, believe_every_candidate),
    ],
    ids=lambda value: value.__name__,
)
def test_a_broken_engine_is_caught(engine: Any, mutant: Break, monkeypatch: pytest.MonkeyPatch) -> None:
    """A broken engine never gets a wrong proof past z3, and z3 is what stops it (minimising would, and is left out)."""

    def keep_all(rules: LocalRules, cubes: Sequence[Cube], *_: object) -> list[Cube]:
        return list(cubes)

    monkeypatch.setattr(pdr_module, "minimise", keep_all)
    mutant(monkeypatch)
    refused = 0
    for seed in range(40):
        machine, questions = random_case(seed)
        try:
            claims = engine(machine, questions)
        except UnsoundCertificate:
            refused += 1
            continue
        except AssertionError:
            # The engine noticed by itself that it had blocked an initial state.
            continue
        right = truth(machine, questions, reachable_states(machine))
        for claim, depth in zip(claims, right, strict=True):
            assert not isinstance(claim, Proved) or depth is None, (seed, claim)
    assert refused >= 1


def _small() -> Machine:
    return Machine(
        (
            Variable("a", (False, True), (False,)),
            Variable("n", (0, 1, 2), (0,)),
            Variable("b", (False, True), (False,)),
        ),
        (Signal("up", disj(Is("n", 1), Is("n", 2))),),
        (
            Rule("one", Actor.CREW, Is("n", 0), (("n", 1),)),
            Rule("two", Actor.CREW, conj(Ref("up"), Is("a", True)), (("n", 2), ("b", True))),
            Rule("never", Actor.CREW, conj(Ref("up"), Is("b", True)), (("a", True),)),
        ),
        start=neg(Ref("up")),
    )


SOUND = (neg(Is("n", 2)), Is("a", False), Is("b", False))


@pytest.fixture(params=[1, 2, 128])
def _knowing(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> None:
    """z3 is first told of so many variables: too few for most rules, for some, for none."""
    monkeypatch.setattr(obligations, "NEAR", request.param)


@pytest.mark.usefixtures("_knowing")
def test_z3_accepts_a_sound_certificate() -> None:
    """What is inductive and safe is accepted, with or without signals in it, and more than once step deep.

    Where what lies near is not enough (nothing says of `b` alone that it is never so) the whole is asked.
    """
    far = Machine(
        tuple(Variable(name, (False, True), (False,)) for name in "abc"),
        (),
        (
            Rule("one", Actor.CREW, Is("b", True), (("a", True),)),
            Rule("two", Actor.CREW, Is("c", True), (("b", True),)),
        ),
    )
    clauses = (Is("a", False), disj(Is("b", False), Is("c", True)), Is("c", False))
    discharge(far, Certificate(clauses), [Is("a", True), Is("b", True)], FOREVER)
    with pytest.raises(UnsoundCertificate, match="'one' breaks"):
        discharge(far, Certificate(clauses[:1]), [Is("a", True)], FOREVER)
    machine = _small()
    discharge(machine, Certificate(SOUND), [Is("n", 2), Is("b", True)], FOREVER)
    discharge(machine, Certificate((*SOUND[1:], disj(neg(Ref("up")), Is("n", 1)))), [Is("n", 2)], FOREVER)
    discharge(machine, Certificate(SOUND, k=3), [Is("n", 2)], FOREVER)
    discharge(machine, Certificate(SOUND, k=2, distinct=True), [Is("n", 2)], FOREVER)


@pytest.mark.parametrize("only", [False, True])
def test_z3_knows_what_can_be_but_one_way(only: bool) -> None:
    """What has one value is never otherwise, whichever it is, without a clause that says so."""
    small = _small()
    machine = Machine(
        (Variable("fixed", (only,), (only,)), *small.variables), small.signals, small.rules, (), small.start
    )
    discharge(machine, Certificate(()), [neg(Is("fixed", only))], FOREVER)
    with pytest.raises(UnsoundCertificate, match="target"):
        discharge(machine, Certificate(()), [Is("fixed", only)], FOREVER)


@pytest.mark.parametrize(
    ("clauses", "k", "distinct", "target", "what"),
    [
        (SOUND[:1], 1, False, Is("n", 2), "'two' breaks"),
        (SOUND[:2], 1, False, Is("n", 2), "'never' breaks"),
        ((*SOUND, neg(Ref("up"))), 1, False, Is("n", 2), "'one' breaks"),
        ((*SOUND, Is("n", 1)), 1, False, Is("n", 2), "fails 0 steps"),
        ((*SOUND, neg(Is("n", 1))), 2, False, Is("n", 2), "fails 1 steps"),
        ((*SOUND, neg(Is("n", 1))), 2, True, Is("n", 2), "fails 1 steps"),
        (SOUND, 1, False, Is("n", 1), "target"),
        (SOUND, 2, True, Ref("up"), "target"),
        ((FALSE,), 1, False, Is("n", 2), "fails 0 steps"),
        ((TRUE,), 1, False, Is("n", 2), "target"),
        ((), 1, False, Is("n", 2), "target"),
    ],
)
@pytest.mark.usefixtures("_knowing")
def test_z3_refuses_an_unsound_certificate(
    clauses: tuple[Any, ...], k: int, distinct: bool, target: Any, what: str
) -> None:
    """A certificate that fails at the start, at a step or at the target is refused, and the message says where."""
    with pytest.raises(UnsoundCertificate, match=what):
        discharge(_small(), Certificate(clauses, k, distinct), [target], FOREVER)


@pytest.mark.parametrize("seed", swept(range(0, 60), 5))
def test_a_certificate_with_a_clause_less_is_refused_or_still_right(seed: int) -> None:
    """Whatever clause is taken from a certificate, z3 accepts the rest only if no reachable state is in the target."""
    machine, questions = random_case(seed)
    depths = reachable_states(machine)
    right = truth(machine, questions, depths)
    for question, claim in some(zip(questions, pdr(machine, questions), strict=True)):
        if not isinstance(claim, Proved) or claim.certificate is None:
            continue
        clauses = claim.certificate.clauses
        for at in range(min(4, len(clauses))):
            less = Certificate(clauses[:at] + clauses[at + 1 :])
            try:
                discharge(machine, less, [question.target], FOREVER)
            except UnsoundCertificate:
                continue
            assert right[questions.index(question)] is None
        # Something reachable in place of the target is never accepted.
        reached = [q.target for q, depth in zip(questions, right, strict=True) if depth is not None]
        if reached:
            with pytest.raises(UnsoundCertificate):
                discharge(machine, claim.certificate, reached, FOREVER)
