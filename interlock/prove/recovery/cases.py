"""The cases of one stage on the way to a goal, and the dead ends that are met in looking for them (see `recovery`)."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import TypeAlias

from interlock.kernel.claims import Certificate, Progress, Trace, silent
from interlock.kernel.evaluator import State, truths_in
from interlock.kernel.expressions import Expr, Is, Not, Value, conj, variables_of
from interlock.kernel.machine import Machine, Question
from interlock.kernel.recovery import (
    DeadEnd,
    Entry,
    Rank,
    RecoveryQuestion,
    restarted,
    surely_drops,
    surely_never_rises,
    written_by,
)
from interlock.prove.core.encoding import TRUTH
from interlock.prove.core.local import Cube, LocalRules
from interlock.prove.core.polarity import PolaritySolver
from interlock.prove.core.solvers import FOREVER, add_all, light_solver
from interlock.prove.engine import NO_LIMITS, Clock
from interlock.prove.frames.pdr import certify, reach
from interlock.prove.recovery.context import RecoveryContext
from interlock.prove.recovery.dead_ends import closed_region, without_detours
from interlock.prove.search import guided

NAME = "recover"
HARD_QUERIES = 60_000
"""How many queries are spent on one state at first, to find out whether nothing leads on from it."""
SOON_PART = 10
"""The part of these that is spent, before that is asked, on whether the state can be reached at all."""
REGION_EXPANDED = 1_000
"""How many states are expanded to find a run to a dead end, before it is asked whether there is one."""

Sureness: TypeAlias = Callable[[Machine, Rank, Sequence[Expr], Mapping[str, Value]], bool]
"""Of what rules write in states where certain facts are so: that the rank surely falls, or surely does not rise."""


class TooHard(Exception):
    """Of one state it was not found out whether something leads on from it."""


class MeteredSolver:
    """A solver that answers so many queries and no more: then it raises TooHard."""

    def __init__(self, left: int) -> None:
        self._left = left
        inner = light_solver()
        self.add, self.model, self.core, self.close = inner.add, inner.model, inner.core, inner.close
        self.soon_refutes = inner.soon_refutes
        self._solve = inner.solve

    def solve(self, assumptions: Sequence[int] = (), clock: Clock = FOREVER) -> bool:
        """As that of the solver within."""
        self._left -= 1
        if self._left < 0:
            raise TooHard
        return self._solve(assumptions, clock)


class RecoveryCases:
    """The cases of one stage."""

    def __init__(
        self,
        context: RecoveryContext,
        before: Expr,
        stage: tuple[Expr, Rank],
        question: RecoveryQuestion,
        thorough: bool,
        offered: Sequence[Entry] = (),
    ) -> None:
        goal, rank = stage
        self._from, self._goal = before, goal
        self.context = context
        self.question = question
        self.thorough = thorough
        self.rank = rank
        self.entries: list[Entry] = []
        encoding = context.rules.encoding
        self.before = encoding.gate(before)
        self.to = encoding.gate(goal)
        self.planner = context.planner.stage(before, goal, rank)
        self._offered: dict[int, Entry] = {}
        """Cases told apart by another measure or in a like place: those that serve here need not be planned."""
        self._known: set[tuple[tuple[Expr, ...], tuple[str, ...]]] = set()
        self._told = context.planner.cubes()
        for entry in offered:
            self._offer(replace(entry, into=None))
        self._plan_far = self.planner.plan_far if thorough or context.effort > 1 else self.planner.plan_on
        self._lemmas_fed = 0
        self.solver = PolaritySolver(encoding, light_solver())
        self.cover_solver = PolaritySolver(encoding, light_solver())
        self._feed()
        add_all(self.cover_solver, [[one] for one in self.cover_solver.said([self.before, -self.to])])

    def close(self) -> None:
        """Frees the solvers."""
        self.solver.close()
        self.cover_solver.close()

    def _feed(self) -> None:
        """Tells the solvers of lemmas that they do not know yet."""
        lemmas = self.context.lemmas
        for solver in (self.solver, self.cover_solver):
            add_all(solver, [[-literal for literal in cube] for cube in lemmas[self._lemmas_fed :]])
        self._lemmas_fed = len(lemmas)

    def uncovered(self) -> State | None:
        """A state of the invariant in which no case applies, as near to the start as may be; None where there is none.

        No variable could be put back to a first value with all that is as at the start left so: such a state is told
        apart by less, and more others look like it.
        """
        wanted = list(self.context.home)
        dropped: list[int] = []
        clock = self.context.clock
        while not self.cover_solver.solve(wanted, clock):
            core = set(self.cover_solver.core())
            if not core:
                return None
            dropped += [one for one in wanted if one in core]
            wanted = [one for one in wanted if one not in core]
        model = self.cover_solver.model()
        for literal in dropped:
            if model[abs(literal) - 1] == literal:
                wanted.append(literal)
            elif self.cover_solver.solve([*wanted, literal], clock):
                model = self.cover_solver.model()
                wanted.append(literal)
        return self.context.rules.encoding.decode(model)

    def take_up(self, remembered: Sequence[Entry]) -> None:
        """Of the cases of an earlier call those that keep their word here are cases now, in their order."""
        places: dict[int, int] = {}
        for at, entry in enumerate(remembered):
            known = self.context.known(entry)
            if known is not None:
                own = self._serving(replace(known, into=None if known.into is None else places.get(known.into)))
                if own is not None:
                    places[at] = len(self.entries)
                    self._keep(own)

    def _offer(self, entry: Entry) -> None:
        if (entry.when, entry.rules) not in self._known:
            self._known.add((entry.when, entry.rules))
            at = len(self._known)
            self._offered[at] = entry
            self._told.add(at, entry.when)

    def _serving(self, entry: Entry) -> Entry | None:
        """The case, without what it need not say of what no rule writes; None where it does not keep its word."""
        for_good = [fact for fact in entry.when if not variables_of(fact) & self.context.written]
        wider = replace(entry, when=tuple(fact for fact in entry.when if fact not in for_good))
        asked, gates = self._failing(wider), list(map(self.context.rules.encoding.gate, for_good))
        if self.solver.solve([*asked, *gates], self.context.clock):
            return None
        core = set(self.solver.core())
        needed = [fact for fact, gate in zip(for_good, gates, strict=True) if gate in core]
        for fact in needed.copy():
            fewer = [other for other in needed if other is not fact]
            if not self.solver.solve([*asked, *map(self.context.rules.encoding.gate, fewer)], self.context.clock):
                needed = fewer
        return replace(wider, when=(*wider.when, *needed))

    def adopts(self, state: State) -> bool:
        """A case that was offered applies to the state and serves this measure: it is one of the cases now."""
        packed = self.context.planner.packing.pack(state)
        for at in [at for at in self._told.applying(packed) if at in self._offered]:
            # One that serves does so for good, and one that does not never will.
            entry = self._offered.pop(at)
            if self._serves(entry):
                self._keep(entry)
                return True
        return False

    def _serves(self, entry: Entry) -> bool:
        return not self.solver.solve(self._failing(entry), self.context.clock)

    def _failing(self, entry: Entry) -> list[int]:
        """That the case applies and does not keep its word."""
        context = self.context
        failing = context.failing_case(self.rank, self.entries, entry, self.before, self.to)
        return self.solver.said([self.before, -self.to, failing, *map(context.rules.encoding.gate, entry.when)])

    def _keep(self, entry: Entry) -> None:
        self.cover_solver.add([-self.context.rules.encoding.gate(fact) for fact in entry.when])
        self.planner.learn(entry)
        self.entries.append(entry)

    def is_open(self, state: State) -> bool:
        """The state is one of this stage, and no case applies to it yet."""
        true = truths_in(self.context.machine, state)
        return true(self._from) and not true(self._goal) and not any(all(map(true, e.when)) for e in self.entries)

    def cover_met(self, state: State) -> DeadEnd | None:
        """Finds a case for a state that is surely reachable; a claim where it is a dead end.  Raises TooHard."""
        if self.adopts(state):
            return None
        clock = self.context.clock
        planner = self.planner
        names = planner.plan_near(state, clock) or self._plan_far(state, clock) or planner.plan_into(state, clock)
        if names is None and not self.thorough:
            raise TooHard
        if names is None:
            answer = self._onward(state)
            if isinstance(answer, Certificate):
                sought = self._sought(conj(*answer.clauses))
                return self._claimed(answer, self.context.run_to(state), *([] if sought is None else [sought]))
            names = answer
        self._add(state, names)
        return None

    def cover(self, state: State) -> DeadEnd | None:
        """Finds a case for the state, or excludes the state; a claim where it is a dead end that can be reached."""
        if self.adopts(state):
            return None
        clock = self.context.clock
        names = self.planner.plan_near(state, clock)
        # Where all things counted can be had away with in one run, that none was found soon is telling.
        if names is None and not self.planner.counts(state):
            names = self._plan_far(state, clock)
        if names is None and self.context.excludes(state):
            self._feed()
            return None
        if names is None and self.planner.counts(state):
            names = self._plan_far(state, clock)
        names = names or self.planner.plan_into(state, clock)
        if names is None:
            if not self.thorough:
                raise TooHard
            answer = self._dead_end(state)
            if isinstance(answer, DeadEnd):
                return answer
            if answer is None:
                self._feed()
                return None
            names = answer
        self._add(state, names)
        return None

    def _add(self, state: State, names: tuple[str, ...]) -> None:
        context, clock = self.context, self.context.clock
        falls = self.planner.falls(state, names)
        into = None if falls else self.planner.led_into(state, names)
        good = [self.to]
        if falls:
            good.append(self.before)
        elif into is not None:
            good.append(context.rules.encoding.all_of([self.before, context.applies(self.entries[into])]))
        facts = context.facts_of(state)
        asked = self.solver.said([self.before, -self.to, context.failing(names, *good)])
        # What the rules themselves speak of says it all, as a rule; what follows from the rest of the state, by way
        # of the invariant, would make cases that are needlessly special.
        spoken = context.spoken_of(names)
        near = [literal for literal in facts if context.rules.encoding.variable_of[abs(literal)] in spoken]
        if not self.solver.solve([*asked, *near], clock):
            facts = near
        elif self.solver.solve([*asked, *facts], clock):
            raise AssertionError("a planned run fails from the state that it was planned for")
        core = set(self.solver.core())
        cube = [literal for literal in facts if literal in core]
        facts_of = context.rules.encoding.facts
        # That a variable has one value says more than that it has not another: the former is given up first.
        for literal in sorted(cube, key=lambda one: (isinstance(facts_of[one], Not), -abs(one))):
            fewer = [other for other in cube if other != literal]
            if literal in cube and self.solver.soon_refutes([*asked, *fewer]):
                core = set(self.solver.core())
                cube = [other for other in fewer if other in core]
        if falls or into is not None:
            cube = self._with_rank(cube, state, names, surely_drops if falls else surely_never_rises)
        entry = Entry(tuple(facts_of[literal] for literal in cube), names, into)
        self._keep(entry)
        if into is None:
            for image in context.planner.images.of(entry):
                self._offer(image)

    def _with_rank(self, cube: list[int], state: State, names: tuple[str, ...], is_sure: Sureness) -> list[int]:
        """The cube with what else of the state is needed to be sure that the rank falls, or that it does not rise."""
        context = self.context
        encoding = context.rules.encoding
        written = written_by(context.machine, names)
        value_of = dict(zip((v.name for v in context.machine.variables), state, strict=True))
        more = [
            literal
            for name in sorted(written)
            if abs(literal := encoding.literals[name, value_of[name]]) != TRUTH and literal not in cube
        ]

        def suffices(literals: Sequence[int]) -> bool:
            return is_sure(context.machine, self.rank, [encoding.facts[one] for one in literals], written)

        chosen = [*cube, *more]
        if not suffices(chosen):
            raise AssertionError("a run that lowers the rank, or keeps it, does not seem to")
        for literal in more:
            fewer = [other for other in chosen if other != literal]
            if suffices(fewer):
                chosen = fewer
        return sorted(set(chosen), key=abs)

    def _dead_end(self, state: State) -> DeadEnd | tuple[str, ...] | None:
        """A run that helps after all, a dead end that can be reached, or None: the state cannot, and is excluded.

        Raises TooHard.
        """
        if self._is_soon_excluded(state):
            return None
        answer = self._onward(state)
        if not isinstance(answer, Certificate):
            return answer
        run = self._run_into(conj(*answer.clauses))
        return None if run is None else self._claimed(answer, run)

    def _is_soon_excluded(self, state: State) -> bool:
        """The state cannot be reached, and the invariant says so from now on: where few queries tell."""
        context = self.context
        here = conj(*(Is(one.name, value) for one, value in zip(context.machine.variables, state, strict=True)))
        try:
            answer = self._reach(context.rules, here, SOON_PART)
        except TooHard:
            return False
        if isinstance(answer, Trace):
            return False
        context.lemmas.extend(answer[len(context.lemmas) :])
        return True

    def _onward(self, state: State) -> tuple[str, ...] | Certificate:
        """A run that helps, or the proof that none leads from the state to the goal.  Raises TooHard."""
        context, goal, clock = self.context, self.question.goal, self.context.clock
        context.report(Progress(NAME, "looking for a dead end"))
        again = LocalRules(restarted(context.machine, state))
        closed = closed_region(again, goal, context.lemmas, clock)
        if closed is not None:
            return certify(again, [*context.lemmas, closed], [goal], clock)
        answer = self._reach(again, goal)
        return (
            self.planner.shortest_help(answer) if isinstance(answer, Trace) else certify(again, answer, [goal], clock)
        )

    def _claimed(self, certificate: Certificate, *runs: Trace) -> DeadEnd:
        """The claim that a run leads into a region, told by the certificate, that is closed and clear of the goal."""
        # The certificate serves each state of the region: any run into it will do, and a short one is told better.
        region = conj(*certificate.clauses)
        shorter = [without_detours(self.context.machine, run, region) for run in runs]
        return DeadEnd(self.question.id, NAME, min(shorter, key=lambda one: one.depth), certificate)

    def _sought(self, region: Expr) -> Trace | None:
        """A run into the region, where one is soon found."""
        context = self.context
        question = Question("dead end", region, expects_run=True)
        found = guided.find_runs(context.machine, [question], NO_LIMITS, silent, context.clock, REGION_EXPANDED)
        return found.get(question.id)

    def _run_into(self, region: Expr) -> Trace | None:
        """A run into the region; None where there is none, and the invariant then says so."""
        lemmas = self.context.lemmas
        answer = self._sought(region) or self._reach(self.context.rules, region)
        if isinstance(answer, Trace):
            return answer
        lemmas.extend(answer[len(lemmas) :])
        return None

    def _reach(self, rules: LocalRules, target: Expr, part: int = 1) -> Trace | Sequence[Cube]:
        """A run to the target or, where there is none, the invariant that says so.  Raises TooHard."""
        context = self.context
        queries = max(1, HARD_QUERIES // part) * context.effort
        return reach(rules, target, context.clock, lambda: MeteredSolver(queries), context.lemmas)
