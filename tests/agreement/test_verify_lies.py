"""Lying engines, end to end: what `verify` is told falsely is disputed, in the answer itself, never passed on."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

import pytest

from interlock.confirm.recovery import RecoveryFinding
from interlock.hold.compile.compiler import CompiledHold
from interlock.kernel.claims import (
    Certificate,
    Claim,
    Disputed,
    Fails,
    Holds,
    Limits,
    ProgressCallback,
    Proved,
    Refuted,
    Trace,
    Undecided,
    Unknown,
    silent,
)
from interlock.kernel.evaluator import initial_states
from interlock.kernel.expressions import TRUE, Is, Not, conj
from interlock.kernel.machine import Machine, Question
from interlock.kernel.recovery import (
    DeadEnd,
    HasDeadEnd,
    Recoverable,
    Recovers,
    Recovery,
    RecoveryClaim,
    RecoveryQuestion,
)
from interlock.prove.engine import NO_LIMITS
from interlock.prove.recovery.recovery import recover
from interlock.prove.search.explicit import explicit
from interlock.study.verify import Answer, Status, Verification, leave_undecided, verify
from tests.golden.small_hold import REQUIREMENTS, TEXT, small_hold

WAYS = """\
  - id: opened-again
    text: "{d} can always be opened again"
    kind: can always
    for: {d: doors}
    condition: d is open
    hazard: hold of no use
    severity: "4"
    scheme: MIL-STD-882E
    source: common practice, no source
  - id: open-for-good
    text: "{d} can always be locked open"
    kind: can always
    for: {d: doors}
    condition: d is locked and d is open
    hazard: none, it is to fail
    severity: "4"
    scheme: MIL-STD-882E
    source: common practice, no source
"""
STATES = ("latched-when-locked[D1]", "secured-behind-door[1C]", "never-locked-while-open[D1]", "bay-filled[1C]")
BACK, STUCK = "opened-again[D1]", "open-for-good[D1]"

Lie = Callable[[Machine, Claim], Claim]


@pytest.fixture(scope="module")
def compiled() -> CompiledHold:
    return small_hold(TEXT, REQUIREMENTS + WAYS)


def lying(lie: Lie, about: Callable[[str], bool] = lambda _: True) -> Callable[..., tuple[Claim, ...]]:
    """The explicit engine, which for some questions says something else in the place of its claim."""

    def engine(
        machine: Machine, questions: Sequence[Question], limits: Limits = NO_LIMITS, report: ProgressCallback = silent
    ) -> tuple[Claim, ...]:
        claims = explicit(machine, questions, limits, report)
        return tuple(lie(machine, claim) if about(claim.question) else claim for claim in claims)

    return engine


def by_id(verification: Verification) -> dict[str, Answer]:
    return {answer.instance.requirement.id: answer for answer in verification.answers}


def test_the_truth_first(compiled: CompiledHold) -> None:
    """Asked honestly each requirement comes out as it was written to, each in its place and by its own evidence."""
    verification = verify(compiled, explicit, NO_LIMITS)
    assert [(answer.instance.requirement.id, answer.status) for answer in verification.answers] == [
        (STATES[0], Status.HOLDS),
        (STATES[1], Status.FAILS),
        (STATES[2], Status.VACUOUS),
        (STATES[3], Status.HOLDS),
        (BACK, Status.HOLDS),
        (STUCK, Status.FAILS),
    ]
    found = by_id(verification)
    kinds = [Holds, Fails, Holds, Fails, Recovers, HasDeadEnd]
    assert [type(answer.finding) for answer in verification.answers] == kinds
    assert [type(found[id].occasion) for id in STATES] == [Fails, Fails, Holds, type(None)]
    assert [answer.story is not None for answer in verification.answers] == [False, True, False, True, False, True]
    assert {status: verification.count(status) for status in Status} == {
        Status.HOLDS: 3,
        Status.VACUOUS: 1,
        Status.FAILS: 2,
        Status.UNDECIDED: 0,
        Status.DISPUTED: 0,
    }
    assert [question.id for question, _ in verification.recoveries] == [BACK, STUCK]


def too_few(machine: Machine, claim: Claim) -> Claim:
    """All is well, and one state fewer was counted than there are."""
    return Proved(claim.question, "liar", None, claim.states - 1 if isinstance(claim, Proved) and claim.states else 3)


def for_no_reason(machine: Machine, claim: Claim) -> Claim:
    """All is well, by a certificate that says nothing."""
    return Proved(claim.question, "liar", Certificate(()))


def of_what_it_wants(machine: Machine, claim: Claim) -> Claim:
    """All is well, by a certificate that is not even so at the start."""
    (state,) = list(initial_states(machine))[:1]
    start = conj(*(Is(v.name, value) for v, value in zip(machine.variables, state, strict=True)))
    return Proved(claim.question, "liar", Certificate((Not(start),)))


def where_it_starts(machine: Machine, claim: Claim) -> Claim:
    """The first state is said to be the one."""
    (state,) = list(initial_states(machine))[:1]
    return Refuted(claim.question, "liar", Trace((), (state,)), shortest=True)


def by_leaps(machine: Machine, claim: Claim) -> Claim:
    """The run is true to its end but leaves out how it got there."""
    if not isinstance(claim, Refuted) or claim.trace.depth < 2:
        return where_it_starts(machine, claim)
    trace = claim.trace
    return replace(claim, trace=Trace(trace.rules[-1:], (trace.states[0], trace.states[-1])))


@pytest.mark.parametrize("lie", [too_few, for_no_reason, of_what_it_wants, where_it_starts, by_leaps])
def test_a_lie_about_everything_is_disputed_everywhere(compiled: CompiledHold, lie: Lie) -> None:
    """No requirement comes out as holding, failing or vacuous on the word of an engine that lies about it."""
    verification = verify(compiled, lying(lie), NO_LIMITS, chosen=STATES)
    for id, answer in by_id(verification).items():
        assert answer.status is Status.DISPUTED, id
        assert isinstance(answer.finding, Disputed) and answer.finding.claim.question == answer.finding.question
        assert answer.story is None
    assert verification.count(Status.DISPUTED) == len(STATES)


def test_a_lie_about_one_is_no_matter_to_the_others(compiled: CompiledHold) -> None:
    """Only what was lied about is disputed; all else comes out as ever."""
    honest = by_id(verify(compiled, explicit, NO_LIMITS))
    for liar in STATES:
        mixed = by_id(verify(compiled, lying(for_no_reason, liar.__eq__), NO_LIMITS))
        assert {id for id in mixed if mixed[id].status is not honest[id].status} == {liar}
        assert mixed[liar].status is Status.DISPUTED


@pytest.mark.parametrize("id", STATES[:3])
def test_a_lie_about_the_occasion_is_a_dispute_of_the_requirement(compiled: CompiledHold, id: str) -> None:
    """That a situation never arises, or does, decides between a pass and a vacuous one: its evidence counts as well."""
    said = by_id(verify(compiled, lying(for_no_reason, f"{id}?".__eq__), NO_LIMITS))[id]
    assert said.status is Status.DISPUTED
    assert isinstance(said.occasion, Disputed)
    assert isinstance(said.finding, Holds | Fails)


def test_not_known_is_no_pass(compiled: CompiledHold) -> None:
    """What an engine leaves open stays open; an open occasion turns no pass into a vacuous one."""

    def open_(machine: Machine, claim: Claim) -> Claim:
        return Unknown(claim.question, "tired", "gave up", 4)

    verification = verify(compiled, lying(open_), NO_LIMITS, chosen=STATES)
    for answer in verification.answers:
        assert answer.status is Status.UNDECIDED
        assert answer.finding == Undecided(answer.instance.requirement.id, "gave up", 4)
    asked = by_id(verify(compiled, lying(open_, lambda id: id.endswith("?")), NO_LIMITS))
    assert [asked[id].status for id in STATES] == [Status.HOLDS, Status.FAILS, Status.HOLDS, Status.HOLDS]
    assert all(isinstance(asked[id].occasion, Undecided) for id in STATES[:3])


def swapped(machine: Machine, claims: Sequence[RecoveryClaim]) -> list[RecoveryClaim]:
    """Each claim is made of the other question."""
    first, second = claims
    return [replace(second, question=first.question), replace(first, question=second.question)]


def for_no_way(machine: Machine, claims: Sequence[RecoveryClaim]) -> list[RecoveryClaim]:
    """There are ways back, without a single stage."""
    return [Recoverable(c.question, "liar", Recovery(Certificate((TRUE,)), ())) for c in claims]


def stuck_at_once(machine: Machine, claims: Sequence[RecoveryClaim]) -> list[RecoveryClaim]:
    """The start is said to be a dead end."""
    (state,) = list(initial_states(machine))[:1]
    return [DeadEnd(c.question, "liar", Trace((), (state,)), Certificate((TRUE,))) for c in claims]


@pytest.mark.parametrize("lie", [swapped, for_no_way, stuck_at_once])
def test_a_lie_about_ways_back_is_disputed(
    compiled: CompiledHold, lie: Callable[[Machine, Sequence[RecoveryClaim]], list[RecoveryClaim]]
) -> None:
    """What can always be done is no more taken on trust than the rest."""

    def recoverer(
        machine: Machine, questions: Sequence[RecoveryQuestion], limits: Limits, report: ProgressCallback
    ) -> tuple[RecoveryClaim, ...]:
        return tuple(lie(machine, recover(machine, questions, limits, report)))

    verification = verify(compiled, explicit, NO_LIMITS, chosen=(BACK, STUCK), recoverer=recoverer)
    assert [answer.status for answer in verification.answers] == [Status.DISPUTED] * 2
    findings: list[RecoveryFinding] = [finding for _, finding in verification.recoveries]
    assert [answer.finding for answer in verification.answers] == findings
    assert all(answer.story is None for answer in verification.answers)


def test_nothing_tried_leaves_everything_undecided(compiled: CompiledHold) -> None:
    """Each requirement, those about ways back too, is undecided for the reason given, and says so."""
    verification = leave_undecided(compiled, "the hold is too large")
    assert [answer.instance.requirement.id for answer in verification.answers] == [*STATES, BACK, STUCK]
    for answer in verification.answers:
        assert answer.status is Status.UNDECIDED
        assert answer.finding == Undecided(answer.instance.requirement.id, "the hold is too large", -1)
    assert verification.count(Status.UNDECIDED) == 6
    few = leave_undecided(compiled, "later", (BACK, "bay-filled"))
    assert [answer.instance.requirement.id for answer in few.answers] == ["bay-filled[1C]", BACK]
