"""Does every requirement hold, in every reachable state, whatever the crew does?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from interlock.confirm.confirm import confirm
from interlock.hold.compiler import CompiledHold
from interlock.hold.requirements import Instance
from interlock.hold.tell import Story, tell
from interlock.kernel.claims import Claim, Disputed, Fails, Finding, Holds, Limits, Report, Undecided, silent
from interlock.kernel.machine import Machine, Question, RequirementKind, occasion_of, question_of, with_monitors
from interlock.prove.engine import Engine


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

    `finding` answers the requirement's question (for `can`, a reached target is what is wanted).  `occasion` answers
    whether its situation ever arises: Fails (it does, with a run), Holds (never), Undecided; None where it
    speaks of every state.  `story` is the run against the requirement, or for `can` the run that shows it.
    """

    instance: Instance
    status: Status
    finding: Finding
    occasion: Finding | None
    story: Story | None


@dataclass(frozen=True, slots=True)
class Verification:
    """All answers of one hold, in the order of its requirements; `machine` is the one that was asked (monitors in)."""

    compiled: CompiledHold
    machine: Machine
    questions: tuple[Question, ...]
    findings: tuple[Finding, ...]
    answers: tuple[Answer, ...]

    def count(self, status: Status) -> int:
        """How many requirements came out so."""
        return sum(answer.status is status for answer in self.answers)


def verify(
    compiled: CompiledHold, engine: Engine, limits: Limits, report: Report = silent, chosen: Sequence[str] | None = None
) -> Verification:
    """Asks the engine about every requirement (or the `chosen` ids), confirms each claim, tells each run.

    The occasions of requirements are asked together with them; requirements that share an occasion share its answer.
    """
    machine = with_monitors(compiled.machine)
    instances = [i for i in compiled.instances if chosen is None or _is_chosen(i, chosen)]
    asked: dict[object, Question] = {}
    main: list[Question] = []
    occasions: list[Question | None] = []
    for instance in instances:
        question = question_of(machine, instance.requirement)
        main.append(asked.setdefault(("main", question.target), question))
        occasion = occasion_of(machine, instance.requirement)
        occasions.append(None if occasion is None else asked.setdefault(("occasion", occasion.target), occasion))
    questions = tuple(asked.values())
    claims: tuple[Claim, ...] = engine(machine, questions, limits, report)
    findings = confirm(machine, questions, claims, limits.seconds, report)
    found = {question.id: finding for question, finding in zip(questions, findings, strict=True)}
    answers = []
    for instance, question, occasion in zip(instances, main, occasions, strict=True):
        finding = found[question.id]
        arises = None if occasion is None else found[occasion.id]
        story = None
        if isinstance(finding, Fails):
            story = tell(machine, compiled.glossary, finding.claim.trace, question.target)
        answers.append(Answer(instance, _status(instance, finding, arises), finding, arises, story))
    return Verification(compiled, machine, questions, findings, tuple(answers))


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
