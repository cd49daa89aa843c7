"""Why something can never be: the smallest sets of hindrances without which it could, and the run that then exists.

Hindrances are contacts in circuits and conditions, stops of devices, panels, reach, and things that are fixed
(`hold.hindrances`).  What else keeps it from being, a bay that is too small or a device that is not there, is none:
where it could not be without any hindrance either, that is what is said.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from time import monotonic

from interlock.confirm.confirm import confirm
from interlock.confirm.enabling import confirm_enabling
from interlock.hold.compile.compiler import CompiledHold, ease_goal, ease_hold
from interlock.hold.compile.requirements import Instance
from interlock.hold.hands import hands_of
from interlock.hold.hindrances import Hindrances, ToldHindrance
from interlock.hold.origin import Contact, Cover, Fixed, Hindrance, Reach, Stop
from interlock.hold.tell import Story, tell
from interlock.kernel.claims import Certificate, Fails, Holds, Limits, ProgressCallback, silent
from interlock.kernel.enabling import Enabled, EnablingQuestion, Way, started_with
from interlock.kernel.evaluator import as_mapping
from interlock.kernel.expressions import TRUE, Expr
from interlock.kernel.machine import Machine, RequirementKind, Variable, question_of, with_monitors
from interlock.kernel.recovery import HasDeadEnd, recovery_question_of, without_failures
from interlock.prove.decide import decide
from interlock.prove.enabling.enabling import enable
from interlock.prove.following import Burden, Handling, easier
from interlock.study.verify import Answer, Status, Verification

SECONDS = 8.0
"""How long that is looked for where nobody asks for it."""
MOST_WAYS = 8
"""Sets that are looked for where not all are asked for."""
_FIRST: tuple[type[Hindrance], ...] = (Fixed, Contact, Cover, Reach, Stop)
"""What is told first among sets of one size."""


@dataclass(frozen=True, slots=True)
class Without:
    """A smallest set of hindrances without which it could be, the run that then exists, and what else then could be.

    `also` are requirements that fail as the first one does and whose runs were found and replayed too.
    """

    hindrances: tuple[ToldHindrance, ...]
    story: Story
    steps: int
    also: tuple[Instance, ...]


@dataclass(frozen=True, slots=True)
class WhyNever:
    """What keeps something from ever being: a requirement by its id, or a goal.

    `ways` are all smallest sets of at most `size` hindrances (None: of any number; -1: nothing was found out), and
    perhaps some larger ones; `reason` says why not all.  `possible` is how many hindrances there are in all, and
    `checked_by` what agreed that there are no other sets.
    """

    id: str
    ways: tuple[Without, ...]
    size: int | None
    reason: str
    possible: int
    checked_by: str


def why_never(
    verification: Verification,
    every: bool = False,
    seconds: float | None = None,
    report: ProgressCallback = silent,
) -> tuple[WhyNever, ...]:
    """Of everything that fails because it can never be, why; what has one cause with something before it is told there.

    `every`: sets of all sizes, else only the smallest size that is found, and of those not more than MOST_WAYS.  After
    `seconds` nothing more is looked for: what then lacks an answer, or is not followed to its end, is left so.
    """
    failing = [answer for answer in verification.answers if _is_never(answer)]
    if not failing:
        return ()
    eased = ease_hold(verification.compiled, [answer.instance for answer in failing])
    study = _Study(eased, every, None if seconds is None else monotonic() + seconds, report)
    return tuple(study.run(failing, verification.machine))


def why_goal_never(
    compiled: CompiledHold,
    goal: Expr,
    known: Certificate | None = None,
    seconds: float | None = SECONDS,
    report: ProgressCallback = silent,
) -> WhyNever | None:
    """The same of a goal that no run of the hold reaches, as `known` may prove; None where nothing was found out."""
    eased, wanted = ease_goal(compiled, goal)
    study = _Study(eased, False, None if seconds is None else monotonic() + seconds, report)
    return study.why("goal", study.machine, wanted, known, [])


def _is_never(answer: Answer) -> bool:
    if answer.status is not Status.FAILS:
        return False
    return isinstance(answer.finding, HasDeadEnd) or answer.instance.requirement.kind is RequirementKind.CAN


class _Study:
    def __init__(self, eased: CompiledHold, every: bool, end: float | None, report: ProgressCallback) -> None:
        self.eased = eased
        self.machine = with_monitors(eased.machine)
        self.hindrances = Hindrances(eased)
        self.asked = {one.requirement.id: one.requirement for one in eased.instances}
        self.changing = {change.span.file for change in eased.hold.changes}
        self.every = every
        self.end = end
        self.report = report

    def run(self, failing: Sequence[Answer], plain: Machine) -> Iterator[WhyNever]:
        """One after the other, but for those that were told of with one before; `plain` is the machine as described."""
        waiting = list(failing)
        while waiting and not self._is_over():
            first, *waiting = waiting
            requirement = self.asked[first.instance.requirement.id]
            if isinstance(first.finding, HasDeadEnd):
                machine = self._from_dead_end(first.finding, plain)
                goal = recovery_question_of(requirement).goal
                found = self.why(requirement.id, machine, goal, first.finding.claim.certificate, [])
            else:
                target = question_of(self.machine, requirement).target
                known = first.finding.claim.certificate if isinstance(first.finding, Holds) else None
                others = [one.instance for one in waiting if not isinstance(one.finding, HasDeadEnd)]
                found = self.why(requirement.id, self.machine, target, known, others)
            if found is not None:
                yield found
                told = {instance.requirement.id for way in found.ways for instance in way.also}
                waiting = [one for one in waiting if one.instance.requirement.id not in told]

    def why(
        self, id: str, machine: Machine, target: Expr, known: Certificate | None, others: Sequence[Instance]
    ) -> WhyNever | None:
        """Why the target is out of reach, and which of the others then were in reach; None: nothing was found out."""
        question = EnablingQuestion(id, target, self.hindrances.options)
        most = None if self.every else MOST_WAYS
        claim = enable(machine, question, decide, self._limits(0.7), self.report, most, self.every, known)
        claim = replace(claim, ways=tuple(self._followable(machine, way) for way in claim.ways))
        finding = confirm_enabling(machine, question, claim, self._seconds(1), self.report)
        if not isinstance(finding, Enabled) or claim.size == -1 or any(not way.options for way in claim.ways):
            return None
        ways = []
        helped = {way.options: tuple(self._also(way, others)) for way in claim.ways}
        for way in sorted(claim.ways, key=lambda way: self._order(way, len(helped[way.options]))):
            story = tell(machine, self.eased.glossary, way.trace, target)
            also = tuple(one for one in helped[way.options] if one in others)
            others = [one for one in others if one not in also]
            told = tuple(map(self.hindrances.told, way.options))
            ways.append(Without(told, story, way.trace.depth, also))
        possible = len(self.hindrances.options)
        return WhyNever(id, tuple(ways), claim.size, claim.reason, possible, finding.checked_by)

    def _followable(self, machine: Machine, way: Way) -> Way:
        """The run with its levers held as briefly as may be."""
        hands = hands_of(self.eased)
        begun = started_with(machine, self.hindrances.options, way.options)
        return replace(way, trace=easier(begun, way.trace, Burden(begun, Handling(hands.held, hands.enough))))

    def _order(self, way: Way, helped: int) -> tuple[int, bool, int, list[int]]:
        """Small sets first, what a modification says before what it left as it was, what helps most else."""
        told = [self.hindrances.told(option) for option in way.options]
        kinds = sorted(_FIRST.index(type(one.hindrance)) for one in told)
        return len(told), not any(one.span.file in self.changing for one in told), -helped, kinds

    def _also(self, way: Way, others: Sequence[Instance]) -> Iterator[Instance]:
        """What else is possible without these hindrances."""
        begun = started_with(self.machine, self.hindrances.options, way.options)
        of = {one.requirement.id: one for one in others}
        asked = [replace(question_of(begun, self.asked[id]), expects_run=True) for id in of]
        claims = decide(begun, asked, self._limits(0.5), self.report) if asked else ()
        for finding in confirm(begun, asked, claims, self._seconds(1), self.report):
            if isinstance(finding, Fails):
                yield of[finding.question]

    def _from_dead_end(self, finding: HasDeadEnd, plain: Machine) -> Machine:
        """What can still be from the dead end on, unless something fails."""
        state = as_mapping(plain, finding.claim.trace.states[-1])
        machine = self.eased.machine
        variables = tuple(
            Variable(one.name, one.domain, (state[one.name],)) if one.name in state else one
            for one in machine.variables
        )
        return without_failures(Machine(variables, machine.signals, machine.rules, (), TRUE))

    def _is_over(self) -> bool:
        return self.end is not None and monotonic() >= self.end

    def _seconds(self, part: float) -> float | None:
        return None if self.end is None else part * max(0.0, self.end - monotonic())

    def _limits(self, part: float) -> Limits:
        return Limits(seconds=self._seconds(part))
