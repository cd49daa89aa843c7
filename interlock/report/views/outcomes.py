"""A proof told requirement by requirement, for programs that gather results of many sorts of check and show them."""

from __future__ import annotations

from collections.abc import Iterator

from msgspec import UNSET

from interlock.diagnostics.frozen import frozen
from interlock.hold.loader import Part
from interlock.report.views.assumptions import IN_SHORT
from interlock.report.views.blame import CAUTION
from interlock.report.views.facts import Place, Reason, Step
from interlock.report.views.gathered import Line
from interlock.report.views.proof import AnswerView, ProofView
from interlock.report.views.proof_facts import (
    AlwaysPossible,
    FindingFacts,
    HoldFacts,
    Open,
    Reachable,
    Rejection,
    Status,
    StoryFacts,
    Unreachable,
)
from interlock.report.views.proof_words import how_it_fails, reached_head
from interlock.report.views.wording import ACTORS, by_itself, count_of, listed, places_after, sentence

NOTHING_ASKED = "Nothing was asked of this hold, so nothing is proved of it."
FAULT_OF_PROGRAM = "This is a fault of this program, not of the hold: do not use any result of this run."


@frozen
class Outcome:
    """What is told of one requirement.

    `verdict` is a sentence; `rests_on` says what bears it out, empty where it is not known to hold; `steps` are the run
    against it, or that shows what can be done, where there is one, how it begins first; `more` is all else that is
    told, in sentences, the caution last.  `file` is where to look and `at` the place in it (None: no line is known).
    """

    answer: AnswerView
    verdict: str
    rests_on: str
    steps: tuple[Line, ...]
    more: tuple[str, ...]
    file: str
    at: Place | None

    @property
    def is_plain(self) -> bool:
        """It holds, and is known to have been put to the test where it speaks of a situation."""
        return self.answer.facts.status is Status.HOLDS and not self.answer.unshown


def outcomes_of(proof: ProofView) -> tuple[Outcome, ...]:
    """Of every requirement that was asked, in the order of the groups."""
    return tuple(_outcome(proof, answer) for group in proof.groups for answer in group.answers)


def rests_on(finding: FindingFacts) -> str:
    """What a finding that something holds rests on, in a sentence or two."""
    match finding:
        case Unreachable(engine=engine, checked_by=checked, states=states):
            every = f" Every state was visited: {states:,}." if states is not None else ""
            return f"Proved by '{engine}', checked again by {checked}.{every}"
        case AlwaysPossible(engine=engine, checked_by=checked, cases=cases):
            return f"Proved by '{engine}' in {count_of(cases, 'case')}, checked again by {checked}."
        case Reachable(engine=engine):
            return f"Shown by the steps, which '{engine}' found and the reference evaluator did again."
    return ""


def grounds_of(facts: HoldFacts) -> tuple[str, ...]:
    """What the proofs rest on, by requirement text, where that was asked for."""
    return tuple(
        f"{one.requirement} rests on: "
        + (listed([places_after(fact.text, fact.places) for fact in one.facts]) or "circuits and definitions alone")
        + (", and on visiting every state" if one.counted else "")
        + "."
        for one in (() if facts.grounds is UNSET else facts.grounds)
    )


def described_in(facts: HoldFacts) -> str:
    """The file in which the hold is described, else what the reader calls it."""
    return next((one.name for one in facts.identification.files if one.part is Part.DESCRIPTION), facts.description)


def refused(rejection: Rejection) -> tuple[str, ...]:
    """What is wrong with a description, a sentence or two for each fault."""
    return tuple(
        " ".join(
            [
                f"{one.code}: {sentence(one.message)}",
                *([f"Expected: {sentence(one.expected)}"] if one.expected else ()),
                *([f"Did you mean '{one.nearest}'?"] if one.nearest else ()),
            ]
        )
        for one in rejection.diagnostics
    )


def _outcome(proof: ProofView, answer: AnswerView) -> Outcome:
    facts = answer.facts
    at = _blamed(proof.facts, facts.id) if facts.status is Status.FAILS else None
    at = at or _asked(proof.facts, facts.written_at)
    return Outcome(
        answer,
        _verdict(answer),
        rests_on(answer.facts.finding) if facts.status in (Status.HOLDS, Status.VACUOUS) else "",
        told_steps(facts.story),
        tuple(_more(answer)),
        described_in(proof.facts) if at is None else at.file,
        at,
    )


def told_steps(story: StoryFacts | None) -> tuple[Line, ...]:
    """How a run begins, and its steps; nothing where there is none."""
    if story is None:
        return ()
    begins = (Line(f"At the start: {'; '.join(story.start)}."),) if story.start else ()
    return (*begins, *map(step_said, story.steps))


def _verdict(answer: AnswerView) -> str:
    id, finding = answer.facts.id, answer.facts.finding
    match answer.facts.status:
        case Status.FAILS:
            return f"{id} fails: {sentence(answer.facts.text)}"
        case Status.UNDECIDED:
            reason = finding.reason if isinstance(finding, Open) else "it is not known why"
            return f"{id} is undecided: {sentence(reason)}"
        case Status.DISPUTED:
            return f"{id} is DISPUTED. {FAULT_OF_PROGRAM}"
        case Status.VACUOUS:
            return f"{id} holds, but the situation never arises: such a pass shows nothing."
        case Status.HOLDS:
            return f"{id} holds" + (", but it is not shown that the situation arises." if answer.unshown else ".")


def _more(answer: AnswerView) -> Iterator[str]:
    facts = answer.facts
    if facts.status is not Status.FAILS:
        yield sentence(facts.text)
    match facts.status:
        case Status.FAILS:
            yield how_it_fails(answer)
            if facts.story is not None:
                yield from _headed("Why the last step was possible", facts.story.last_step_possible)
                if facts.forbidden_steps:
                    yield f"What is then possible, and must not be: {'; '.join(facts.forbidden_steps)}."
                yield from _headed(reached_head(answer), facts.story.reached)
            for number, pointer in enumerate(answer.pointers):
                yield f"{'And there' if number else 'Look first'} at: {pointer.at}: {'; '.join(pointer.sentences)}."
            if answer.pointers:
                yield CAUTION
        case Status.DISPUTED:
            yield f"What does not fit: {answer.dispute}."
    if isinstance(facts.finding, Open):
        yield f"What may bring an answer: {facts.finding.what_to_try}."
        if facts.finding.excluded_up_to_steps >= 0:
            yield f"No run against it has {facts.finding.excluded_up_to_steps} steps or fewer."
    yield IN_SHORT


def _headed(head: str, reasons: tuple[Reason, ...]) -> Iterator[str]:
    if reasons:
        yield f"{head}: {'; '.join(map(reason_said, reasons))}."


def reason_said(reason: Reason) -> str:
    """A reason with what makes it so, in one line."""
    return reason.text + (f" (because {'; '.join(map(reason_said, reason.because))})" if reason.because else "")


def step_said(step: Step) -> Line:
    """A step with what follows of it, in one line."""
    does = ", ".join(map(by_itself, step.responses))
    itself = f"; by itself: {does}" if does else ""
    now = f"; now: {', '.join(dict.fromkeys(step.after))}" if step.after else ""
    return Line(f"{step.number}. {ACTORS[step.actor]}: {step.text}{itself}{now}.", step.at)


def _blamed(facts: HoldFacts, requirement: str) -> Place | None:
    """Where what is blamed first for a requirement is written."""
    for blamed in () if facts.blamed_changes is UNSET else facts.blamed_changes:
        if blamed.requirement == requirement and blamed.sets:
            return blamed.sets[0][0].at
    causes = () if facts.look_first is UNSET else facts.look_first
    return next((cause.at for cause in causes if requirement in cause.requirements), None)


def _asked(facts: HoldFacts, written: Place) -> Place | None:
    """Where a requirement is written, unless that is in what comes with the program."""
    shipped = {one.name for one in facts.identification.files if one.part is Part.STANDING}
    return None if written.file in shipped else written
