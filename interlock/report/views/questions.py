"""Question sheets for a class: what can be done next, why nothing moves, which step is out of order.

Questions come from a checklist and its audit; what is wrong in them is what people do wrong: slips that the hold does
not let be made, steps done too early, conditions that are not so.  Every right answer and every wrong one is judged by
the reference evaluator before it is printed.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from random import Random

from interlock.diagnostics.frozen import frozen
from interlock.diagnostics.said import joined, linked, perhaps_ours, say
from interlock.hold.compile.compiler import CompiledHold
from interlock.hold.origin import Depart, Means
from interlock.hold.tell import Reason, reasons
from interlock.kernel.evaluator import State, evaluate, fire
from interlock.kernel.expressions import And, Expr, Is, Not, Ref
from interlock.kernel.machine import Actor, Machine
from interlock.report.views.assumptions import CAUTIONS
from interlock.report.views.checklist_guards import instead_of
from interlock.report.views.checklist_words import instruction_of
from interlock.report.views.exercises import Rehearsed
from interlock.report.views.identified import Identified
from interlock.report.views.instructions import InstructionWriter
from interlock.report.views.wording import sentence
from interlock.study.checklist.audit import ChecklistAudit
from interlock.study.checklist.making import Checklist, Step
from interlock.study.checklist.operating import Refusal
from interlock.study.procedure.slip_audit import Effect, SlipResult
from interlock.study.procedure.slips import SlipKind

NEXT = say("What can be done next?")
STILL = say("Why does nothing move?")
ORDER = say("Which step stands too early?")
KINDS = (NEXT, STILL, ORDER)
CHOICES = 4
"""Answers to choose from."""
MOST_BACK = 8
"""Steps before a move of which one may be left out."""
LINES = 5
"""Steps of which one stands too early."""


@frozen
class Choice:
    """An answer to choose from, whether it is right, and why."""

    text: str
    right: bool
    because: str


@frozen
class SheetQuestion:
    """A question; `state` is shown as a plan, where there is one."""

    kind: str
    text: str
    choices: tuple[Choice, ...]
    state: State | None


@frozen
class SheetView:
    """A sheet: `seed` tells which of all sheets it is."""

    compiled: CompiledHold
    files: tuple[Identified, ...]
    cautions: tuple[str, ...]
    title: str
    seed: int
    questions: tuple[SheetQuestion, ...]


def sheet_view(files: Sequence[Identified], rehearsed: Rehearsed, seed: int, number: int) -> SheetView:
    """A sheet of up to so many questions, the kinds by turns; the same arguments give the same sheet."""
    asker = _Asker(rehearsed.made, rehearsed.audited, Random(seed))  # noqa: S311 -- which sheet it is, no secret
    pools = [asker.shuffled(list(make())) for make in (asker.next_steps, asker.stills, asker.orders)]
    questions: list[SheetQuestion] = []
    while len(questions) < number and any(pools):
        for pool in pools:
            if pool and len(questions) < number:
                questions.append(pool.pop())
    return SheetView(rehearsed.made.compiled, tuple(files), CAUTIONS, rehearsed.told.facts.goal, seed, tuple(questions))


class _Asker:
    def __init__(self, made: Checklist, audited: ChecklistAudit, random: Random) -> None:
        self.made = made
        self.audited = audited
        self.random = random
        self.compiled = made.compiled
        self.machine: Machine = made.operation.asked
        self.writer = InstructionWriter(made.compiled)

    def shuffled(self, items: list[SheetQuestion]) -> list[SheetQuestion]:
        return sorted(items, key=lambda item: self.random.random())

    def _mixed(self, right: Choice, wrong: Sequence[Choice]) -> tuple[Choice, ...] | None:
        """The right answer among wrong ones that differ from it and from one another; None where these are too few."""
        others = {one.text: one for one in wrong if one.text != right.text}
        chosen = sorted(others.values(), key=lambda one: self.random.random())[: CHOICES - 1]
        if len(chosen) < CHOICES - 1:
            return None
        return tuple(sorted((right, *chosen), key=lambda one: self.random.random()))

    def _guards(self, head: str) -> list[Expr]:
        return [self.machine.rule(name).guard for name in self.compiled.origins.rules_of[head]]

    def _why_not(self, head: str, state: State) -> str | None:
        """Why a deed cannot be done in the state; None where it can."""
        guards = self._guards(head)
        if any(evaluate(self.machine, guard, state) for guard in guards):
            return None
        told = reasons(self.machine, self.compiled.glossary, guards[0], state, 1)
        return joined(list(map(_with_cause, told)), "; ") or say("it cannot be done there")

    # ---- what can be done next

    def next_steps(self) -> Iterator[SheetQuestion]:
        for step in self.made.steps:
            heads = step.execution.deed.heads
            state = step.execution.before
            if not heads or self._why_not(heads[0], state) is not None:
                continue
            wrong = [*self._slips_refused(step, state), *self._later_refused(step, state)]
            because = say("It is step {number} of the checklist.", number=step.number)
            right = Choice(instruction_of(self.writer, step), True, because)
            choices = self._mixed(right, wrong)
            if choices is not None:
                text = say("The hold is as drawn. Which of these can be done now?")
                yield SheetQuestion(NEXT, text, choices, state)

    def _slips_refused(self, step: Step, state: State) -> Iterator[Choice]:
        for one in self.audited.slips_at(step.number):
            if one.slip.instead is None or not one.slip.instead.rules:
                continue
            head = self.compiled.origins.deed_of(one.slip.instead.rules[0]).name
            why = self._why_not(head, state)
            if why is not None:
                because = sentence(say("not possible: {why}", why=why))
                yield Choice(sentence(instead_of(self.writer, step, one.slip)), False, because)

    def _later_refused(self, step: Step, state: State) -> Iterator[Choice]:
        for later in self.made.steps[step.number :]:
            if later.execution.deed.heads:
                why = self._why_not(later.execution.deed.heads[0], state)
                if why is not None:
                    because = sentence(say("not possible yet: {why}", why=why))
                    yield Choice(instruction_of(self.writer, later), False, because)

    # ---- why nothing moves

    def stills(self) -> Iterator[SheetQuestion]:
        """Some step has been left out; a lever is held all the same, and the drive does not carry the unit."""
        for step in self.made.steps:
            moves = [name for name in step.execution.rules if self._is_drive(name)]
            heads = step.execution.deed.heads
            if not moves or not heads:
                continue
            for left_out in reversed(self.made.steps[max(0, step.number - 1 - MOST_BACK) : step.number - 1]):
                state = self._without(left_out, step)
                found = None if state is None else self._still(left_out, heads[0], moves[0], state)
                if found is not None:
                    yield found

    def _without(self, left_out: Step, step: Step) -> State | None:
        """The state before a step if an earlier one is left out; None where the steps between cannot be done then."""
        state = left_out.execution.before
        for between in self.made.steps[left_out.number : step.number - 1]:
            done = self.made.operation.perform(state, between.execution.deed)
            if isinstance(done, Refusal):
                return None
            state = done.after
        return state

    def _is_drive(self, rule: str) -> bool:
        deed = self.compiled.origins.deed_of(rule)
        return isinstance(deed, Depart) and deed.means is Means.DRIVE

    def _still(self, left_out: Step, head: str, move: str, before: State) -> SheetQuestion | None:
        names = self.compiled.origins.rules_of[head]
        held = next((name for name in names if evaluate(self.machine, self.machine.rule(name).guard, before)), None)
        if held is None or self.machine.rule(held).actor is not Actor.CREW:
            return None
        state = fire(self.machine, self.machine.rule(held), before)
        parts = _parts(self.machine, self.compiled, self.machine.rule(move).guard)
        lacking = [part for part in parts if not evaluate(self.machine, part, state)]
        if not lacking or all(map(_is_fact, lacking)):
            return None
        told = [one for part in lacking for one in reasons(self.machine, self.compiled.glossary, part, state, 2)]
        # that a unit is elsewhere can be seen on the plan: nobody has to think about it
        others = [self._opposite(part) for part in sorted(parts, key=_is_fact) if evaluate(self.machine, part, state)]
        if not told:
            return None
        why = joined(
            [
                say("That is so: {text}.", text=_with_cause(told[0])),
                *(say("Besides, {text}.", text=_with_cause(one)) for one in told[1:]),
                say(
                    "Step {number} was left out: {text}",
                    number=left_out.number,
                    text=instruction_of(self.writer, left_out),
                ),
            ]
        )
        right = Choice(sentence(told[0].text), True, why)
        others = others[: max(2 * CHOICES, sum(not _is_fact(part) for part in parts) - 1)]
        wrong = [
            Choice(sentence(text), False, say("That is not so in this hold as it is drawn.")) for text in others if text
        ]
        choices = self._mixed(right, wrong)
        if choices is None:
            return None
        what = self.compiled.glossary.rules[held].text
        moves = self.compiled.glossary.rules[move].text
        text = say(
            "The hold is as drawn. Somebody does this: {what}. What should happen, but does not: {moves}. Why?",
            what=what,
            moves=moves,
        )
        return SheetQuestion(STILL, text, choices, state)

    def _opposite(self, part: Expr) -> str:
        """What would be said if the part were not so; empty where there is no word for it."""
        glossary, wanted = self.compiled.glossary, True
        while isinstance(part, Not):
            part, wanted = part.arg, not wanted
        if isinstance(part, Ref) and part.signal in glossary.signals:
            return glossary.signals[part.signal][1 if wanted else 0]
        if isinstance(part, Is):
            values = [part.value] if not wanted else [v for v in self.machine.domains[part.variable] if v != part.value]
            return next(
                (glossary.values[part.variable, v] for v in values if (part.variable, v) in glossary.values), ""
            )
        return ""

    # ---- which step stands too early

    def orders(self) -> Iterator[SheetQuestion]:
        slips = () if self.audited.audit.slips is None else self.audited.audit.slips.results
        for one in slips:
            if one.slip.kind is SlipKind.SWAPPED and one.effect not in (Effect.HARMLESS, Effect.UNNOTICED):
                found = self._order(one)
                if found is not None:
                    yield found

    def _order(self, one: SlipResult) -> SheetQuestion | None:
        first, second = (self.audited.step_of(one.slip.action + at) for at in (1, 2))
        if first is None or second is None or second != first + 1:
            return None
        if any(self.audited.steps.count(number) != 1 for number in (first, second)):
            return None  # the audit has swapped parts of them only
        steps = self.made.steps
        low = max(0, min(first - 1 - (LINES - 2) // 2, len(steps) - LINES))
        shown = list(steps[low : low + LINES])
        if len(shown) < LINES:
            return None
        at = first - 1 - low
        shown[at], shown[at + 1] = shown[at + 1], shown[at]
        texts = [instruction_of(self.writer, step) for step in shown]
        if len(set(texts)) < len(texts):
            return None
        effect = say(one.effect.value)
        if one.hazards:
            hazards = joined([self._hazard(id) for id in one.hazards], "; ")
            effect = say("{effect} ({hazards})", effect=effect, hazards=hazards)
        because = joined(
            [
                say("It needs the step below it first."),
                say("The worst that the audit found of it: {effect}.", effect=effect),
            ]
        )
        stands = say("It stands where the checklist has it.")
        choices = (Choice(text, place == at, because if place == at else stands) for place, text in enumerate(texts))
        # the one that was to come first stands too late, not too early
        return SheetQuestion(ORDER, say("In these steps one stands too early. Which?"), tuple(choices), None)

    def _hazard(self, id: str) -> str:
        hazard = next(one.origin.hazard for one in self.compiled.instances if one.requirement.id == id).rstrip(".")
        return perhaps_ours(hazard) or hazard


def _with_cause(reason: Reason) -> str:
    """A sentence with what makes it so, one level deep."""
    if not reason.because:
        return reason.text
    return say("{text}, since {because}", text=reason.text, because=linked([one.text for one in reason.because]))


def _is_fact(part: Expr) -> bool:
    """It says what a variable is, and nothing that has to be worked out."""
    while isinstance(part, Not):
        part = part.arg
    return isinstance(part, Is)


def _parts(machine: Machine, compiled: CompiledHold, guard: Expr) -> list[Expr]:
    """The conditions of a guard that are each told by a sentence, signals without a word opened."""
    found: list[Expr] = []
    waiting = [guard]
    while waiting:
        part = waiting.pop(0)
        if isinstance(part, And):
            waiting = [*part.args, *waiting]
        elif isinstance(part, Ref) and part.signal not in compiled.glossary.signals:
            waiting.insert(0, machine.definitions[part.signal])
        else:
            found.append(part)
    return found
