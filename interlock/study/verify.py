"""Does every requirement hold, in every reachable state, whatever the crew does?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from time import monotonic
from typing import Protocol, TypeVar

from interlock.confirm.confirm import confirm
from interlock.confirm.recovery import RecoveryFinding, confirm_recovery
from interlock.hold.compile.compiler import CompiledHold
from interlock.hold.compile.requirements import Instance
from interlock.hold.tell import Story, tell
from interlock.kernel.claims import (
    Claim,
    Disputed,
    Fails,
    Finding,
    Holds,
    Limits,
    Proved,
    Report,
    Undecided,
    Unknown,
    silent,
)
from interlock.kernel.expressions import neg
from interlock.kernel.machine import Machine, Question, RequirementKind, occasion_of, question_of, with_monitors
from interlock.kernel.recovery import Recovers, RecoveryClaim, RecoveryQuestion, Traps, recovery_question_of
from interlock.prove.engine import INTERRUPTED, NO_LIMITS, Engine, time_reason
from interlock.prove.recovery.recovery import recover


class Status(StrEnum):
    """What was found of one requirement."""

    HOLDS = "holds"
    VACUOUS = "holds vacuously"
    FAILS = "fails"
    UNDECIDED = "undecided"
    DISPUTED = "disputed"


@dataclass(frozen=True, slots=True)
class Answer:
    """What was found of one requirement, and on what evidence.

    `finding` answers the requirement's question (for `can`, a reached target is what is wanted; for `can always`, that
    there are ways back).  `occasion` answers
    whether its situation ever arises: Fails (it does, with a run), Holds (never), Undecided; None where it
    speaks of every state.  `story` is the run against the requirement, or for `can` the run that shows it; for
    `can always` the run into the dead end, with why the goal is not so there.
    """

    instance: Instance
    status: Status
    finding: Finding | RecoveryFinding
    occasion: Finding | None
    story: Story | None


@dataclass(frozen=True, slots=True)
class Verification:
    """All answers of one hold, in the order of its requirements; `machine` is the one that was asked (monitors in).

    `recoveries` are the questions of the kind `can always`, each with its finding.
    """

    compiled: CompiledHold
    machine: Machine
    questions: tuple[Question, ...]
    findings: tuple[Finding, ...]
    answers: tuple[Answer, ...]
    recoveries: tuple[tuple[RecoveryQuestion, RecoveryFinding], ...] = ()

    def count(self, status: Status) -> int:
        """How many requirements came out so."""
        return sum(answer.status is status for answer in self.answers)


class Recoverer(Protocol):
    """What decides whether something can always be done; `recover` is one."""

    def __call__(
        self, machine: Machine, questions: Sequence[RecoveryQuestion], limits: Limits, report: Report
    ) -> tuple[RecoveryClaim, ...]: ...


def leave_undecided(compiled: CompiledHold, reason: str, chosen: Sequence[str] | None = None) -> Verification:
    """All requirements undecided for this reason, with nothing tried."""

    def nothing(
        machine: Machine,
        questions: Sequence[Question | RecoveryQuestion],
        limits: Limits = NO_LIMITS,
        report: Report = silent,
    ) -> tuple[Unknown, ...]:
        return tuple(Unknown(question.id, "none", reason) for question in questions)

    return verify(compiled, nothing, NO_LIMITS, silent, chosen, nothing)


def verify(
    compiled: CompiledHold,
    engine: Engine,
    limits: Limits,
    report: Report = silent,
    chosen: Sequence[str] | None = None,
    recoverer: Recoverer = recover,
) -> Verification:
    """Asks the engine about every requirement (or the `chosen` ids), confirms each claim, tells each run.

    The occasions of requirements are asked together with them; requirements that share an occasion share its answer.
    What `can always` be done is no question for the engine: it goes to `recover`, whichever engine is asked.
    `limits.seconds` is for all of it: each stage is given a part of what is left, so that what an engine claims in
    time can be confirmed in time.
    Where `limits.stop` asks for an end, what was claimed by then is still confirmed.  KeyboardInterrupt ends the stage
    that it falls into, no more: findings made stay, what is then neither claimed nor confirmed is Undecided.
    """
    machine = with_monitors(compiled.machine)
    instances = [i for i in compiled.instances if chosen is None or _is_chosen(i, chosen)]
    asked: dict[object, Question] = {}
    main: list[Question] = []
    occasions: list[Question | None] = []
    by_states = [i for i in instances if i.requirement.kind is not RequirementKind.CAN_ALWAYS]
    for instance in by_states:
        question = question_of(machine, instance.requirement)
        main.append(asked.setdefault(("main", question.target), question))
        occasion = occasion_of(machine, instance.requirement)
        occasions.append(None if occasion is None else asked.setdefault(("occasion", occasion.target), occasion))
    questions = tuple(asked.values())
    by_ways = [i for i in instances if i.requirement.kind is RequirementKind.CAN_ALWAYS]
    time = _Time(limits)
    claims = _claims(machine, questions, engine, time.share(0.5 if by_ways else 0.7), report)
    claims = tuple(_by_all(claim, limits) for claim in claims)
    findings = _findings(machine, questions, claims, time.share(0.5 if by_ways else 1), report)
    found = {question.id: finding for question, finding in zip(questions, findings, strict=True)}
    answers: dict[str, Answer] = {}
    for instance, question, occasion in zip(by_states, main, occasions, strict=True):
        finding = found[question.id]
        arises = None if occasion is None else found[occasion.id]
        story = None
        if isinstance(finding, Fails):
            story = tell(machine, compiled.glossary, finding.claim.trace, question.target)
        answers[instance.requirement.id] = Answer(instance, _status(instance, finding, arises), finding, arises, story)
    recoveries = _recoveries(machine, by_ways, recoverer, time, report)
    for instance, (back, way) in zip(by_ways, recoveries, strict=True):
        story = tell(machine, compiled.glossary, way.claim.trace, neg(back.goal)) if isinstance(way, Traps) else None
        answers[instance.requirement.id] = Answer(instance, _status_of_way(way), way, None, story)
    ordered = tuple(answers[instance.requirement.id] for instance in instances)
    return Verification(compiled, machine, questions, findings, ordered, recoveries)


def _claims(
    machine: Machine, questions: Sequence[Question], engine: Engine, limits: Limits, report: Report
) -> tuple[Claim, ...]:
    try:
        return engine(machine, questions, limits, report)
    except KeyboardInterrupt:
        # engines catch it and give what they have: it came as one began or ended
        return tuple(Unknown(question.id, "none", INTERRUPTED) for question in questions)


Told = TypeVar("Told", Claim, RecoveryClaim)


def _by_all(claim: Told, limits: Limits) -> Told:
    """The claim; where time ran out it names the time that was given, not the stage's part of it."""
    if isinstance(claim, Unknown) and claim.reason.startswith("out of time") and limits.seconds is not None:
        return replace(claim, reason=time_reason(limits))
    return claim


def _findings(
    machine: Machine, questions: Sequence[Question], claims: Sequence[Claim], limits: Limits, report: Report
) -> tuple[Finding, ...]:
    """One finding per question; each body of evidence is confirmed by itself, what needs no solver first."""
    bodies: dict[int, list[int]] = {}
    for at, claim in enumerate(claims):
        bodies.setdefault(id(claim.certificate) if isinstance(claim, Proved) else 0, []).append(at)
    time = _Time(limits)
    found: dict[int, Finding] = {}
    stopped = False
    for body in sorted(bodies, key=bool):
        places = bodies[body]
        asked, made = [questions[at] for at in places], [claims[at] for at in places]
        confirmed: Sequence[Finding] = ()
        if body and stopped:
            confirmed = [_unchecked(claim) for claim in made]
        while not confirmed:
            try:
                confirmed = confirm(machine, asked, made, time.share(1).seconds, report)
            except KeyboardInterrupt:
                stopped = True
                # replaying runs takes no time that could matter: it is simply done again
                confirmed = [_unchecked(claim) for claim in made] if body else ()
        found.update(zip(places, confirmed, strict=True))
    return tuple(found[at] for at in range(len(questions)))


def _unchecked(claim: Claim | RecoveryClaim) -> Undecided:
    reason = claim.reason if isinstance(claim, Unknown) else f"claimed by engine {claim.engine!r}, not re-checked: "
    return Undecided(claim.question, reason if isinstance(claim, Unknown) else reason + INTERRUPTED)


STOPPED_SECONDS = 15.0
"""How long claims are confirmed that were made before an end was asked for."""


class _Time:
    """The seconds of the limits, from now on, for several stages."""

    def __init__(self, limits: Limits) -> None:
        self.limits = limits
        self._end = None if limits.seconds is None else monotonic() + limits.seconds

    def share(self, part: float) -> Limits:
        """The limits with this part of the seconds that are left; few of them, once an end was asked for."""
        seconds = None if self._end is None else part * max(0.0, self._end - monotonic())
        if self.limits.stop is not None and self.limits.stop():
            seconds = STOPPED_SECONDS if seconds is None else min(seconds, STOPPED_SECONDS)
        return replace(self.limits, seconds=seconds)


def _recoveries(
    machine: Machine, instances: Sequence[Instance], recoverer: Recoverer, time: _Time, report: Report
) -> tuple[tuple[RecoveryQuestion, RecoveryFinding], ...]:
    if not instances:
        return ()
    questions = [recovery_question_of(instance.requirement) for instance in instances]
    claims: Sequence[RecoveryClaim]
    try:
        claims = recoverer(machine, questions, time.share(0.7), report)
    except KeyboardInterrupt:
        claims = [Unknown(question.id, "none", INTERRUPTED) for question in questions]
    claims = [_by_all(claim, time.limits) for claim in claims]
    findings: list[RecoveryFinding] = []
    stopped = False
    for question, claim in zip(questions, claims, strict=True):
        try:
            seconds = time.share(1).seconds
            made = _unchecked(claim) if stopped else confirm_recovery(machine, [question], [claim], seconds, report)[0]
        except KeyboardInterrupt:
            stopped, made = True, _unchecked(claim)
        findings.append(made)
    return tuple(zip(questions, findings, strict=True))


def _status_of_way(finding: RecoveryFinding) -> Status:
    if isinstance(finding, Disputed):
        return Status.DISPUTED
    if isinstance(finding, Undecided):
        return Status.UNDECIDED
    return Status.HOLDS if isinstance(finding, Recovers) else Status.FAILS


def _is_chosen(instance: Instance, chosen: Sequence[str]) -> bool:
    return instance.requirement.id in chosen or instance.origin.id in chosen


def _status(instance: Instance, finding: Finding, occasion: Finding | None) -> Status:
    wanted = instance.requirement.kind is RequirementKind.CAN
    if isinstance(finding, Disputed) or isinstance(occasion, Disputed):
        return Status.DISPUTED
    if isinstance(finding, Undecided):
        return Status.UNDECIDED
    if isinstance(finding, Fails):
        return Status.HOLDS if wanted else Status.FAILS
    if wanted:
        return Status.FAILS
    return Status.VACUOUS if isinstance(occasion, Holds) else Status.HOLDS
