"""Does every requirement hold, in every reachable state, whatever the crew does?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from interlock.confirm.recovery import RecoveryFinding
from interlock.hold.compile.compiler import CompiledHold
from interlock.hold.compile.requirements import Instance
from interlock.hold.tell import Story, tell
from interlock.kernel.claims import (
    Disputed,
    Fails,
    Finding,
    Holds,
    Limits,
    Report,
    Undecided,
    Unknown,
    silent,
)
from interlock.kernel.expressions import neg
from interlock.kernel.machine import Machine, Question, RequirementKind, occasion_of, question_of, with_monitors
from interlock.kernel.recovery import Recovers, RecoveryQuestion, Traps, recovery_question_of
from interlock.prove.engine import NO_LIMITS, Engine
from interlock.prove.recovery.recovery import recover
from interlock.study.sessions import Recoverer, Session


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
    How the limits are kept, and what becomes of it all where they are met, `Session` says.
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
    ways = [recovery_question_of(instance.requirement) for instance in by_ways]
    found, ways_found = Session(machine, limits, report).settle(questions, ways, engine, recoverer)
    answers: dict[str, Answer] = {}
    for instance, question, occasion in zip(by_states, main, occasions, strict=True):
        finding = found[question.id]
        arises = None if occasion is None else found[occasion.id]
        story = None
        if isinstance(finding, Fails):
            story = tell(machine, compiled.glossary, finding.claim.trace, question.target)
        answers[instance.requirement.id] = Answer(instance, _status(instance, finding, arises), finding, arises, story)
    recoveries = tuple((back, ways_found[back.id]) for back in ways)
    for instance, (back, way) in zip(by_ways, recoveries, strict=True):
        story = tell(machine, compiled.glossary, way.claim.trace, neg(back.goal)) if isinstance(way, Traps) else None
        answers[instance.requirement.id] = Answer(instance, _status_of_way(way), way, None, story)
    ordered = tuple(answers[instance.requirement.id] for instance in instances)
    findings = tuple(found[question.id] for question in questions)
    return Verification(compiled, machine, questions, findings, ordered, recoveries)


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
