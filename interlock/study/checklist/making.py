"""From a goal to a checklist: deeds in an order that is proved, and which orders are free.

What is proved of a checklist, each by the kernel's reference evaluator or by looking at every sequence in which the
equipment can act: every deed is possible when its turn comes; the equipment then comes to rest in the one state that
the checklist tells (legs that are marked `timed` excepted); no requirement breaks on the way; the last state of every
leg satisfies the goal of the leg.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import TypeAlias

from interlock.confirm.confirm import confirm
from interlock.confirm.replay import replay
from interlock.diagnostics.said import say
from interlock.hold.compile.compiler import CompiledHold
from interlock.hold.origin import Sort, Work
from interlock.kernel.claims import Disputed, Finding, Holds, Limits, Progress, ProgressCallback, silent
from interlock.kernel.evaluator import State, evaluate
from interlock.kernel.expressions import Expr, conj, disj
from interlock.kernel.machine import Question, question_of
from interlock.prove.decide import decide
from interlock.prove.engine import Clock, clock_of, stop_reason
from interlock.study.checklist.detours import Part, without_detours
from interlock.study.checklist.free_orders import Freedom, freedom_of
from interlock.study.checklist.goals import Aim, Goal, aims_of, joined, powered
from interlock.study.checklist.nearest_goals import Nearest, find_nearest
from interlock.study.checklist.operating import Deed, Execution, Operation, Refusal, trace_of
from interlock.study.checklist.planning import perform_all, plan_deeds, shorten
from interlock.study.checklist.shortness import Shortness, shortness_of
from interlock.study.checklist.timed import plan_timed
from interlock.study.why_never import SECONDS, WhyNever, why_goal_never

NAME = "checklist"
QUICK = 200
THOROUGH = 1_500
"""States at rest that a search looks beyond; a leg that can be planned at all seldom needs a hundred."""
SOON = 30.0
"""Seconds for the proof that a goal is out of reach, and for confirming it, where no time was named."""


@dataclass(frozen=True, slots=True)
class Step:
    """One deed of the checklist, numbered from 1 through all legs."""

    number: int
    execution: Execution


@dataclass(frozen=True, slots=True)
class PlannedLeg:
    """A way to one aim; `goal` is the one of the aim's goals that it reaches.

    `timed`: some step must be taken at the right moment, while the equipment moves; nothing is then said about other
    moments, other orders or slips.
    """

    aim: Aim
    goal: Expr
    start: State
    executions: tuple[Execution, ...]
    timed: bool

    @property
    def end(self) -> State:
        """The state after the last step."""
        return self.executions[-1].after if self.executions else self.start


@dataclass(frozen=True, slots=True)
class Leg(PlannedLeg):
    """The same with its steps numbered, and how short and how free their order is."""

    steps: tuple[Step, ...]
    shortness: Shortness
    freedom: Freedom


@dataclass(frozen=True, slots=True)
class Check:
    """What the reference evaluator looked at again: states of the run and requirements in each of them."""

    states: int
    requirements: int


@dataclass(frozen=True, slots=True)
class Checklist:
    """A checklist that stands; `start` is where it begins."""

    compiled: CompiledHold
    operation: Operation
    goal: Goal
    start: State
    legs: tuple[Leg, ...]
    check: Check

    @property
    def steps(self) -> tuple[Step, ...]:
        """All steps, in order."""
        return tuple(step for leg in self.legs for step in leg.steps)

    @property
    def in_turn(self) -> tuple[tuple[Leg, Leg | None], ...]:
        """Each leg with the one that follows it; None follows the last."""
        return tuple(zip(self.legs, (*self.legs[1:], None), strict=True))


@dataclass(frozen=True, slots=True)
class NoChecklist:
    """Why there is none.

    `aim` is the leg that could not be planned.  `finding` says whether its goal can be reached at all (Holds: it
    cannot, whatever anybody does).  `broken` are requirements that every plan found would break on the way.
    `nearest` is another goal in its place for which a plan was found; `why` is what keeps the goal from ever being.
    """

    compiled: CompiledHold
    goal: Goal
    aim: Aim | None
    finding: Finding | None
    broken: tuple[str, ...]
    reason: str
    nearest: Nearest | None = None
    why: WhyNever | None = None


Result: TypeAlias = Checklist | NoChecklist


def make_checklist(
    compiled: CompiledHold,
    goal: Goal,
    limits: Limits = Limits(),  # noqa: B008 -- frozen
    report: ProgressCallback = silent,
    aboard: Goal | None = None,
) -> Result:
    """Plans, shortens, checks and examines; `aboard` is brought about first, and the checklist begins after it.

    Raises GoalFault for a goal that makes no sense for this hold.  The same call gives the same result, unless a
    limit in seconds cuts it short.
    """
    clock = clock_of(limits)
    work = _ListMaker(compiled, clock, report, limits)
    start = work.begin()
    if isinstance(start, NoBeginning):
        return NoChecklist(compiled, goal, None, None, start.broken, start.reason)
    before: list[Execution] = []
    if aboard is not None:
        planned = work.plan(aboard, start)
        if isinstance(planned, NoChecklist):
            return planned
        before = [execution for one in planned for execution in one.executions]
        start = before[-1].after if before else start
    planned = work.plan(goal, start)
    if isinstance(planned, NoChecklist):
        return replace(planned, nearest=work.nearest(goal, planned, start))
    return work.finish(goal, start, before, work.direct(start, planned))


@dataclass(frozen=True, slots=True)
class NoBeginning:
    """Why no work begins as the hold starts, and the requirements that are broken there."""

    reason: str
    broken: tuple[str, ...] = ()


_NO_BEGINNING = {
    Refusal.BREAKS: "a requirement is broken at the start, before anybody does anything",
    Refusal.DEPENDS: "at the start it depends on timing where the equipment comes to rest",
    Refusal.NEVER_RESTS: "at the start the equipment never comes to rest",
}


class _ListMaker:
    """One hold while checklists are made for it."""

    def __init__(self, compiled: CompiledHold, clock: Clock, report: ProgressCallback, limits: Limits) -> None:
        self.compiled = compiled
        self.clock = clock
        self.limits = limits
        self.report = report
        self.operation = Operation(compiled)
        self.waited: tuple[Execution, ...] = ()

    def begin(self) -> State | NoBeginning:
        """Where the crew begins, after what the equipment does by itself."""
        first = self.operation.start()
        if first is None:
            return NoBeginning("the description leaves no way to start")
        settled = self.operation.settle(first)
        if isinstance(settled, Refusal):
            broken = self.operation.broken_by_itself(first) if settled is Refusal.BREAKS else ()
            return NoBeginning(_NO_BEGINNING[settled], broken)
        self.waited = (settled,)
        return settled.after

    def plan(self, goal: Goal, start: State) -> list[PlannedLeg] | NoChecklist:
        planned: list[PlannedLeg] = []
        for found in self._legs(goal, start, thorough=True):
            if isinstance(found, Aim):
                return self._why_not(goal, found, planned[-1].end if planned else start)
            planned.append(found)
        return planned

    def direct(self, start: State, planned: list[PlannedLeg]) -> list[PlannedLeg]:
        """The legs without what all of them together can do without."""
        if any(one.timed for one in planned):
            return planned
        parts = [Part(tuple(execution.deed for execution in one.executions), one.goal) for one in planned]
        found: list[PlannedLeg] = []
        state = start
        for one, part in zip(planned, without_detours(self.operation, start, parts, self.clock), strict=True):
            executions = perform_all(self.operation, state, part.deeds)
            if executions is None:
                return planned
            found.append(replace(one, start=state, executions=executions))
            state = found[-1].end
        return found

    def _legs(self, goal: Goal, start: State, thorough: bool) -> Iterator[PlannedLeg | Aim]:
        """Plans for the legs one after the other; at the first that is not found its aim, and no more."""
        aims = list(aims_of(self.compiled, goal, start))
        legs = len(aims)
        state = start
        while aims:
            if thorough:
                self.report(Progress(NAME, "planning", legs - len(aims), legs))
            found, used = self._next(aims, state, thorough)
            if found is None:
                yield aims[0]
                return
            yield found
            del aims[:used]
            state = found.end

    def nearest(self, goal: Goal, found: NoChecklist, start: State) -> Nearest | None:
        """A goal near to one that could not be planned."""
        if found.aim is None or isinstance(found.finding, Disputed) or self.clock.is_over():
            return None
        self.report(Progress(NAME, "looking for a goal near to it"))
        return find_nearest(self.compiled, goal, found.aim, start, self._end_of)

    def _end_of(self, goal: Goal, start: State) -> State | None:
        """Where a plan for the goal ends, if one is soon found."""
        state = start
        for found in self._legs(goal, start, thorough=False):
            if isinstance(found, Aim):
                return None
            state = found.end
        return state

    def _next(self, aims: Sequence[Aim], state: State, thorough: bool) -> tuple[PlannedLeg | None, int]:
        """A plan for the first aim, or for the first two together; and how many aims it serves."""
        found = self._plan(aims[0], state, thorough=False)
        if found is not None:
            return found, 1
        if aims[0].what == "unload" and len(aims) > 1 and aims[1].what == "unload":
            both = joined(self.compiled, aims[0], aims[1])
            found = None if both.via is None else self._plan(both, state, thorough=False)
            if found is not None:
                return found, 2
        return (self._plan(aims[0], state, thorough=True) if thorough else None), 1

    def _plan(self, aim: Aim, start: State, thorough: bool) -> PlannedLeg | None:
        """A plan for the leg; where it may, one that makes doors safe before the power goes off."""
        if aim.what == "shut" and aim.via is not None:
            return self._planned(aim, start, thorough) or self._planned(replace(aim, via=None), start, thorough)
        found = self._planned(aim, start, thorough)
        return found if found is None or found.timed or aim.what != "load" else self._powered(found)

    def _powered(self, leg: PlannedLeg) -> PlannedLeg:
        """The leg with another last deed, where its last turns more power off than another one that does as well.

        The door is to be made safe with the power still on.
        """
        if not leg.executions or not self._turns_off(leg.executions[-1]):
            return leg
        operation, before = self.operation, leg.executions[-1].before
        meets = operation.test_of(leg.goal)
        best = leg.executions[-1]
        for deed in operation.choices(operation.packing.pack(before)):
            done = operation.perform(before, deed)
            if isinstance(done, Refusal) or not meets(operation.packing.pack(done.after)):
                continue
            best = max(best, done, key=lambda one: len(self._on(one.after)))
        return replace(leg, executions=(*leg.executions[:-1], best))

    def _on(self, state: State) -> list[Expr]:
        """The power circuits that are on."""
        return [on for on in powered(self.compiled) if evaluate(self.compiled.machine, on, state)]

    def _turns_off(self, execution: Execution) -> bool:
        """Some power circuit is on before and off after it."""
        after = self._on(execution.after)
        return any(on not in after for on in self._on(execution.before))

    def _planned(self, aim: Aim, start: State, thorough: bool) -> PlannedLeg | None:
        """A plan for the leg, by way of what must be so in between, and without what turns out not to be needed."""
        first: tuple[Execution, ...] = ()
        timed = False
        state = start
        if aim.via is not None:
            half = self._stage(aim, (aim.via,), start, thorough)
            if half is None:
                return None
            first, timed, state = half.executions, half.timed, half.end
        rest = self._stage(aim, aim.goals, state, thorough)
        if rest is None:
            return None
        executions = (*first, *rest.executions)
        timed = timed or rest.timed
        if not timed:
            deeds = shorten(
                self.operation, start, tuple(execution.deed for execution in executions), rest.goal, self.clock
            )
            executions = perform_all(self.operation, start, deeds) or executions
        return PlannedLeg(aim, rest.goal, start, executions, timed)

    def _stage(self, aim: Aim, goals: tuple[Expr, ...], start: State, thorough: bool) -> PlannedLeg | None:
        """Tries what is most orderly first: what stands right stays put, both hands are free, nothing is in a hurry."""
        if self.clock.is_over():
            return None
        near = aim.loosened(self.compiled)
        ways = ((near, False, THOROUGH), (aim.standing, True, QUICK)) if thorough else ((aim.standing, False, QUICK),)
        for kept, halves, most in ways:
            for goal in goals:
                deeds = plan_deeds(self.operation, start, goal, self.clock, kept, aim.barred, halves, most)
                executions = None if deeds is None else perform_all(self.operation, start, deeds)
                if executions is not None:
                    return PlannedLeg(aim, goal, start, executions, False)
        for goal in goals if thorough else ():
            timed = plan_timed(self.operation, start, goal, self.clock, aim.standing, aim.barred)
            if timed is not None:
                return PlannedLeg(aim, goal, start, timed, True)
        return None

    def _why_not(self, goal: Goal, aim: Aim, start: State) -> NoChecklist:
        """Whether the goal is out of reach for good, or only by keeping to the requirements, or only not found."""
        compiled, clock = self.compiled, self.clock
        if clock.is_over():
            return NoChecklist(compiled, goal, aim, None, (), self._why_stopped())
        loose = self.operation.loosened()
        heedless = plan_deeds(loose, start, aim.goals[-1], clock, aim.standing, aim.barred, most=QUICK)
        if heedless is not None:
            broken = _broken_by(loose, start, heedless)
            return NoChecklist(
                compiled, goal, aim, None, broken, say("a requirement breaks on every way that was found")
            )
        question = Question("goal", aim.goals[-1], expects_run=True)
        machine = self.operation.asked

        def left() -> float | None:
            return SOON if clock.end is None else clock.seconds_left()

        claims = decide(machine, (question,), replace(self.limits, seconds=left()), self.report)
        findings = confirm(machine, (question,), claims, left())
        finding = findings[0]
        why = None
        if isinstance(finding, Holds):
            reason: str = say("no sequence of steps reaches the goal, whatever anybody does")
            seconds = SECONDS if clock.end is None else min(SECONDS, left() or 0.0)
            why = why_goal_never(compiled, question.target, finding.claim.certificate, seconds, self.report)
        elif isinstance(finding, Disputed):
            reason = say("two parts of this program contradict each other")
        elif clock.is_over():
            reason = self._why_stopped()
        else:
            reason = say("no way was found, neither with the equipment at rest before each step nor while it moves")
        return NoChecklist(compiled, goal, aim, finding, (), reason, why=why)

    def _why_stopped(self) -> str:
        """The seconds are left out: part of them may have gone before the limits were made."""
        return stop_reason(replace(self.limits, seconds=None), self.clock)

    def finish(self, goal: Goal, start: State, before: Sequence[Execution], planned: Sequence[PlannedLeg]) -> Result:
        legs = []
        number = 0
        for at, one in enumerate(planned):
            self.report(Progress(NAME, "examining orders", at, len(planned)))
            steps = [Step(number + place, execution) for place, execution in enumerate(one.executions, 1)]
            number += len(steps)
            fixed = self._safe_first(one)
            freedom = freedom_of(self.operation, one.start, one.executions, one.timed, self.clock, fixed)
            shortness = shortness_of(self.operation, one.start, one.goal, one.executions, one.timed, self.clock)
            way = one.aim, one.goal, one.start, one.executions, one.timed
            legs.append(Leg(*way, tuple(steps), shortness, freedom))
        whole = (*self.waited, *before, *(execution for one in planned for execution in one.executions))
        check = self._check(whole, planned)
        if isinstance(check, str):
            question = Question("goal", planned[-1].goal)
            claim = decide(self.operation.asked, (question,), Limits(depth=0))[0]
            return NoChecklist(self.compiled, goal, None, Disputed("goal", claim, check), (), check)
        return Checklist(self.compiled, self.operation, goal, start, tuple(legs), check)

    def _safe_first(self, leg: PlannedLeg) -> frozenset[tuple[int, int]]:
        """Pairs of steps of a leg that shuts: what is done to a door, and the power that goes off after it."""
        if leg.aim.what != "shut":
            return frozenset()
        doors = [at for at, one in enumerate(leg.executions) if self._is_of_door(one)]
        off = [at for at, one in enumerate(leg.executions) if self._turns_off(one)]
        return frozenset((door, at) for door in doors for at in off if door < at)

    def _is_of_door(self, execution: Execution) -> bool:
        deeds = (self.compiled.origins.deed_of(rule) for rule in execution.rules)
        return any(isinstance(deed, Work) and deed.subject.sort is Sort.DOOR for deed in deeds)

    def _check(self, whole: tuple[Execution, ...], planned: Sequence[PlannedLeg]) -> Check | str:
        """The whole run once more by the reference evaluator, every standing requirement in every state of it."""
        self.report(Progress(NAME, "checking the whole run again", 0, None))
        machine = self.operation.asked
        trace = trace_of(whole)
        faults = replay(machine, planned[-1].goal if planned else conj(), trace)
        for one in planned:
            if not evaluate(machine, one.goal, one.end):
                faults.append("a leg ends in a state that does not satisfy its goal")
        standing = [r for r in machine.requirements if not r.kind.is_about_work]
        targets = [question_of(machine, r).target for r in standing if not r.kind.is_about_steps]
        anything = disj(*targets)
        seen = dict.fromkeys(trace.states)
        for at, state in enumerate(seen):
            if evaluate(machine, anything, state):
                faults.append(f"state {at} of the run breaks {', '.join(self.operation.broken_in(state))}")
        steps = {rule.name: number for number, rule in enumerate(self.operation.machine.rules)}
        for name, state in zip(trace.rules, trace.states, strict=False):
            if self.operation.forbidden_now(steps[name], self.operation.packing.pack(state)):
                faults.append(f"step {name!r} breaks a requirement")
        return "; ".join(faults[:3]) if faults else Check(len(seen), len(standing))


def _broken_by(loose: Operation, start: State, deeds: Sequence[Deed]) -> tuple[str, ...]:
    packed = loose.packing.pack(start)
    broken: dict[str, None] = {}
    for deed in deeds:
        broken.update(dict.fromkeys(loose.broken_by(packed, deed)))
        after = loose.outcome(packed, deed)
        if not isinstance(after, Refusal):
            packed = after
    return tuple(broken)
