"""In which configurations something can happen, or can no longer be brought about: found on the merged machine.

A run is followed in all configurations at once, so it answers for every one in which it is a run; what is left is
asked about again, until nothing more is found and one proof covers the rest.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cache, partial

from interlock.confirm.recovery import RecoveryFinding
from interlock.kernel.claims import (
    Disputed,
    Fails,
    Finding,
    Holds,
    Limits,
    ProgressCallback,
    Refuted,
    Trace,
    Undecided,
    Unknown,
)
from interlock.kernel.expressions import TRUE, Expr, Is, assign, conj, neg, signals_of, variables_of
from interlock.kernel.machine import Machine, Question, Variable
from interlock.kernel.recovery import (
    Entry,
    HasDeadEnd,
    Rank,
    Recoverable,
    Recovers,
    RecoveryClaim,
    RecoveryQuestion,
    without_failures,
)
from interlock.prove.decide import decide
from interlock.prove.engine import Clock, clock_of, share_of
from interlock.prove.invariants.lemmas import Lemmas, Remembered
from interlock.prove.recovery.recovery import recover, stage_name
from interlock.study.families.conditions import choice_of, so_in, where_possible
from interlock.study.families.configurations import Space
from interlock.study.recalling import Store, ask_by
from interlock.study.sessions import nobody

MOST_ROUNDS = 400
"""So many runs are looked for to one target, each in configurations that those before leave open."""


@dataclass(frozen=True, slots=True)
class Witness:
    """A run of the merged machine, and the configurations for which it answers."""

    configurations: int
    run: Trace


@dataclass(slots=True)
class Reached:
    """The configurations in which a target is reached, with runs that show it; in the others it is proved that it is
    not, unless there is a `reason` why that is open.  `checked_by` names what checked the proof again.
    """

    configurations: int = 0
    witnesses: list[Witness] = field(default_factory=list)
    reason: str = ""
    checked_by: str = ""
    disputed: str = ""

    def add(self, some: int, run: Trace) -> None:
        """Note a run that answers for these."""
        self.configurations |= some
        self.witnesses.append(Witness(some, run))


@dataclass(frozen=True, slots=True)
class _Advice:
    """Stages on the way to a goal, each with its measure, and cases by what `stage_name` calls their stage."""

    stages: tuple[tuple[Expr, Rank], ...]
    cases: Mapping[str, tuple[Entry, ...]]


def _recover(
    machine: Machine,
    questions: Sequence[RecoveryQuestion],
    limits: Limits,
    report: ProgressCallback,
    lemmas: Lemmas,
    advice: Callable[[], _Advice | None],
) -> tuple[RecoveryClaim, ...]:
    """As `recover`, by this advice first."""
    clock = clock_of(limits)
    given = advice()
    if given is not None:
        lemmas.remembered = Remembered(cases=given.cases)
        half = share_of(limits, clock, 0.5)
        claims = recover(machine, questions, half, report, [lambda _machine, _goal: given.stages], lemmas)
        lemmas.remembered = None
        if not any(isinstance(claim, Unknown) for claim in claims):
            return claims
    return recover(machine, questions, share_of(limits, clock), report, found=lemmas)


@dataclass(frozen=True, slots=True)
class Asking:
    """What asks: the machine, whose start leaves out what is not allowed, the space of its choices, and the limits.

    `plain` is the configuration without any option: its ways back are tried first in all others.
    """

    space: Space
    machine: Machine
    plain: Machine
    compiling: int
    limits: Limits
    report: ProgressCallback
    clock: Clock
    lemmas: Lemmas
    store: Store | None

    def reach(self, targets: Sequence[tuple[Expr, bool]]) -> list[Reached]:
        """For each target, and whether a run is expected, where it is reached."""
        found = [Reached() for _ in targets]
        left = list(range(len(targets)))
        for number in range(MOST_ROUNDS):
            left = [at for at in left if found[at].configurations != self.compiling]
            if not left:
                return found
            questions = [self._question(at, targets[at], found[at]) for at in left]
            # what the first round learnt, about all targets, serves the later ones and what asks for ways back
            findings = self._asked(self.machine, questions, self._after if number else self.lemmas)
            noted = zip(left, findings, strict=True)
            left = [at for at, finding in noted if self._noted(found[at], finding, targets[at][0])]
        for at in left:
            found[at].reason = f"after {MOST_ROUNDS} runs more were still found"
        return found

    def _question(self, at: int, target: tuple[Expr, bool], found: Reached) -> Question:
        expr, expected = target
        open_ones = so_in(self.space, self.compiling & ~found.configurations, ~self.compiling & self.space.everything)
        return Question(f"target {at}", conj(open_ones, expr) if found.configurations else expr, expected)

    @property
    def _after(self) -> Lemmas:
        return Lemmas(self.lemmas.found())

    def _asked(self, machine: Machine, questions: Sequence[Question], lemmas: Lemmas) -> list[Finding]:
        engine = partial(decide, found=lemmas, shortest=False)
        limits = share_of(self.limits, self.clock)
        found, _ = ask_by(self.store, machine, questions, (), limits, self.report, engine, nobody)
        return [found[question.id] for question in questions]

    def _noted(self, reached: Reached, finding: Finding, target: Expr) -> bool:
        """Whether to go on asking."""
        match finding:
            case Fails(claim=Refuted(trace=run)):
                some = where_possible(self.space, self.machine, run, target) & self.compiling
                reached.add(some, run)
                return True
            case Holds(checked_by=name):
                reached.checked_by = name
            case Undecided(reason=reason):
                reached.reason = reason
            case Disputed(what=what):
                reached.disputed = what
        return False

    def lose(self, goals: Sequence[Expr]) -> list[Reached]:
        """For each goal where it can be lost: some run leads to where it can no longer be brought about."""
        return [self._lost(goal) for goal in goals]

    def _lost(self, goal: Expr) -> Reached:
        found = Reached()
        advice = cache(partial(self._advice, goal))
        for _ in range(MOST_ROUNDS):
            left = self.compiling & ~found.configurations
            if not left:
                return found
            finding = self._way(self._starting_in(self.machine, left), goal, advice)
            match finding:
                case Recovers(checked_by=name):
                    found.checked_by = name
                    return found
                case HasDeadEnd(claim=claim):
                    found.add(self._dead(claim.trace, goal, left), claim.trace)
                case Undecided(reason=reason):
                    found.reason = reason
                    return found
                case Disputed(what=what):
                    found.disputed = what
                    return found
        found.reason = f"after {MOST_ROUNDS} dead ends more were still found"
        return found

    def _way(self, machine: Machine, goal: Expr, advice: Callable[[], _Advice | None]) -> RecoveryFinding:
        question = RecoveryQuestion("goal", goal)
        recoverer = partial(_recover, lemmas=self.lemmas, advice=advice)
        limits = share_of(self.limits, self.clock)
        _, found = ask_by(self.store, machine, (), [question], limits, self.report, decide, recoverer)
        return found[question.id]

    def _advice(self, goal: Expr) -> _Advice | None:
        """How the goal is come by without any option; None where it is not, is not asked, or that took too long."""
        none = {choice_of(option): False for option in self.space.options}
        wanted = assign(goal, none)
        if not (variables_of(wanted) <= set(self.plain.domains) and signals_of(wanted) <= set(self.plain.definitions)):
            return None
        clauses = [assign(clause, none) for clause in self.lemmas.found().clauses]
        known = Lemmas(Remembered(tuple(clause for clause in clauses if clause != TRUE)))
        question = RecoveryQuestion("goal", wanted)
        (claim,) = recover(self.plain, [question], share_of(self.limits, self.clock, 0.2), self.report, found=known)
        if not isinstance(claim, Recoverable):
            return None
        without = [neg(Is(choice, True)) for choice in none]
        before: Expr = TRUE
        *first, last = claim.recovery.stages
        stages, cases = (*first, replace(last, goal=goal)), {}
        for stage in stages:
            entries = [replace(entry, when=(*entry.when, *without)) for entry in stage.entries]
            cases[stage_name(before, stage.goal, stage.rank)] = tuple(entries)
            before = stage.goal
        return _Advice(tuple((stage.goal, stage.rank) for stage in stages), cases)

    def _starting_in(self, machine: Machine, some: int) -> Machine:
        so = so_in(self.space, some, ~self.compiling & self.space.everything)
        return Machine(machine.variables, machine.signals, machine.rules, (), conj(machine.start, so))

    def _dead(self, run: Trace, goal: Expr, left: int) -> int:
        """The configurations in which the run leads to where the goal can no longer be brought about."""
        own = self._configuration(run)
        some = where_possible(self.space, self.machine, run) & left
        for _ in range(MOST_ROUNDS):
            if some == own:
                return own
            there = self._restarted(run, some)
            (finding,) = self._asked(there, [Question("goal again", goal)], Lemmas())
            if isinstance(finding, Holds):
                return some
            if not isinstance(finding, Fails):
                return own
            back = where_possible(self.space, there, finding.claim.trace, goal)
            some = (some & ~back) | own
        return own

    def _configuration(self, run: Trace) -> int:
        state = dict(zip((one.name for one in self.machine.variables), run.states[0], strict=True))
        fitted = frozenset(option for option in self.space.options if state[choice_of(option)] is True)
        return self.space.alone(fitted)

    def _restarted(self, run: Trace, some: int) -> Machine:
        """The machine without failures that starts where the run ends, in any of these configurations."""
        choices = {choice_of(option) for option in self.space.options}
        variables = tuple(
            one if one.name in choices else Variable(one.name, one.domain, (value,))
            for one, value in zip(self.machine.variables, run.states[-1], strict=True)
        )
        plain = without_failures(self.machine)
        return Machine(variables, plain.signals, plain.rules, (), so_in(self.space, some))


def asking(
    space: Space,
    machine: Machine,
    plain: Machine,
    compiling: int,
    limits: Limits,
    report: ProgressCallback,
    store: Store | None,
) -> Asking:
    """What asks about a merged machine within these limits, which begin to run now."""
    return Asking(space, machine, plain, compiling, limits, report, clock_of(limits), Lemmas(), store)
