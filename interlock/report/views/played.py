"""Runs that are followed step by step: what breaks a requirement, checklists, what an audit has found."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from interlock.diagnostics.frozen import frozen
from interlock.diagnostics.said import perhaps_ours, say, say_many
from interlock.kernel.claims import Fails
from interlock.kernel.recovery import HasDeadEnd
from interlock.report.views.checklist_words import goal_words, instruction_of
from interlock.report.views.facts import Reason, as_reasons
from interlock.report.views.harm import severity_words
from interlock.report.views.instructions import InstructionWriter
from interlock.report.views.wording import sentence
from interlock.report.views.working import Numbers
from interlock.study.checklist.making import Checklist
from interlock.study.procedure.audit import Audit
from interlock.study.procedure.runs import Run, RunStep
from interlock.study.verify import Answer, Status, Verification

SEQUENCES = say("What breaks a requirement")
CHECKLISTS = say("Checklists")
AMISS = say("Where a procedure goes wrong")
SLIPS = say("What slips lead to")
MOST_SLIPS = 40
"""Runs with slips in one page, the shortest; the audit tells of all."""


@frozen
class PlayedStep:
    """A step: its rule (None: nothing happens to the hold), and what is said of it beside what the rule says."""

    rule: int | None
    note: str = ""


@frozen
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
            say(
                "Hazard: {hazard} Severity {severity}.",
                hazard=sentence(perhaps_ours(origin.hazard) or origin.hazard),
                severity=severity_words(origin),
            ),
            say("Source: {source}", source=sentence(origin.source)),
            say_many("{number} step lead there.", "{number} steps lead there.", len(trace.rules)),
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
        (
            say(
                "The order in which the checklist is written. The equipment may act in another order and comes to the "
                "same."
            ),
        ),
        numbers.state(made.operation.machine, made.start),
        tuple(_checklist_steps(numbers, writer, made)),
    )


def _checklist_steps(numbers: Numbers, writer: InstructionWriter, made: Checklist) -> Iterator[PlayedStep]:
    for step in made.steps:
        said = say("Step {number}. {text}", number=step.number, text=instruction_of(writer, step))
        rules: Sequence[str | None] = step.execution.rules or (None,)
        for rule in rules:
            yield PlayedStep(None if rule is None else numbers.rules[rule], said)


def audit_runs(numbers: Numbers, audit: Audit) -> Iterator[Played]:
    """What an audit found that can be followed: breaches, a goal missed, actions not possible, then slips."""
    for breach in audit.breaches:
        instance = breach.hazard.instance
        told = (
            "without any slip where power is lost: {requirement}" if breach.lost else "without any slip: {requirement}"
        )
        title = say(told, requirement=instance.requirement.id)
        yield _audited(numbers, audit, AMISS, title, sentence(instance.text), breach.run)
    if audit.goal_missed is not None:
        yield _audited(numbers, audit, AMISS, say("the goal is missed"), "", audit.goal_missed)
    for action in audit.actions:
        if action.run is not None:
            text = action.bound.action.text
            title = say("action {number} is {verdict}", number=action.number, verdict=say(action.verdict.value))
            yield _audited(numbers, audit, AMISS, title, text, action.run)
    slips = () if audit.slips is None else audit.slips.results
    found = [(len(one.run.steps), one, one.run) for one in slips if one.run is not None]
    for _, one, run in sorted(found, key=lambda row: row[0])[:MOST_SLIPS]:
        hazards = f" ({', '.join(one.hazards)})" if one.hazards else ""
        effect = say("{effect}{hazards}", effect=say(one.effect.value), hazards=hazards)
        kind = say(one.slip.kind.word)
        if one.slip.kind.mode:
            kind = say("{kind}, error mode {mode}", kind=kind, mode=one.slip.kind.mode)
        about = say("The worst that it leads to: {effect}. Sort of slip: {kind}.", effect=effect, kind=kind)
        title = say("action {number}: {text}", number=one.slip.action + 1, text=one.slip.text)
        yield _audited(numbers, audit, SLIPS, title, about, run)


def _audited(numbers: Numbers, audit: Audit, group: str, title: str, about: str, run: Run) -> Played:
    procedure = audit.bound.procedure.title
    head = say("Procedure: {title}", title=procedure)
    told = (head, sentence(about)) if about else (head,)
    steps = (
        PlayedStep(None if step.rule is None else numbers.rules[step.rule], _note(audit, step)) for step in run.steps
    )
    return Played(group, title, told, numbers.places(run.start), tuple(steps), (), as_reasons(run.because))


def _note(audit: Audit, step: RunStep) -> str:
    if step.action is None:
        return ""
    if step.slip is not None:
        return say("Slip at action {number}: {text}", number=step.action, text=step.slip)
    # behind the last action people only wait
    actions = audit.bound.actions
    if step.action > len(actions):
        return ""
    return say("Action {number}: {text}", number=step.action, text=actions[step.action - 1].action.text)
