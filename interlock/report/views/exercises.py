"""Exercises: somebody works the hold towards a goal, beside the checklist that is proved for it."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator

from interlock.diagnostics.frozen import frozen
from interlock.diagnostics.said import say
from interlock.hold.procedure.binding import Manner
from interlock.kernel.machine import Actor
from interlock.report.views.checklist import ChecklistView
from interlock.report.views.checklist_facts import PartFacts, StepFacts
from interlock.report.views.checklist_guards import slip_words
from interlock.report.views.instructions import InstructionWriter
from interlock.report.views.working import Numbers, Start, starts_of
from interlock.study.checklist.audit import ChecklistAudit
from interlock.study.checklist.making import Checklist, Leg, Step
from interlock.study.procedure.audit import Audit
from interlock.study.procedure.slip_audit import SlipResult
from interlock.study.procedure.slips import SlipKind
from interlock.study.walk import begin_walk


@frozen
class Rehearsed:
    """A checklist, its audit, and how it is told."""

    made: Checklist
    audited: ChecklistAudit
    told: ChecklistView


@frozen
class Warned:
    """WARNING, CAUTION or NOTE before a step."""

    label: str
    text: str


@frozen
class KnownSlip:
    """A slip in which something else is done, by any of these rules, and the worst that the audit found of it.

    `swaps`: that is the step that is to come after it.
    """

    text: str
    kind: str
    mode: str
    rules: tuple[int, ...]
    effect: str
    hazards: tuple[str, ...]
    swaps: bool


@frozen
class OmittedSlip:
    """What comes of leaving the step out."""

    effect: str
    hazards: tuple[str, ...]


@frozen
class ExerciseStep:
    """A step of the order of work, or a check.

    `heads` are the rules by which each half of it is done, in any way that mechanism can follow; none where people only
    wait.  `until` is the row that is true once it has come to its end, None where it ends as it is done, `check` that
    of what is to be seen, None where it is no check.  `after` are the numbers of the steps that must come before it.
    `rest` is the state when all has come to rest after it, None where there may be several.  `omitted` is what comes of
    leaving it out, `left_off` of stopping before it.
    """

    number: int
    part: str
    text: str
    results: tuple[str, ...]
    warned: tuple[Warned, ...]
    heads: tuple[tuple[int, ...], ...]
    after: tuple[int, ...]
    slips: tuple[KnownSlip, ...]
    omitted: OmittedSlip | None
    left_off: OmittedSlip | None
    rest: tuple[int, ...] | None
    until: int | None = None
    check: int | None = None


@frozen
class Exercise:
    """A goal, the row that is true once it is reached, and the steps that lead there from any of the starts.

    `compared` says what the steps are.
    """

    title: str
    compared: str
    before: tuple[str, ...]
    starts: tuple[Start, ...]
    goal: int
    steps: tuple[ExerciseStep, ...]


def exercise_of(numbers: Numbers, rehearsed: Rehearsed) -> Exercise:
    """The checklist as an exercise; its checks are numbered behind its steps."""
    made, told = rehearsed.made, rehearsed.told
    maker = _Maker(numbers, made, rehearsed.audited)
    goal = numbers.rows.number(made.legs[-1].goal)
    starts = (Start(numbers.state(made.operation.machine, made.start), ""),)
    steps: list[ExerciseStep] = []
    looks = enumerate(rehearsed.audited.checks, len(made.steps) + 1)
    for leg, part in zip(made.legs, told.parts, strict=True):
        steps += maker.part(leg, part.facts, tuple(step.number for step in steps))
        for text, (number, action) in zip(part.facts.checks, looks, strict=False):
            steps.append(maker.check(number, action, text, part.facts.title, tuple(step.number for step in steps)))
    compared = say("What you do is compared with an order that was proved.")
    return Exercise(told.facts.goal, compared, told.facts.checklist.before, starts, goal, tuple(steps))


@frozen
class _Maker:
    numbers: Numbers
    made: Checklist
    audited: ChecklistAudit

    def part(self, leg: Leg, facts: PartFacts, earlier: tuple[int, ...]) -> Iterator[ExerciseStep]:
        for at, (step, told) in enumerate(zip(leg.steps, facts.steps, strict=True)):
            before = leg.freedom.before[at]
            needed = tuple(one.number for place, one in enumerate(leg.steps) if before >> place & 1)
            yield self._step(step, told, facts.title, (*earlier, *needed))

    def check(self, number: int, action: int, text: str, part: str, after: tuple[int, ...]) -> ExerciseStep:
        """The action of the audited procedure, from 0, as something to look at."""
        audit = self.audited.audit
        row = self.numbers.rows.number(audit.bound.actions[action].until)
        slips = _slips_at(audit, (action,))
        return ExerciseStep(
            number, part, text, (), (), (), after, (), _omitted(slips), _left_off(slips), None, check=row
        )

    def _step(self, step: Step, told: StepFacts, part: str, after: tuple[int, ...]) -> ExerciseStep:
        origins, rules = self.made.compiled.origins, self.numbers.rules
        slips = self.audited.slips_at(step.number)
        steps = {one.number: one for one in self.made.steps}
        writer = InstructionWriter(self.made.compiled)
        return ExerciseStep(
            step.number,
            part,
            told.instruction,
            told.results,
            tuple(Warned(guard.label, guard.text) for guard in told.guards),
            tuple(tuple(rules[name] for name in origins.rules_of[head]) for head in step.execution.deed.heads),
            after,
            tuple(
                _known(self.numbers, one, slip_words(writer, steps, self.audited, one.slip))
                for one in slips
                if one.slip.instead is not None
            ),
            _omitted(slips),
            _left_off(slips),
            self.numbers.state(self.made.operation.machine, step.execution.after),
        )


def procedure_exercise(numbers: Numbers, audit: Audit) -> Exercise:
    """A written procedure as an exercise: its actions one after the other, as they are written."""
    bound = audit.bound
    walk = begin_walk(bound.compiled)
    groups = bound.procedure.steps.groups
    steps = []
    for at in range(len(bound.actions)):
        within = [group.name for group in groups if group.first <= at < group.end]
        steps.append(_action(numbers, audit, at, within[-1] if within else ""))
    compared = say(
        "What you do is compared with a written procedure; what its audit found is among the runs to follow."
    )
    starts = starts_of(walk, numbers)
    return Exercise(bound.procedure.title, compared, (), starts, numbers.rows.number(bound.goal), tuple(steps))


def _action(numbers: Numbers, audit: Audit, at: int, part: str) -> ExerciseStep:
    action = audit.bound.actions[at]
    machine, number = audit.bound.compiled.machine, numbers.rows.number
    by_people = any(machine.rule(name).actor is Actor.CREW for name in action.rules)
    heads: tuple[tuple[int, ...], ...] = ()
    until = check = None
    match action.manner:
        case Manner.CHECK:
            check = number(action.until)
        case Manner.WAIT:
            until = number(action.until)
        case Manner.ONCE | Manner.UNTIL | Manner.HELD:
            parts = (action.rules, action.release) if action.manner is Manner.HELD else (action.rules,)
            heads = tuple(tuple(numbers.rules[name] for name in part) for part in parts) if by_people else ()
            until = None if by_people and action.manner is Manner.ONCE else number(action.until)
    slips = _slips_at(audit, (at,))
    known = tuple(_known(numbers, one, one.slip.text) for one in slips if one.slip.instead is not None)
    return ExerciseStep(
        at + 1,
        part,
        action.action.text,
        (),
        (),
        heads,
        tuple(range(1, at + 1)),
        known,
        _omitted(slips),
        _left_off(slips),
        None,
        until,
        check,
    )


def _slips_at(audit: Audit, actions: Collection[int]) -> tuple[SlipResult, ...]:
    return () if audit.slips is None else tuple(one for one in audit.slips.results if one.slip.action in actions)


def _known(numbers: Numbers, one: SlipResult, said: str) -> KnownSlip:
    assert one.slip.instead is not None  # noqa: S101 -- only of slips in which something else is done
    kind, rules = one.slip.kind, tuple(sorted(numbers.rules[name] for name in one.slip.instead.rules))
    swaps = kind is SlipKind.SWAPPED
    return KnownSlip(said, say(kind.word), kind.mode, rules, say(one.effect.value), one.hazards, swaps)


def _omitted(slips: Iterable[SlipResult]) -> OmittedSlip | None:
    return _worst(slips, SlipKind.OMITTED, SlipKind.UNCHECKED)


def _left_off(slips: Iterable[SlipResult]) -> OmittedSlip | None:
    return _worst(slips, SlipKind.INCOMPLETE)


def _worst(slips: Iterable[SlipResult], *kinds: SlipKind) -> OmittedSlip | None:
    one = next((one for one in slips if one.slip.kind in kinds), None)
    return None if one is None else OmittedSlip(say(one.effect.value), one.hazards)
