"""Does every requirement hold, in every reachable state, whatever the crew does?"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from enum import StrEnum
from functools import partial

from interlock.confirm.recovery import RecoveryFinding
from interlock.hold.compile.compiler import CompiledHold
from interlock.hold.compile.requirements import Instance
from interlock.hold.hands import hands_of
from interlock.hold.tell import Story, tell
from interlock.kernel.claims import (
    Disputed,
    Fails,
    Finding,
    Holds,
    Limits,
    ProgressCallback,
    Undecided,
    Unknown,
    silent,
)
from interlock.kernel.expressions import Expr, neg
from interlock.kernel.machine import Machine, Question, RequirementKind, occasion_of, question_of, with_monitors
from interlock.kernel.recovery import (
    DeadEnd,
    HasDeadEnd,
    Recoverable,
    Recovers,
    RecoveryClaim,
    RecoveryQuestion,
    recovery_question_of,
)
from interlock.prove.decide import decide
from interlock.prove.engine import NO_LIMITS, Engine
from interlock.prove.following import Handling, follow
from interlock.prove.invariants.lemmas import Lemmas
from interlock.prove.recovery.recovery import recover
from interlock.study.begun_early import BegunEarly
from interlock.study.kept_claims import KeptClaims, claims_key
from interlock.study.pace import Pace
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

    `recoveries` are the questions of the kind `can always`, each with its finding.  `seconds` says, by requirement,
    how long after the beginning it was claimed what comes of it; it is not part of the result.
    """

    compiled: CompiledHold
    machine: Machine
    questions: tuple[Question, ...]
    findings: tuple[Finding, ...]
    answers: tuple[Answer, ...]
    recoveries: tuple[tuple[RecoveryQuestion, RecoveryFinding], ...] = ()
    seconds: Mapping[str, float] = field(default_factory=dict, compare=False)

    def count(self, status: Status) -> int:
        """How many requirements came out so."""
        return sum(answer.status is status for answer in self.answers)


def leave_undecided(compiled: CompiledHold, reason: str, chosen: Sequence[str] | None = None) -> Verification:
    """All requirements undecided for this reason, with nothing tried."""

    def nothing(
        machine: Machine,
        questions: Sequence[Question | RecoveryQuestion],
        limits: Limits = NO_LIMITS,
        report: ProgressCallback = silent,
    ) -> tuple[Unknown, ...]:
        return tuple(Unknown(question.id, "none", reason) for question in questions)

    return verify(compiled, nothing, NO_LIMITS, silent, chosen, nothing)


def verify(
    compiled: CompiledHold,
    engine: Engine,
    limits: Limits,
    report: ProgressCallback = silent,
    chosen: Sequence[str] | None = None,
    recoverer: Recoverer | None = None,
    lemmas: Lemmas | None = None,
    kept: KeptClaims | None = None,
    smallest: bool = True,
) -> Verification:
    """Asks the engine about every requirement (or the `chosen` ids), confirms each claim, tells each run.

    The occasions of requirements are asked together with them; requirements that share an occasion share its answer.
    What `can always` be done is no question for the engine: it goes to `recover`, whichever engine is asked, or to the
    `recoverer`.  What lemmas `decide` finds, `recover` begins with.  They may be given of an earlier call, as advice,
    and are there afterwards for a later one.
    Runs against requirements are made such that people can follow them (`prove.following`).
    How the limits are kept, and what becomes of it all where they are met, `Session` says.
    Where claims are `kept` nobody else is asked, and they are confirmed as any others are.
    Who tells of verdicts alone, and not of what they rest on, need not ask for the `smallest` certificates.
    """
    asked = ask(compiled, chosen)
    pace = Pace(report, len(asked.questions) + len(asked.ways))
    session = Session(asked.machine, limits, pace.report)
    lemmas = lemmas or Lemmas()
    hands = hands_of(compiled)
    first = partial(decide, found=lemmas, smallest=smallest) if engine is decide else engine
    # of kept claims the runs were made so when they were found
    engine = kept.engine if kept else follow(first, Handling(hands.held, hands.enough), again=engine)
    recoverer = kept.recoverer if kept else recoverer or partial(_recover, asked.questions, lemmas, smallest)
    with BegunEarly(recoverer, asked.machine, () if kept else asked.ways, limits, lemmas) as begun:
        found, ways_found = session.claim_and_confirm(
            asked.questions, asked.ways, engine, begun, lambda some: pace.tell(_results(asked, some))
        )
    answers = tuple(_tell(asked, instance, found, ways_found) for instance in asked.instances)
    findings = tuple(found[question.id] for question in asked.questions)
    recoveries = tuple((way, ways_found[way.id]) for way in asked.ways)
    seconds = {id: pace.seconds[one.id] for id, one in asked.main.items() if one.id in pace.seconds}
    return Verification(compiled, asked.machine, asked.questions, findings, answers, recoveries, seconds)


def claims_key_of(compiled: CompiledHold, chosen: Sequence[str] | None = None) -> str:
    """The digest by which claims about what `verify` would ask are known (see `kept_claims`)."""
    asked = ask(compiled, chosen)
    return claims_key(asked.machine, asked.questions, asked.ways)


def _results(asked: Asked, found: Mapping[str, Finding]) -> list[str]:
    """What came of each requirement text, as far as its questions are answered: `some-id: 3 hold, 1 fails`."""
    statuses: dict[str, Counter[Status]] = {}
    for instance in asked.instances:
        question = asked.main[instance.requirement.id]
        if isinstance(question, Question):
            occasion = asked.occasions.get(instance.requirement.id)
            status = _status(instance, found[question.id], None if occasion is None else found[occasion.id])
            statuses.setdefault(instance.origin.id, Counter())[status] += 1
    return [
        f"{id}: " + ", ".join(f"{some[status]} {status.value}" for status in Status if some[status])
        for id, some in statuses.items()
    ]


def _recover(
    questions: Sequence[Question],
    lemmas: Lemmas,
    smallest: bool,
    machine: Machine,
    ways: Sequence[RecoveryQuestion],
    limits: Limits,
    report: ProgressCallback,
) -> tuple[RecoveryClaim, ...]:
    """As `recover`; where what was remembered of an earlier call did not lead to ways back, all is done without it.

    Which dead end is found, and shown, must not depend on what was proved before.
    """
    claims = recover(machine, ways, limits, report, found=lemmas, smallest=smallest)
    if lemmas.remembered is None or limits.seconds is not None or all(map(_is_the_same_without, claims)):
        return claims
    lemmas.remembered, lemmas.clauses = None, ()
    if questions:
        decide(machine, questions, limits, report, lemmas)
    return recover(machine, ways, limits, report, found=lemmas, smallest=smallest)


def _is_the_same_without(claim: RecoveryClaim) -> bool:
    return isinstance(claim, Recoverable) or (isinstance(claim, DeadEnd) and claim.shortest)


@dataclass(frozen=True, slots=True)
class Asked:
    """What is asked: `questions` of the engine, none twice, and `ways`, about what can always be done.

    `main` and `occasions` have, by the id of a requirement, what answers it and what says whether it ever arises.
    """

    compiled: CompiledHold
    machine: Machine
    instances: tuple[Instance, ...]
    questions: tuple[Question, ...]
    ways: tuple[RecoveryQuestion, ...]
    main: Mapping[str, Question | RecoveryQuestion]
    occasions: Mapping[str, Question]


def ask(compiled: CompiledHold, chosen: Sequence[str] | None) -> Asked:
    machine = with_monitors(compiled.machine)
    instances = tuple(i for i in compiled.instances if chosen is None or {i.requirement.id, i.origin.id} & set(chosen))
    main: dict[str, Question | RecoveryQuestion] = {}
    occasions: dict[str, Question] = {}
    by_target: dict[tuple[bool, Expr], Question] = {}
    for requirement in (instance.requirement for instance in instances):
        if requirement.kind is RequirementKind.CAN_ALWAYS:
            main[requirement.id] = recovery_question_of(requirement)
            continue
        question = question_of(machine, requirement)
        main[requirement.id] = by_target.setdefault((False, question.target), question)
        occasion = occasion_of(machine, requirement)
        if occasion is not None:
            occasions[requirement.id] = by_target.setdefault((True, occasion.target), occasion)
    ways = tuple(one for one in main.values() if isinstance(one, RecoveryQuestion))
    return Asked(compiled, machine, instances, tuple(by_target.values()), ways, main, occasions)


def _tell(
    asked: Asked, instance: Instance, found: Mapping[str, Finding], ways_found: Mapping[str, RecoveryFinding]
) -> Answer:
    question = asked.main[instance.requirement.id]
    finding = found[question.id] if isinstance(question, Question) else ways_found[question.id]
    occasion = asked.occasions.get(instance.requirement.id)
    arises = None if occasion is None else found[occasion.id]
    story = None
    if isinstance(finding, Fails | HasDeadEnd):
        shown = question.target if isinstance(question, Question) else neg(question.goal)
        story = tell(asked.machine, asked.compiled.glossary, finding.claim.trace, shown)
    return Answer(instance, _status(instance, finding, arises), finding, arises, story)


def _status(instance: Instance, finding: Finding | RecoveryFinding, occasion: Finding | None) -> Status:
    wanted = instance.requirement.kind is RequirementKind.CAN
    match finding, occasion:
        case (Disputed(), _) | (_, Disputed()):
            return Status.DISPUTED
        case Undecided(), _:
            return Status.UNDECIDED
        case HasDeadEnd(), _:
            return Status.FAILS
        case Recovers(), _:
            return Status.HOLDS
        case Fails(), _:
            return Status.HOLDS if wanted else Status.FAILS
        case Holds(), Holds() if not wanted:
            return Status.VACUOUS
        case Holds(), _:
            return Status.FAILS if wanted else Status.HOLDS
