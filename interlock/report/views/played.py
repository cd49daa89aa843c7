"""Runs that are followed step by step: orders of steps that break a requirement, dead ends, checklists."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from interlock.kernel.claims import Fails
from interlock.kernel.recovery import HasDeadEnd
from interlock.report.views.checklist_words import goal_words, instruction_of
from interlock.report.views.facts import Reason, as_reasons
from interlock.report.views.harm import severity_words
from interlock.report.views.instructions import InstructionWriter
from interlock.report.views.wording import count_of, sentence
from interlock.report.views.working import Numbers
from interlock.study.checklist.making import Checklist
from interlock.study.verify import Answer, Status, Verification

SEQUENCES = "What breaks a requirement"
CHECKLISTS = "Checklists"


@dataclass(frozen=True, slots=True)
class PlayedStep:
    """A step: its rule (None: nothing happens to the hold), and what is said of it beside what the rule says."""

    rule: int | None
    note: str = ""


@dataclass(frozen=True, slots=True)
class Played:
    """A run from a state; `possible` is why its last step could be made, `reached` why the end is what it is."""

    group: str
    title: str
    about: tuple[str, ...]
    start: tuple[int, ...]
    steps: tuple[PlayedStep, ...]
    possible: tuple[Reason, ...] = ()
    reached: tuple[Reason, ...] = ()


def failing_runs(numbers: Numbers, found: Verification) -> Iterator[Played]:
    """The run of each requirement that fails by one, shortest first."""
    failing = [answer for answer in found.answers if answer.status is Status.FAILS]
    runs = [run for answer in failing if (run := _failing(numbers, found, answer)) is not None]
    yield from sorted(runs, key=lambda run: len(run.steps))


def _failing(numbers: Numbers, found: Verification, answer: Answer) -> Played | None:
    finding, story, instance = answer.finding, answer.story, answer.instance
    if story is None or not isinstance(finding, Fails | HasDeadEnd):
        return None
    trace = finding.claim.trace
    origin = instance.origin
    return Played(
        SEQUENCES,
        instance.requirement.id,
        (
            sentence(instance.text),
            f"Hazard: {sentence(origin.hazard)} Severity {severity_words(origin)}.",
            f"Source: {sentence(origin.source)}",
            f"{count_of(len(trace.rules), 'step')} lead there.",
        ),
        numbers.state(found.machine, trace.states[0]),
        tuple(PlayedStep(numbers.rules[name]) for name in trace.rules),
        as_reasons(story.possible),
        as_reasons(story.reached),
    )


def checklist_run(numbers: Numbers, made: Checklist) -> Played:
    """The checklist in the order in which it is written, with one order of what the equipment does."""
    writer = InstructionWriter(made.compiled)
    return Played(
        CHECKLISTS,
        goal_words(made.compiled, made.goal),
        ("The order in which the checklist is written. The equipment may act in another order and comes to the same.",),
        numbers.state(made.operation.machine, made.start),
        tuple(_checklist_steps(numbers, writer, made)),
    )


def _checklist_steps(numbers: Numbers, writer: InstructionWriter, made: Checklist) -> Iterator[PlayedStep]:
    for step in made.steps:
        said = f"Step {step.number}. {instruction_of(writer, step)}"
        rules: Sequence[str | None] = step.execution.rules or (None,)
        for rule in rules:
            yield PlayedStep(None if rule is None else numbers.rules[rule], said)
