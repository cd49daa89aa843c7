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
from functools import cached_property
from hashlib import sha256
from typing import TypeAlias

from interlock.diagnostics.said import say
from interlock.kernel.claims import Certificate, Limits, Progress, ProgressCallback, Trace, Unknown, silent
from interlock.kernel.evaluator import State
from interlock.kernel.expressions import Expr, conj
from interlock.kernel.machine import Machine
from interlock.kernel.recovery import (
    DeadEnd,
    Rank,
    Recoverable,
    Recovery,
    RecoveryClaim,
    RecoveryQuestion,
    Stage,
    restarted,
)
from interlock.kernel.why import Helps, Why
from interlock.prove.certificates.obligations import discharge
from interlock.prove.certificates.trimming import trim
from interlock.prove.core.cone import cone_of, lifted
from interlock.prove.core.encoding import TRUTH
from interlock.prove.core.local import Cube, LocalRules
from interlock.prove.core.polarity import PolaritySolver
from interlock.prove.core.solvers import add_all, light_solver
from interlock.prove.engine import INTERRUPTED, NO_LIMITS, Clock, OutOfTime, clock_of, stop_reason
from interlock.prove.frames.pdr import certify, reach
from interlock.prove.invariants.lemmas import Lemmas
from interlock.prove.recovery.cases import NAME, RecoveryCases, TooHard
from interlock.prove.recovery.context import RecoveryContext
from interlock.prove.recovery.dead_ends import nearest_dead_end
from interlock.prove.recovery.ranks import RankHeuristic

MOST_ENTRIES = 20_000
"""So many cases, and the engine gives up."""
FEW_ENTRIES, ENTRIES_PER_RULE = 100, 12
"""So many cases, or so many times as many as there are rules, and the next heuristic is tried, if there is one."""

FEW_LEMMAS = 1_000
"""Of so few what cases rest on is looked for in any event: that is done before all else is confirmed, and spares more
of confirming.
"""
MOST_EFFORT = 8
"""Where time is not limited, a state is given up after so many times the effort that is made at first."""
NEITHER = say("it was found neither how to go on nor that there is no way back")

Heuristic: TypeAlias = Callable[[Machine, Expr], Sequence[tuple[Expr, Rank]]]
"""Stages on the way to a goal, in a machine without failures, each with a measure; never taken on trust."""


def recover(
    machine: Machine,
    questions: Sequence[RecoveryQuestion],
    limits: Limits = NO_LIMITS,
    report: ProgressCallback = silent,
    heuristics: Sequence[Heuristic] = (),
    found: Lemmas | None = None,
    smallest: bool = True,
) -> tuple[RecoveryClaim, ...]:
    """Decides every question, given time.  The machine has been through `with_monitors`.

    `limits.depth` is not heeded: a way back may be as long as it likes.  Of several heuristics each next one is tried
    where the measures of the one before led no further, or to more and more cases; where none is given these are
    distances, then counting.  The search begins with the lemmas
    that were `found`, where there are any, and with cases remembered there; those found are kept there.  The invariant
    of ways back says no more than cases need, unless the `smallest` is not asked for: all that is known then.
    """
    clock = clock_of(limits)
    claims: dict[int, RecoveryClaim] = {}
    reason = ""
    try:
        part = cone_of(machine, [question.goal for question in questions])
        search: _Search | None = None
        for at, question in enumerate(questions):
            clock.check()
            left = clock.seconds_left()
            share = clock if left is None else clock.sooner(left / (len(questions) - at))
            try:
                dead_end = nearest_dead_end(part, question.goal, limits, share)
                if dead_end is not None:
                    certificate = _why_dead_end(part, dead_end.states[-1], question.goal, share)
                    claim: RecoveryClaim = DeadEnd(question.id, NAME, dead_end, certificate, shortest=True)
                else:
                    search = search or _Search(part, [q.goal for q in questions], share, report, found)
                    search.clock, search.hastily = share, not smallest
                    claim = search.decide(question, heuristics)
                claims[at] = _of_the_whole(machine, part, claim, question.goal, share)
            except OutOfTime:
                # what one question leaves of its share the others have; what is open then nothing is left for
                reason = stop_reason(limits, share)
    except OutOfTime:
        reason = stop_reason(limits, clock)
    except KeyboardInterrupt:
        reason = INTERRUPTED
    return tuple(claims.get(at, Unknown(question.id, NAME, reason)) for at, question in enumerate(questions))


def _of_the_whole(machine: Machine, part: Machine, claim: RecoveryClaim, goal: Expr, clock: Clock) -> RecoveryClaim:
    """What is claimed of the part, claimed of the whole machine; of a dead end once z3 has agreed that it is one.

    Cases are not put to z3: whoever is told of them has cvc5 check each, and nothing else is made of them.
    """
    if isinstance(claim, DeadEnd):
        trace = lifted(machine, part, claim.trace)
        discharge(restarted(machine, trace.states[-1]), claim.certificate, [goal], clock)
        return replace(claim, trace=trace)
    return claim


def _why_dead_end(machine: Machine, state: State, goal: Expr, clock: Clock) -> Certificate:
    """The proof that nothing leads from the state to the goal.  Raises AssertionError where something does."""
    again = LocalRules(restarted(machine, state))
    answer = reach(again, goal, clock, light_solver)
    if isinstance(answer, Trace):
        raise AssertionError("a dead end is none")
    return certify(again, answer, [goal], clock)


def stage_name(before: Expr, goal: Expr, rank: Rank) -> str:
    """What a stage is about, told apart from all others."""
    return sha256(repr((before, goal, rank)).encode("utf-8", "surrogatepass")).hexdigest()


class _Search(RecoveryContext):
    """Decides questions of one machine; hastily: what cases rest on is not looked for."""

    hastily = False

    def decide(self, question: RecoveryQuestion, heuristics: Sequence[Heuristic]) -> RecoveryClaim:
        """The claim for one question, by the first heuristic that leads to one.  Raises OutOfTime.

        While a state was too hard, all is tried again with twice the effort: as long as there is time, or, where that
        is not limited, a few times.
        """
        first = self.remembered.measures.get(question.id)
        if not heuristics:
            heuristics = self._by_distance, self._by_counting
            if first is None and self._may_jam(question.goal):
                first = 1
        places = list(range(len(heuristics)))
        self.effort = 1
        while True:
            self.was_too_hard = False
            # what led to a claim in an earlier call, or is likely to, comes first, the rest in its order
            for at in sorted(places, key=lambda at: at != first):
                claim = self._by(question, heuristics[at], thorough=at == places[-1])
                if not isinstance(claim, Unknown):
                    self.found.measures[question.id] = at
                    return claim
            self.clock.check()
            if not self.was_too_hard or (self.clock.end is None and self.effort >= MOST_EFFORT):
                return claim
            self.effort *= 2

    def prepare(self, goals: Sequence[Expr]) -> None:
        """The measures."""
        for goal in goals:
            self._ranking.stages(goal)

    @cached_property
    def _ranking(self) -> RankHeuristic:
        return RankHeuristic(self.calm)

    def _may_jam(self, goal: Expr) -> bool:
        """For all that the invariant says, distance may lead no further somewhere."""
        encoding = self.rules.encoding
        solver = PolaritySolver(encoding, light_solver())
        try:
            add_all(solver, [[-literal for literal in cube] for cube in self.lemmas])
            pairs = ([encoding.literals[fact] for fact in pair] for pair in self._ranking.jams(goal))
            return any(solver.solve(pair, self.clock) for pair in pairs)
        finally:
            solver.close()

    def _by_distance(self, _machine: Machine, goal: Expr) -> list[tuple[Expr, Rank]]:
        return self._ranking.by_distance(goal)

    def _by_counting(self, _machine: Machine, goal: Expr) -> list[tuple[Expr, Rank]]:
        return self._ranking.by_counting(goal)

    def _by(self, question: RecoveryQuestion, heuristic: Heuristic, thorough: bool) -> RecoveryClaim:
        stages: list[Stage] = []
        before: Expr = conj()
        entries = 0
        most = MOST_ENTRIES if thorough else max(FEW_ENTRIES, ENTRIES_PER_RULE * len(self.machine.rules))
        for goal, rank in self._stages(question.goal, heuristic):
            work = RecoveryCases(self, before, (goal, rank), question, thorough, self.told.get((before, goal), ()))
            try:
                work.take_up(self.remembered.cases.get(stage_name(before, goal, rank), ()))
                for met in self.met:
                    if work.is_open(met):
                        entries += 1
                        dead_end = work.cover_met(met)
                        if dead_end is not None:
                            return dead_end
                while (state := work.uncovered()) is not None:
                    self.report(Progress(NAME, f"ways back: case {entries + 1}"))
                    entries += 1
                    if entries > most:
                        many = say("more than {number} situations need ways back of their own", number=most)
                        return Unknown(question.id, NAME, Why(many, Helps.METHOD))
                    dead_end = work.cover(state)
                    if dead_end is not None:
                        return dead_end
            except TooHard:
                self.was_too_hard = self.was_too_hard or thorough
                known = say("{number} situations have a way back; of the next {what}", number=entries - 1, what=NEITHER)
                return Unknown(question.id, NAME, Why(known, Helps.METHOD))
            finally:
                told = self.told.get((before, goal), [])
                self.told[before, goal] = list(dict.fromkeys([*told, *work.entries]))
                work.close()
            stages.append(Stage(goal, rank, tuple(work.entries)))
            before = goal
        self.report(Progress(NAME, "ways back: checking the cases"))
        for done, stage in zip((conj(), *(stage.goal for stage in stages)), stages, strict=False):
            self.found.cases[stage_name(done, stage.goal, stage.rank)] = stage.entries
        cubes = self.lemmas if self.hastily and len(self.lemmas) > FEW_LEMMAS else self._needed(stages)
        certificate = Certificate(tuple(self.rules.clause(cube) for cube in cubes))
        return Recoverable(question.id, NAME, Recovery(certificate, tuple(stages)))

    def _stages(self, goal: Expr, heuristic: Heuristic) -> list[tuple[Expr, Rank]]:
        """The stages advised, with the goal itself for the goal of the last, which it surely implies then."""
        ranked = list(heuristic(self.calm, goal)) or [(goal, ())]
        return [*ranked[:-1], (goal, ranked[-1][1])]

    def _needed(self, stages: Sequence[Stage]) -> Sequence[Cube]:
        """The part of the invariant that the cases rest on, by what it keeps out."""
        encoding = self.rules.encoding
        wrong: list[int] = []
        before = TRUTH
        for stage in stages:
            to = encoding.gate(stage.goal)
            cubes = [self.applies(entry) for entry in stage.entries]
            wrong.append(encoding.all_of([before, -to, *(-cube for cube in cubes)]))
            for cube, entry in zip(cubes, stage.entries, strict=True):
                failing = self.failing_case(stage.rank, stage.entries, entry, before, to)
                wrong.append(encoding.all_of([before, -to, cube, failing]))
            before = to
        return trim(self.rules, self.lemmas, [gate for gate in wrong if gate != -TRUTH], self.clock, light_solver)
