"""Proofs of the requirements of a hold as they are told, whatever the format."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import TYPE_CHECKING

from msgspec import UNSET, convert

from interlock.diagnostics.frozen import frozen
from interlock.diagnostics.spans import Diagnostic
from interlock.hold.compile.compiler import CompiledHold
from interlock.hold.language.model import Change, RequirementText
from interlock.hold.loader import FileRead
from interlock.hold.tell import Story
from interlock.kernel.claims import Disputed, Fails, Finding, Holds, Trace, Undecided
from interlock.kernel.evaluator import State, as_mapping
from interlock.kernel.machine import Actor, Machine
from interlock.kernel.recovery import HasDeadEnd, Recovers
from interlock.kernel.why import Helps, Why
from interlock.report.views.assumptions import CAUTIONS, assumptions_of, checkers_of
from interlock.report.views.blame import CAUTION, Pointer, pointers_for
from interlock.report.views.facts import PROGRAM, as_place, as_reasons, step_facts
from interlock.report.views.identification import Identification, identification
from interlock.report.views.never import never_facts, told_with
from interlock.report.views.proof_facts import (
    AlwaysPossible,
    BlamedFacts,
    CauseFacts,
    ChangeFacts,
    Contradicted,
    CoreFact,
    CoreFacts,
    Counts,
    DeadEnd,
    DiagnosticFacts,
    DifferenceFacts,
    FindingFacts,
    HoldFacts,
    MachineSize,
    NeverFacts,
    Open,
    ProofFacts,
    Reachable,
    Rejection,
    RequirementFacts,
    StoryFacts,
    TraceFacts,
    TraceStep,
    Unreachable,
)
from interlock.report.views.requirements import sentence_of_all
from interlock.report.views.tones import Tone
from interlock.report.views.wording import count_of, seconds_as_text, sentence, shortened
from interlock.study.forbidden import forbidden_steps
from interlock.study.verify import Answer, Status, Verification

if TYPE_CHECKING:
    from interlock.study.causes.blame import Blame
    from interlock.study.causes.causes import Cause
    from interlock.study.causes.changes import BlamedChanges
    from interlock.study.proof_cores import ProofCore
    from interlock.study.why_never import WhyNever

MOST_NAMED = 8
"""Names in one line."""
WORST_FIRST = (Status.DISPUTED, Status.FAILS, Status.UNDECIDED, Status.HOLDS, Status.VACUOUS)
TONES = {
    Status.HOLDS: Tone.GOOD,
    Status.VACUOUS: Tone.OPEN,
    Status.FAILS: Tone.BAD,
    Status.UNDECIDED: Tone.OPEN,
    Status.DISPUTED: Tone.LOUD,
}


@frozen
class AnswerView:
    """One requirement as it is told.

    `unshown`: it holds, but whether its situation ever arises is not known.  `dispute` is what does not fit.  `never`
    is why it can never be, where that is known; `told_with` the requirement with which that is told instead.
    `pointers` say what to look at first where it fails.  `end` is the last state of the run, where there is one.
    `after` how many seconds it was known (None: it is not said).
    """

    facts: RequirementFacts
    unshown: bool
    dispute: str
    never: NeverFacts | None
    told_with: str
    pointers: tuple[Pointer, ...]
    end: State | None
    after: float | None = None

    @property
    def steps(self) -> int | None:
        """The length of the run, where there is one."""
        finding = self.facts.finding
        return finding.steps if isinstance(finding, Reachable | DeadEnd) else None

    @property
    def about(self) -> str:
        """`[3L,3L.aft]`: what the requirement is about, as its id has it."""
        bound = ",".join(self.facts.bindings.values())
        return f"[{bound}]" if bound else self.facts.id


@frozen
class Group:
    """All answers to the requirements of one text, in their order; `pattern` is its sentence about all."""

    answers: tuple[AnswerView, ...]
    pattern: str

    @property
    def text(self) -> RequirementFacts:
        """What they share: id of the text (`from_`), hazard, severity, scheme, source."""
        return self.answers[0].facts

    @property
    def asked(self) -> str:
        """What is asked: of one thing by its name, of several as one sentence about all of its sort."""
        return sentence(self.pattern if len(self.answers) > 1 else self.text.text)

    @property
    def status(self) -> Status:
        """The worst of them."""
        return worst_of(answer.facts.status for answer in self.answers)

    def having(self, status: Status) -> tuple[AnswerView, ...]:
        """Those of that status."""
        return tuple(answer for answer in self.answers if answer.facts.status is status)

    @property
    def failing(self) -> tuple[AnswerView, ...]:
        """Those that fail by the length of their run, those without a run last; what is explained before the like."""

        def length(answer: AnswerView) -> tuple[float, bool]:
            return float("inf") if answer.steps is None else answer.steps, answer.never is None

        return tuple(sorted(self.having(Status.FAILS), key=length))


@frozen
class LeftOpen:
    """What is undecided for the same reason, up to the same depth (-1: none): answers by the id of their text."""

    reason: str
    what_to_try: str
    depth: int
    answers: Mapping[str, tuple[AnswerView, ...]]


@frozen
class ProofView:
    """What is told of the proofs of one hold; `groups` worst first, else in the order of the texts.

    `contains` says how much the description has in it; `replaced` are the ids for which its own text overruled a given
    one.  `scope` says what was not asked.  `assumptions` are those of the facts and how far what was found was checked,
    `cautions` what governs.  `evidence` is where the evidence was put (None: nowhere).
    """

    facts: HoldFacts
    contains: str
    replaced: tuple[str, ...]
    groups: tuple[Group, ...]
    open: tuple[LeftOpen, ...]
    scope: tuple[str, ...]
    assumptions: tuple[str, ...]
    cautions: tuple[str, ...]
    evidence: str | None
    compiled: CompiledHold

    @property
    def tone(self) -> Tone:
        """That of the worst that came out."""
        found = {group.status for group in self.groups} - {Status.VACUOUS}
        return TONES[worst_of(found)] if found else Tone.GOOD

    def summary(self, seconds: float | None = None) -> str:
        """`41 hold, 2 fail, 0 undecided in 3.2 s`; disputes come first where there are any."""
        counts = self.facts.counts
        vacuous = f" ({counts.hold_vacuously} never put to the test)" if counts.hold_vacuously else ""
        parts = [f"{counts.hold} hold{vacuous}", f"{counts.fail} fail", f"{counts.undecided} undecided"]
        if counts.disputed:
            parts.insert(0, f"{counts.disputed} DISPUTED")
        return ", ".join(parts) + ("" if seconds is None else f" in {seconds_as_text(seconds)}")


def proof_view(
    label: str,
    verification: Verification,
    texts: Sequence[RequirementText],
    code: int,
    replaced: tuple[str, ...] = (),
    evidence: str | None = None,
    cores: Sequence[ProofCore] | None = None,
    never: Sequence[WhyNever] = (),
    blamed: Blame | None = None,
    read: Sequence[FileRead] = (),
) -> ProofView:
    """What is told of a verification, and of how it was asked for.

    `label` is what the reader calls the description; `texts` all requirement texts that were given, those that found
    nothing to range over included; `code` what the program reports of this hold; `cores` what the proofs rest on,
    `blamed` what is to be blamed for what fails (None: not asked for); `never` why what can never be cannot;
    `read` the files that were read.
    """
    compiled = verification.compiled
    nevers = tuple(map(never_facts, never))
    facts = _facts(label, verification, texts, code, cores, nevers, blamed, identification(read))
    all_asked = len(verification.answers) == len(compiled.instances)
    explained, elsewhere = {one.requirement: one for one in nevers}, told_with(nevers)
    answers = [
        AnswerView(
            told,
            answer.status is Status.HOLDS and isinstance(answer.occasion, Undecided),
            _dispute(answer),
            explained.get(told.id),
            elsewhere.get(told.id, ""),
            pointers_for(facts, told.id, all_asked),
            _end(answer),
            verification.seconds.get(told.id),
        )
        for told, answer in zip(facts.requirements, verification.answers, strict=True)
    ]
    groups = _groups(answers, {one.origin.id: sentence_of_all(one.origin) for one in compiled.instances})
    asked = {group.text.from_ for group in groups}
    known = {instance.origin.id for instance in compiled.instances}
    not_asked = sum(text.id in known - asked for text in texts)
    return ProofView(
        facts,
        counts_of(compiled),
        replaced,
        groups,
        tuple(_left_open(groups)),
        (*_unused(facts, not_asked), *_without_room(verification), *_unblamed(blamed)),
        (*facts.assumptions, *_checked(verification)),
        (*CAUTIONS, CAUTION) if any(answer.pointers for answer in answers) else CAUTIONS,
        evidence,
        compiled,
    )


def _unblamed(blamed: Blame | None) -> Iterator[str]:
    if blamed is not None and blamed.unsettled:
        named = shortened(blamed.unsettled, MOST_NAMED)
        yield f"What to look at first was not found for {named}; more is looked for with --blame and a longer --time."


def proof_facts(proofs: Sequence[ProofView], rejected: Mapping[str, Sequence[Diagnostic]], code: int) -> ProofFacts:
    """All results of one call; `rejected` are the faults of descriptions by their labels, `code` is the exit code."""
    rejections = tuple(
        Rejection(
            label,
            tuple(
                DiagnosticFacts(one.code, as_place(one.span), one.message, one.expected, one.nearest, one.context)
                for one in found
            ),
        )
        for label, found in rejected.items()
    )
    cautions = tuple(dict.fromkeys((*CAUTIONS, *(text for proof in proofs for text in proof.cautions))))
    return ProofFacts(1, PROGRAM, code, tuple(proof.facts for proof in proofs), rejections, cautions)


def counts_of(compiled: CompiledHold) -> str:
    """What the description contains, in numbers."""
    hold = compiled.hold
    parts = [
        (len(compiled.floor.bays), "bay"),
        (len(hold.doorways), "doorway"),
        (len(hold.devices), "device"),
        (len(hold.controls), "control"),
        (len(hold.zones), "drive zone"),
        (len(hold.circuits), "circuit"),
        (len(hold.relays), "relay"),
        (len(hold.sensors), "sensor"),
    ]
    return ", ".join(count_of(number, noun) for number, noun in parts if number)


def worst_of(statuses: Iterable[Status]) -> Status:
    """The worst status; nothing at all counts as undecided."""
    found = set(statuses)
    return next((status for status in WORST_FIRST if status in found), Status.UNDECIDED)


def _facts(
    label: str,
    verification: Verification,
    texts: Sequence[RequirementText],
    code: int,
    cores: Sequence[ProofCore] | None,
    nevers: tuple[NeverFacts, ...],
    blamed: Blame | None,
    identified: Identification,
) -> HoldFacts:
    compiled, machine = verification.compiled, verification.machine
    known = {instance.origin.id for instance in compiled.instances}
    vacuous = verification.count(Status.VACUOUS)
    return HoldFacts(
        label,
        compiled.hold.title,
        compiled.situation,
        code,
        Counts(
            verification.count(Status.HOLDS) + vacuous,
            vacuous,
            verification.count(Status.FAILS),
            verification.count(Status.UNDECIDED),
            verification.count(Status.DISPUTED),
        ),
        MachineSize(len(machine.variables), len(machine.rules)),
        tuple(map(change_facts, compiled.hold.changes)),
        tuple(_requirement(verification, answer) for answer in verification.answers),
        tuple(text.id for text in texts if text.id not in known),
        checkers_of(verification),
        assumptions_of(compiled),
        identified,
        UNSET if cores is None else tuple(map(core_facts, cores)),
        nevers or UNSET,
        UNSET if blamed is None else tuple(map(_cause, blamed.causes)),
        UNSET if blamed is None else tuple(_blamed(id, one) for id, one in blamed.changes.items()),
    )


def _cause(cause: Cause) -> CauseFacts:
    told = cause.found, cause.beside, cause.requirements, cause.proved, cause.lost, cause.besides
    return CauseFacts(cause.item, cause.id, as_place(cause.span), *told)


def _blamed(id: str, blamed: BlamedChanges) -> BlamedFacts:
    sets = tuple(tuple(map(change_facts, one)) for one in blamed.sets)
    did = tuple(DifferenceFacts(one.item, as_place(one.span), one.now, one.was) for one in blamed.differences)
    return BlamedFacts(id, sets, blamed.complete, blamed.before, did)


def change_facts(change: Change) -> ChangeFacts:
    """A change of a modification, as facts."""
    return ChangeFacts(change.verb, change.object, as_place(change.span))


def core_facts(core: ProofCore) -> CoreFacts:
    """What proofs rest on, as facts."""
    return CoreFacts(
        core.origin.id, core.clauses, core.counted, convert(core.facts, tuple[CoreFact, ...], from_attributes=True)
    )


def _requirement(verification: Verification, answer: Answer) -> RequirementFacts:
    instance, finding = answer.instance, answer.finding
    origin = instance.origin
    return RequirementFacts(
        instance.requirement.id,
        origin.id,
        dict(instance.bindings),
        origin.kind,
        instance.text,
        origin.hazard,
        origin.severity,
        origin.scheme,
        origin.harm,
        origin.source,
        as_place(origin.span),
        answer.status,
        {Fails: True, Holds: False}.get(type(answer.occasion)),
        _finding(verification.machine, finding),
        None if answer.story is None else story_facts(answer.story),
        _forbidden(verification, answer) if answer.status is Status.FAILS else (),
        _trace(verification.machine, finding.claim.trace) if isinstance(finding, Fails | HasDeadEnd) else None,
    )


def _failures(machine: Machine, trace: Trace) -> int | None:
    failing = {rule.name for rule in machine.rules if rule.actor is Actor.FAILURE}
    return sum(name in failing for name in trace.rules) if failing else None


def _finding(machine: Machine, finding: Finding | Recovers | HasDeadEnd) -> FindingFacts:
    match finding:
        case Recovers(claim=claim, checked_by=checked_by):
            cases = sum(len(stage.entries) for stage in claim.recovery.stages)
            return AlwaysPossible(True, claim.engine, checked_by, cases)
        case HasDeadEnd(claim=claim, checked_by=checked_by):
            return DeadEnd(False, claim.engine, checked_by, claim.trace.depth, claim.shortest)
        case Holds(claim=claim, checked_by=checked_by):
            return Unreachable(False, claim.engine, checked_by, claim.states)
        case Fails(claim=claim):
            return Reachable(True, claim.engine, claim.trace.depth, claim.shortest, _failures(machine, claim.trace))
        case Undecided(reason=reason, depth=depth):
            return Open(None, str(reason), what_to_try(reason), depth)
        case Disputed(claim=claim, what=what):
            return Contradicted(None, claim.engine, what)


_ALONE = "one requirement at a time (--only)"
WHAT_TO_TRY = {
    Helps.TIME: f"more time (--time), or {_ALONE}: it then has all of the time",
    Helps.MEMORY: f"more memory (--memory), or {_ALONE}",
    Helps.DEPTH: "to look farther (--depth), or the same without that bound",
    Helps.END: "the same again, left to run to its end",
    Helps.METHOD: f"{_ALONE}, another way of proof (--method), or the hold with fewer rows or kinds of unit: "
    "where that is decided, the difficulty lies in what was left out, and what holds there need not hold in the whole",
}
ANYTHING = f"more of what was limited (--time, --memory, --depth), {_ALONE}, another way of proof (--method)"


def what_to_try(reason: str) -> str:
    """What may bring an answer where there is none for this reason."""
    return WHAT_TO_TRY[reason.helps] if isinstance(reason, Why) else ANYTHING


def story_facts(story: Story) -> StoryFacts:
    """A run in words, as facts."""
    steps = tuple(map(step_facts, story.steps))
    return StoryFacts(story.start, steps, as_reasons(story.possible), as_reasons(story.reached))


def _forbidden(verification: Verification, answer: Answer) -> tuple[str, ...]:
    """The steps that are possible at the end of the run although the requirement forbids them."""
    if not isinstance(answer.finding, Fails):
        return ()
    state = answer.finding.claim.trace.states[-1]
    glossary = verification.compiled.glossary
    return forbidden_steps(verification.machine, glossary, answer.instance.requirement, state)


def _trace(machine: Machine, trace: Trace) -> TraceFacts:
    steps = []
    for rule, before, after in zip(trace.rules, trace.states[:-1], trace.states[1:], strict=True):
        values = zip(machine.variables, before, after, strict=True)
        changed = {variable.name: value for variable, old, value in values if value != old}
        steps.append(TraceStep(rule, changed))
    return TraceFacts(as_mapping(machine, trace.states[0]), tuple(steps))


def _end(answer: Answer) -> State | None:
    return answer.finding.claim.trace.states[-1] if isinstance(answer.finding, Fails | HasDeadEnd) else None


def _dispute(answer: Answer) -> str:
    for finding in (answer.finding, answer.occasion):
        if isinstance(finding, Disputed):
            return finding.what
    return "unknown"


def _groups(answers: Sequence[AnswerView], patterns: Mapping[str, str]) -> tuple[Group, ...]:
    by_text: dict[str, list[AnswerView]] = {}
    for answer in answers:
        by_text.setdefault(answer.facts.from_, []).append(answer)
    groups = [Group(tuple(found), patterns[id]) for id, found in by_text.items()]
    return tuple(sorted(groups, key=lambda group: WORST_FIRST.index(group.status)))


def _left_open(groups: Sequence[Group]) -> Iterator[LeftOpen]:
    """There may be hundreds for the same reason."""
    alike: dict[tuple[str, str, int], dict[str, tuple[AnswerView, ...]]] = {}
    for group in groups:
        for answer in group.having(Status.UNDECIDED):
            if isinstance(answer.facts.finding, Open):
                finding = answer.facts.finding
                by_text = alike.setdefault((finding.reason, finding.what_to_try, finding.excluded_up_to_steps), {})
                by_text[group.text.from_] = (*by_text.get(group.text.from_, ()), answer)
    yield from (LeftOpen(*told, by_text) for told, by_text in alike.items())


def _unused(facts: HoldFacts, not_asked: int) -> Iterator[str]:
    """Texts that found nothing to speak of, and how many were not asked this time."""
    if facts.nothing_to_range_over:
        yield f"Nothing in this hold for: {', '.join(facts.nothing_to_range_over)}"
    if not_asked:
        yield f"Not asked this time: {count_of(not_asked, 'requirement text')}"


def _without_room(verification: Verification) -> Iterator[str]:
    """Where something was asked of kinds of unit: the bays of which it was not, since the layout rules it out."""
    compiled = verification.compiled
    kinds = compiled.world.groups["units"]
    ids = {kind.id for kind in kinds}
    if not any(id in ids for answer in verification.answers for _, id in answer.instance.bindings):
        return
    for kind in kinds:
        without = [bay for bay in compiled.floor.bays if bay not in kind.parts["bays"]]
        if without:
            yield f"Left out, as the layout has no room there for a {kind.phrase}: {shortened(without, MOST_NAMED)}"


def _checked(verification: Verification) -> Iterator[str]:
    """How far what was found was checked by other means."""
    checkers = checkers_of(verification)
    if checkers:
        yield f"Each proof was checked again, independently, by: {'; '.join(checkers)}."
    if any(isinstance(answer.finding, Fails | HasDeadEnd) for answer in verification.answers):
        yield (
            "Each sequence of steps was replayed step by step on the described hold. That no shorter one exists "
            "was looked for, and not checked a second time."
        )
    if not checkers and any(isinstance(finding, Holds) for finding in verification.findings):
        yield "No proof was checked again."
