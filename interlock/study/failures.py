"""Which failures, alone or together, break a requirement: the smallest sets of them, and that there are no others."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass

from interlock.confirm.replay import replay
from interlock.hold.compile.compiler import CompiledHold
from interlock.hold.compile.requirements import Instance
from interlock.hold.tell import Story, tell
from interlock.kernel.claims import Limits, ProgressCallback, Trace, silent
from interlock.kernel.failures import DisputedSets, KnownSets, SetsFinding, failures_of
from interlock.kernel.machine import Machine, question_of, with_order_monitors
from interlock.prove.engine import NO_LIMITS
from interlock.prove.failures.runs import shorter_run, with_failures
from interlock.prove.failures.sets import smallest_sets
from interlock.study.halves import in_halves
from interlock.study.sessions import Session

SHORTENING_SECONDS = 10.0
"""How long a shorter run to one set is looked for where there is no limit."""


@dataclass(frozen=True, slots=True)
class Broken:
    """Failures, by the names of their variables, that break a requirement together and not without any one of them."""

    failures: tuple[str, ...]
    run: Trace


@dataclass(frozen=True, slots=True)
class Answer:
    """What was found of one requirement, and the smallest sets that break it; the empty one: it breaks as it is."""

    instance: Instance
    finding: SetsFinding
    broken: tuple[Broken, ...]

    @property
    def open(self) -> tuple[tuple[str, ...], ...]:
        """Sets of which it is not known whether they break it."""
        return self.finding.claim.open if isinstance(self.finding, KnownSets) else ()


@dataclass(frozen=True, slots=True)
class FailureAnalysis:
    """What was found of one hold.

    `failures` are all that may strike, `size` is how many of them were asked about together; `left_out` are the
    requirements that say what can be done, which failures cannot break in this sense.
    """

    compiled: CompiledHold
    machine: Machine
    failures: tuple[str, ...]
    size: int
    answers: tuple[Answer, ...]
    left_out: tuple[Instance, ...]

    @property
    def is_disputed(self) -> bool:
        """Two parts of this program contradict each other."""
        return any(isinstance(answer.finding, DisputedSets) for answer in self.answers)

    @property
    def is_complete(self) -> bool:
        """Of every requirement all sets up to the size are known."""
        size = min(self.size, len(self.failures))
        return all(
            isinstance(answer.finding, KnownSets) and answer.finding.complete >= size and not answer.open
            for answer in self.answers
        )


def analyse_failures(
    compiled: CompiledHold,
    size: int,
    limits: Limits = NO_LIMITS,
    report: ProgressCallback = silent,
    chosen: Sequence[str] | None = None,
    among: Collection[str] | None = None,
) -> FailureAnalysis:
    """Finds for each requirement, or those `chosen`, the smallest sets of at most `size` declared failures.

    Of these failures alone where it is said `among` which; no other strikes then.  Raises NotFailures where a failure
    of the hold is not one that strikes by itself.
    """
    machine = with_order_monitors(compiled.machine)
    if among is not None:
        machine = with_failures(machine, among)
    asked = [one for one in compiled.instances if chosen is None or {one.requirement.id, one.origin.id} & set(chosen)]
    kept = [one for one in asked if not one.requirement.kind.is_about_work]
    questions = [question_of(machine, one.requirement) for one in kept]
    findings = Session(machine, limits, report).claim_and_confirm_sets(questions, smallest_sets, size)
    answers = []
    for instance, finding in zip(kept, findings, strict=True):
        broken: tuple[Broken, ...] = ()
        if isinstance(finding, KnownSets):
            broken = tuple(map(Broken, finding.claim.sets, finding.claim.runs))
        answers.append(Answer(instance, finding, broken))
    left_out = tuple(one for one in asked if one.requirement.kind.is_about_work)
    return FailureAnalysis(compiled, machine, failures_of(machine), size, tuple(answers), left_out)


def story_of(
    analysis: FailureAnalysis, answer: Answer, broken: Broken, seconds: float | None = None
) -> tuple[Story, bool]:
    """The run by which the failures break the requirement in trade words, and whether no shorter one does.

    Within `seconds` a shorter run is looked for, and replayed.
    """
    question = question_of(analysis.machine, answer.instance.requirement)
    within = SHORTENING_SECONDS if seconds is None else min(seconds, SHORTENING_SECONDS)
    run, shortest = shorter_run(analysis.machine, question, broken.failures, broken.run, within)
    if replay(analysis.machine, question.target, run):
        run, shortest = broken.run, False
    return tell(analysis.machine, analysis.compiled.glossary, run, question.target), shortest


def stories_of(
    analysis: FailureAnalysis, told: Sequence[tuple[Answer, Broken]], seconds: float | None = None
) -> tuple[tuple[Story, bool], ...]:
    """The same for each of several, every second one beside; within `seconds` each."""

    def tell_some(some: Sequence[tuple[Answer, Broken]], _report: ProgressCallback) -> list[tuple[Story, bool]]:
        return [story_of(analysis, answer, broken, seconds) for answer, broken in some]

    return tuple(in_halves(tell_some, told, NO_LIMITS, silent))
