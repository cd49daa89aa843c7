"""From every reachable state the goal can be brought about: certificates by cases, and dead ends.

An invariant is mined; then, while some state in it is not yet covered, a short run is planned from that state to one
nearer to the goal, and everything that the run does not need is forgotten of the state: one case covers all states
that look alike to the run.  Where no run is found, property-directed reachability decides whether there is one; a
state from which there is none is a dead end, and whether it can be reached is asked in turn.  If not, the
invariant is strengthened.

References (from memory)
  R. Reiter, Knowledge in Action, MIT Press 2001 (regression: what must be so before for something to be so after).
  R. W. Floyd: Assigning meanings to programs. 1967. (measures that fall)
  A. R. Bradley: SAT-based model checking without unrolling. VMCAI 2011.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import TypeAlias

from interlock.kernel.claims import Certificate, Limits, Progress, Report, Trace, Unknown, silent
from interlock.kernel.evaluator import State, truths_in
from interlock.kernel.expressions import Expr, Is, Not, Value, conj
from interlock.kernel.machine import Machine, Question, support_of
from interlock.kernel.recovery import (
    Entry,
    Rank,
    Recoverable,
    Recovery,
    RecoveryClaim,
    RecoveryQuestion,
    Stage,
    Trapped,
    restarted,
    surely_drops,
    without_failures,
)
from interlock.prove import guided
from interlock.prove.cone import cone_of, lifted, without_detours
from interlock.prove.dead_ends import closed_region, nearest_dead_end
from interlock.prove.encoding import TRUTH
from interlock.prove.engine import INTERRUPTED, NO_LIMITS, Clock, OutOfTime, clock_of, stop_reason
from interlock.prove.frames import Frames
from interlock.prove.local import Cube, LocalRules
from interlock.prove.mined import MOST_STARTS, mine
from interlock.prove.obligations import discharge
from interlock.prove.pdr import certify
from interlock.prove.planning import Planner
from interlock.prove.ranks import advise, advise_counting
from interlock.prove.recovery_obligations import discharge_recovery
from interlock.prove.solvers import FOREVER, SatSolver, add_all, light_solver
from interlock.prove.starts import some_initial_states
from interlock.prove.trimming import trim

NAME = "recover"
HARD_QUERIES = 60_000
"""How many queries are spent on one state, to find out whether nothing leads on from it."""
MOST_ENTRIES = 20_000
"""So many cases, and the engine gives up."""
REGION_EXPANDED = 1_000
"""How many states are expanded to find a run to a dead end, before it is asked whether there is one."""
FACT_EXPANDED = 200
"""How many states are expanded to see a variable have a value, for states that are surely reachable."""
MOST_MET = 400
"""So many of these are tried first: cases and dead ends among them are real."""
FEW_ENTRIES, ENTRIES_PER_RULE = 100, 2
"""So many cases, or so many times as many as there are rules, and the next adviser is asked, if there is one."""

Advice: TypeAlias = Callable[[Machine, Expr], Sequence[tuple[Expr, Rank]]]
"""Stages on the way to a goal, in a machine without failures, each with a measure; never taken on trust."""


def recover(
    machine: Machine,
    questions: Sequence[RecoveryQuestion],
    limits: Limits = NO_LIMITS,
    report: Report = silent,
    advice: Sequence[Advice] = (advise, advise_counting),
) -> tuple[RecoveryClaim, ...]:
    """Decides every question, given time.  The machine has been through `with_monitors`.

    `limits.depth` is not heeded: a way back may be as long as it likes.  Of several advisers each next one is asked
    where the measures of the one before led no further, or to more and more cases.
    """
    clock = clock_of(limits)
    claims: dict[int, RecoveryClaim] = {}
    reason = ""
    try:
        part = cone_of(machine, [question.goal for question in questions])
        search: _Search | None = None
        for at, question in enumerate(questions):
            clock.check()
            dead_end = nearest_dead_end(part, question.goal, limits, clock)
            if dead_end is not None:
                certificate = _why_trapped(part, dead_end.states[-1], question.goal, clock)
                claim: RecoveryClaim = Trapped(question.id, NAME, dead_end, certificate, shortest=True)
            else:
                search = search or _Search(part, [q.goal for q in questions], clock, report)
                claim = search.decide(question, advice)
            claims[at] = _discharged(machine, part, claim, question.goal, clock)
    except OutOfTime:
        reason = stop_reason(limits, clock)
    except KeyboardInterrupt:
        reason = INTERRUPTED
    return tuple(claims.get(at, Unknown(question.id, NAME, reason)) for at, question in enumerate(questions))


def _discharged(machine: Machine, part: Machine, claim: RecoveryClaim, goal: Expr, clock: Clock) -> RecoveryClaim:
    """What is claimed of the part, claimed of the whole machine, once z3 has agreed."""
    if isinstance(claim, Recoverable):
        discharge_recovery(machine, claim.recovery, goal, clock)
    elif isinstance(claim, Trapped):
        trace = lifted(machine, part, claim.trace)
        discharge(restarted(machine, trace.states[-1]), claim.certificate, [goal], clock)
        return replace(claim, trace=trace)
    return claim


def _why_trapped(machine: Machine, state: State, goal: Expr, clock: Clock) -> Certificate:
    """The proof that nothing leads from the state to the goal.  Raises AssertionError where something does."""
    again = LocalRules(restarted(machine, state))
    frames = Frames(again, [goal], clock, light_solver)
    try:
        for _ in frames.run([0], None, silent):
            raise AssertionError("a dead end is none")
    finally:
        frames.solver.close()
    return certify(again, frames.invariant or (), [goal], clock)


class _TooHard(Exception):
    """Of one state it was not found out whether something leads on from it."""


class _Metered:
    """A solver that answers so many queries and no more: then it raises _TooHard."""

    def __init__(self, left: int) -> None:
        self._left = left
        inner = light_solver()
        self.add, self.model, self.core, self.close = inner.add, inner.model, inner.core, inner.close
        self._solve = inner.solve

    def solve(self, assumptions: Sequence[int] = (), clock: Clock = FOREVER) -> bool:
        """As that of the solver within."""
        self._left -= 1
        if self._left < 0:
            raise _TooHard
        return self._solve(assumptions, clock)


class _Search:
    """What is known of one machine; all questions share the invariant."""

    def __init__(self, machine: Machine, goals: Sequence[Expr], clock: Clock, report: Report) -> None:
        self.machine = machine
        self.calm = without_failures(machine)
        self.clock = clock
        self.report = report
        self.rules = LocalRules(machine)
        self.number = {rule.name: at for at, rule in enumerate(machine.rules)}
        self.initial = {variable.name: variable.init for variable in machine.variables}
        self.planner = Planner(self.calm)
        starts = some_initial_states(self.rules, MOST_STARTS, clock, light_solver)
        self.lemmas: list[Cube] = []
        self.met: list[State] = []
        """States that are surely reachable."""
        if starts:
            self.lemmas = mine(self.rules, goals, starts, clock, light_solver, report)
            hunt = self._explore()
            self.met, self.lead = hunt.states(MOST_MET), hunt.lead
        else:
            # No run at all: anything holds of every reachable state.
            self.lemmas = [()]

    def _explore(self) -> guided.Hunt:
        """Runs to where each variable has each of its values, as far as these are soon found."""
        facts = [Is(v.name, value) for v in self.machine.variables for value in v.domain if value not in v.init]
        questions = [Question(f"{fact.variable} {fact.value}", fact, expects_run=True) for fact in facts]
        hunt = guided.Hunt(self.machine, questions, NO_LIMITS, self.clock)
        hunt.run(range(len(questions)), FACT_EXPANDED, self.report)
        hunt.cover(self.report)
        return hunt

    def decide(self, question: RecoveryQuestion, advice: Sequence[Advice]) -> RecoveryClaim:
        """The claim for one question, on the first advice that leads to one.  Raises OutOfTime."""
        for at, adviser in enumerate(advice):
            claim = self._by(question, adviser, thorough=at == len(advice) - 1)
            if not isinstance(claim, Unknown):
                break
        return claim

    def _by(self, question: RecoveryQuestion, adviser: Advice, thorough: bool) -> RecoveryClaim:
        stages: list[Stage] = []
        before: Expr = conj()
        entries = 0
        most = MOST_ENTRIES if thorough else max(FEW_ENTRIES, ENTRIES_PER_RULE * len(self.machine.rules))
        for goal, rank in self._stages(question.goal, adviser):
            work = _StageWork(self, before, (goal, rank), question, thorough)
            try:
                for met in self.met:
                    if work.is_open(met):
                        entries += 1
                        trapped = work.cover_met(met)
                        if trapped is not None:
                            return trapped
                while (state := work.uncovered()) is not None:
                    self.report(Progress(NAME, f"case {entries + 1}"))
                    entries += 1
                    if entries > most:
                        return Unknown(question.id, NAME, f"more than {most} cases to tell apart")
                    trapped = work.cover(state)
                    if trapped is not None:
                        return trapped
            except _TooHard:
                return Unknown(question.id, NAME, f"in case {entries} no way back was found, nor that there is none")
            finally:
                work.close()
            stages.append(Stage(goal, rank, tuple(work.entries)))
            before = goal
        self.report(Progress(NAME, "checking the cases"))
        return Recoverable(question.id, NAME, Recovery(self._certificate(stages), tuple(stages)))

    def _stages(self, goal: Expr, adviser: Advice) -> list[tuple[Expr, Rank]]:
        """The stages advised, with the goal itself for the goal of the last, which it surely implies then."""
        advised = list(adviser(self.calm, goal)) or [(goal, ())]
        return [*advised[:-1], (goal, advised[-1][1])]

    def _certificate(self, stages: Sequence[Stage]) -> Certificate:
        """The part of the invariant that the cases rest on."""
        encoding = self.rules.encoding
        wrong: list[int] = []
        before = TRUTH
        for stage in stages:
            to = encoding.gate(stage.goal)
            cubes = [encoding.all_of(encoding.gate(fact) for fact in entry.when) for entry in stage.entries]
            wrong.append(encoding.all_of([before, -to, *(-cube for cube in cubes)]))
            for cube, entry in zip(cubes, stage.entries, strict=True):
                falls = surely_drops(
                    self.machine, stage.rank, entry.when, _written(self.machine, self.number, entry.rules)
                )
                failing = self.failing(entry.rules, before, to, falls)
                wrong.append(encoding.all_of([before, -to, cube, failing]))
            before = to
        needed = trim(self.rules, self.lemmas, [gate for gate in wrong if gate != -TRUTH], self.clock, light_solver)
        return Certificate(tuple(self.rules.clause(cube) for cube in needed))

    def failing(self, names: Sequence[str], before: int, to: int, falls: bool) -> int:
        """The literal that says, of a state, that these rules cannot fire there in turn, or lead to no good.

        Where they make the rank fall they may lead to `before`, else only to `to`.
        """
        encoding = self.rules.encoding
        effects: dict[int, bool] = {}
        wrong = []
        for name in names:
            at = self.number[name]
            wrong.append(-self._after(self.rules.guards[at], effects))
            effects.update(self.rules.effects[at])
        good = [self._after(to, effects)]
        if falls:
            good.append(self._after(before, effects))
        return encoding.any_of([*wrong, -encoding.any_of(good)])

    def _after(self, literal: int, effects: dict[int, bool]) -> int:
        """The literal that says of a state what this one says of the state after the effects."""
        encoding = self.rules.encoding
        known: dict[int, int] = {}

        def moved(wanted: int) -> int:
            atom = abs(wanted)
            if atom not in known:
                if atom in effects:
                    known[atom] = TRUTH if effects[atom] else -TRUTH
                elif atom in encoding.parts:
                    parts = encoding.parts[atom]
                    after = [moved(part) for part in parts]
                    known[atom] = atom if tuple(after) == parts else encoding.all_of(after)
                else:
                    known[atom] = atom
            return known[atom] if wanted > 0 else -known[atom]

        return moved(literal) if effects else literal

    def excludes(self, state: State) -> bool:
        """The state is of a kind that no rule leads to: the invariant says so from now on."""
        weak = [one for one in self.facts_of(state) if one < 0 or len(self._options(one)) <= 2]
        # What kind of thing is there matters less, on the whole, than that something is.
        kinds = [one for one in weak if not self._rules_out_start(one)]
        frames = Frames(self.rules, [], self.clock, light_solver, self.lemmas)
        try:
            cube = frames.never_entered(tuple(sorted(weak)), kinds)
        finally:
            frames.solver.close()
        if cube is not None:
            self.lemmas.append(cube)
        return cube is not None

    def _rules_out_start(self, literal: int) -> bool:
        """The variable has not (one of) its initial values."""
        ruled_out = [value for option, value in self._options(literal) if option == -literal]
        return any(value in self.initial[self.rules.encoding.variable_of[abs(literal)]] for value in ruled_out)

    def _options(self, literal: int) -> Sequence[tuple[int, Value]]:
        encoding = self.rules.encoding
        return encoding.values[encoding.variable_of[abs(literal)]]

    def spoken_of(self, names: Sequence[str]) -> frozenset[str]:
        """The variables that these rules read or write."""
        rules = [self.machine.rules[self.number[name]] for name in names]
        written = (name for rule in rules for name, _ in rule.update)
        return frozenset(written).union(*(support_of(self.machine, rule.guard) for rule in rules))

    def facts_of(self, state: State) -> list[int]:
        """What is so in the state: of variables with many values also which values they do not have."""
        found = []
        for variable, value in zip(self.machine.variables, state, strict=True):
            options = self.rules.encoding.values[variable.name]
            for literal, other in options:
                if abs(literal) != TRUTH and (len(options) > 2 or literal > 0):
                    found.append(literal if other == value else -literal)
        return found


def _written(machine: Machine, number: dict[str, int], names: Sequence[str]) -> dict[str, Value]:
    written: dict[str, Value] = {}
    for name in names:
        written.update(machine.rules[number[name]].update)
    return written


class _StageWork:
    """The cases of one stage."""

    def __init__(
        self, search: _Search, before: Expr, stage: tuple[Expr, Rank], question: RecoveryQuestion, thorough: bool
    ) -> None:
        goal, rank = stage
        self._from, self._goal = before, goal
        self.search = search
        self.question = question
        self.thorough = thorough
        self.rank = rank
        self.entries: list[Entry] = []
        encoding = search.rules.encoding
        self.before = encoding.gate(before)
        self.to = encoding.gate(goal)
        self.step = search.planner.step(before, goal, rank)
        self._fed = 0
        self._known = 0
        self.solver: SatSolver = light_solver()
        self.cover_solver: SatSolver = light_solver()
        self._feed()
        add_all(self.cover_solver, [[self.before], [-self.to]])

    def close(self) -> None:
        """Frees the solvers."""
        self.solver.close()
        self.cover_solver.close()

    def _feed(self) -> None:
        clauses = self.search.rules.encoding.clauses
        lemmas = self.search.lemmas
        for solver in (self.solver, self.cover_solver):
            add_all(solver, clauses[self._fed :])
            add_all(solver, [[-literal for literal in cube] for cube in lemmas[self._known :]])
            solver.add([TRUTH, self.search.rules.encoding.top])
        self._fed, self._known = len(clauses), len(lemmas)

    def uncovered(self) -> State | None:
        """A state of the invariant in which no case applies; None where there is none."""
        if self.cover_solver.solve((), self.search.clock):
            return self.search.rules.encoding.decode(self.cover_solver.model())
        return None

    def is_open(self, state: State) -> bool:
        """The state is one of this stage, and no case applies to it yet."""
        true = truths_in(self.search.machine, state)
        return true(self._from) and not true(self._goal) and not any(all(map(true, e.when)) for e in self.entries)

    def cover_met(self, state: State) -> Trapped | None:
        """Finds a case for a state that is surely reachable; a claim where it is a dead end.  Raises _TooHard."""
        clock = self.search.clock
        names = self.step.plan_near(state, clock) or self.step.plan_far(state, clock)
        if names is None and not self.thorough:
            raise _TooHard
        if names is None:
            answer = self._onward(state)
            if isinstance(answer, Certificate):
                return self._trapped(self.search.lead(state), answer)
            names = answer
        self._add(state, names)
        return None

    def cover(self, state: State) -> Trapped | None:
        """Finds a case for the state, or excludes the state; a claim where it is a dead end that can be reached."""
        clock = self.search.clock
        names = self.step.plan_near(state, clock)
        # Where all things counted can be had away with in one run, that none was found soon is telling.
        if names is None and not self.step.counts:
            names = self.step.plan_far(state, clock)
        if names is None and self.search.excludes(state):
            self._feed()
            return None
        if names is None and self.step.counts:
            names = self.step.plan_far(state, clock)
        if names is None:
            if not self.thorough:
                raise _TooHard
            answer = self._dead_end(state)
            if isinstance(answer, Trapped):
                return answer
            if answer is None:
                self._feed()
                return None
            names = answer
        self._add(state, names)
        return None

    def _add(self, state: State, names: tuple[str, ...]) -> None:
        search, clock = self.search, self.search.clock
        falls = self.step.falls(state, names)
        failing = search.failing(names, self.before, self.to, falls)
        self._feed()
        facts = search.facts_of(state)
        asked = [self.before, -self.to, failing]
        # What the rules themselves speak of says it all, as a rule; what follows from the rest of the state, by way
        # of the invariant, would make cases that are needlessly special.
        spoken = search.spoken_of(names)
        near = [literal for literal in facts if search.rules.encoding.variable_of[abs(literal)] in spoken]
        if not self.solver.solve([*asked, *near], clock):
            facts = near
        elif self.solver.solve([*asked, *facts], clock):
            raise AssertionError("a planned run fails from the state that it was planned for")
        core = set(self.solver.core())
        cube = [literal for literal in facts if literal in core]
        facts_of = search.rules.encoding.facts
        # That a variable has one value says more than that it has not another: the former is given up first.
        for literal in sorted(cube, key=lambda one: (isinstance(facts_of[one], Not), -abs(one))):
            fewer = [other for other in cube if other != literal]
            if literal in cube and not self.solver.solve([*asked, *fewer], clock):
                core = set(self.solver.core())
                cube = [other for other in fewer if other in core]
        if falls:
            cube = self._with_rank(cube, state, names)
        self.cover_solver.add([-literal for literal in cube])
        self.entries.append(Entry(tuple(facts_of[literal] for literal in cube), names))

    def _with_rank(self, cube: list[int], state: State, names: tuple[str, ...]) -> list[int]:
        """The cube with what else of the state is needed to be sure that the rank falls."""
        search = self.search
        encoding = search.rules.encoding
        written = _written(search.machine, search.number, names)
        value_of = dict(zip((v.name for v in search.machine.variables), state, strict=True))
        more = [
            literal
            for name in sorted(written)
            if abs(literal := encoding.literals[name, value_of[name]]) != TRUTH and literal not in cube
        ]

        def suffices(literals: Sequence[int]) -> bool:
            return surely_drops(search.machine, self.rank, [encoding.facts[one] for one in literals], written)

        chosen = [*cube, *more]
        if not suffices(chosen):
            raise AssertionError("a run that lowers the rank does not seem to")
        for literal in more:
            fewer = [other for other in chosen if other != literal]
            if suffices(fewer):
                chosen = fewer
        return sorted(set(chosen), key=abs)

    def _dead_end(self, state: State) -> Trapped | tuple[str, ...] | None:
        """A run that helps after all, a dead end that can be reached, or None: the state cannot, and is excluded.

        Raises _TooHard.
        """
        answer = self._onward(state)
        if not isinstance(answer, Certificate):
            return answer
        run = self._reach(conj(*answer.clauses))
        return None if run is None else self._trapped(run, answer)

    def _onward(self, state: State) -> tuple[str, ...] | Certificate:
        """A run that helps, or the proof that none leads from the state to the goal.  Raises _TooHard."""
        search, goal, clock = self.search, self.question.goal, self.search.clock
        search.report(Progress(NAME, "is there a dead end"))
        again = LocalRules(restarted(search.machine, state))
        closed = closed_region(again, goal, search.lemmas, clock)
        if closed is not None:
            return certify(again, [*search.lemmas, closed], [goal], clock)
        frames = Frames(again, [goal], clock, lambda: _Metered(HARD_QUERIES), search.lemmas)
        try:
            for _, trace in frames.run([0], None, silent):
                return self.step.shortest_help(trace)
        finally:
            frames.solver.close()
        if frames.invariant is None:
            raise AssertionError("reachability ended without an answer")
        return certify(again, frames.invariant, [goal], clock)

    def _trapped(self, run: Trace, certificate: Certificate) -> Trapped:
        """The claim that the run leads into a region, told by the certificate, that is closed and clear of the goal."""
        # The certificate serves each state of the region: any run into it will do, and a short one is told better.
        region = conj(*certificate.clauses)
        runs = [found for found in (run, self._sought(region)) if found is not None]
        shorter = [without_detours(self.search.machine, found, region) for found in runs]
        return Trapped(self.question.id, NAME, min(shorter, key=lambda one: one.depth), certificate)

    def _sought(self, region: Expr) -> Trace | None:
        """A run into the region, where one is soon found."""
        search = self.search
        question = Question("dead end", region, expects_run=True)
        found = guided.search(search.machine, [question], NO_LIMITS, silent, search.clock, REGION_EXPANDED)
        return found.get(question.id)

    def _reach(self, region: Expr) -> Trace | None:
        """A run into the region; None where there is none, and the invariant then says so."""
        search = self.search
        run = self._sought(region)
        if run is not None:
            return run
        frames = Frames(search.rules, [region], search.clock, lambda: _Metered(HARD_QUERIES), search.lemmas)
        try:
            for _, trace in frames.run([0], None, silent):
                return trace
        finally:
            frames.solver.close()
        if frames.invariant is None:
            raise AssertionError("reachability ended without an answer")
        search.lemmas.extend(frames.invariant[len(search.lemmas) :])
        return None
