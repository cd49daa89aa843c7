"""Exercises: somebody works the hold towards a goal, beside the checklist that is proved for it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from interlock.diagnostics.said import say
from interlock.report.views.checklist import ChecklistView
from interlock.report.views.checklist_facts import PartFacts, StepFacts
from interlock.report.views.checklist_guards import slip_words
from interlock.report.views.instructions import InstructionWriter
from interlock.report.views.working import Numbers
from interlock.study.checklist.audit import ChecklistAudit
from interlock.study.checklist.making import Checklist, Leg, Step
from interlock.study.procedure.slip_audit import SlipResult
from interlock.study.procedure.slips import SlipKind


@dataclass(frozen=True, slots=True)
class Rehearsed:
    """A checklist, its audit, and how it is told."""

    made: Checklist
    audited: ChecklistAudit
    told: ChecklistView


@dataclass(frozen=True, slots=True)
class Warned:
    """WARNING, CAUTION or NOTE before a step."""

    label: str
    text: str


@dataclass(frozen=True, slots=True)
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


@dataclass(frozen=True, slots=True)
class OmittedSlip:
    """What comes of leaving the step out."""

    effect: str
    hazards: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class ExerciseStep:
    """A step of the checklist.

    `heads` are the rules by which each half of it is done, in any way that mechanism can follow.  `after` are the
    numbers of the steps that must come before it.  `rest` is the state when all has come to rest after it.
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
    rest: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Exercise:
    """A goal, the row that is true once it is reached, and the steps that lead there."""

    title: str
    before: tuple[str, ...]
    start: tuple[int, ...]
    goal: int
    steps: tuple[ExerciseStep, ...]


def exercise_of(numbers: Numbers, rehearsed: Rehearsed) -> Exercise:
    """The checklist as an exercise."""
    made, audited, told = rehearsed.made, rehearsed.audited, rehearsed.told
    maker = _Maker(numbers, made, audited)
    goal = numbers.rows.number(made.legs[-1].goal)
    start = numbers.state(made.operation.machine, made.start)
    steps: list[ExerciseStep] = []
    for leg, part in zip(made.legs, told.parts, strict=True):
        steps += maker.part(leg, part.facts, tuple(step.number for step in steps))
    return Exercise(told.facts.goal, told.facts.checklist.before, start, goal, tuple(steps))


@dataclass(frozen=True, slots=True)
class _Maker:
    numbers: Numbers
    made: Checklist
    audited: ChecklistAudit

    def part(self, leg: Leg, facts: PartFacts, earlier: tuple[int, ...]) -> Iterator[ExerciseStep]:
        for at, (step, told) in enumerate(zip(leg.steps, facts.steps, strict=True)):
            before = leg.freedom.before[at]
            needed = tuple(one.number for place, one in enumerate(leg.steps) if before >> place & 1)
            yield self._step(step, told, facts.title, (*earlier, *needed))

    def _step(self, step: Step, told: StepFacts, part: str, after: tuple[int, ...]) -> ExerciseStep:
        origins, rules = self.made.compiled.origins, self.numbers.rules
        slips = self.audited.slips_at(step.number)
        left_out = next((one for one in slips if one.slip.instead is None), None)
        return ExerciseStep(
            step.number,
            part,
            told.instruction,
            told.results,
            tuple(Warned(guard.label, guard.text) for guard in told.guards),
            tuple(tuple(rules[name] for name in origins.rules_of[head]) for head in step.execution.deed.heads),
            after,
            tuple(self._slip(one) for one in slips if one.slip.instead is not None),
            None if left_out is None else OmittedSlip(say(left_out.effect.value), left_out.hazards),
            self.numbers.state(self.made.operation.machine, step.execution.after),
        )

    def _slip(self, one: SlipResult) -> KnownSlip:
        assert one.slip.instead is not None  # noqa: S101 -- only of slips in which something else is done
        steps = {step.number: step for step in self.made.steps}
        said = slip_words(InstructionWriter(self.made.compiled), steps, self.audited, one.slip)
        rules = tuple(sorted(self.numbers.rules[name] for name in one.slip.instead.rules))
        kind = one.slip.kind
        effect = say(one.effect.value)
        swaps = kind is SlipKind.SWAPPED
        return KnownSlip(said, say(kind.word), kind.mode, rules, effect, one.hazards, swaps)
