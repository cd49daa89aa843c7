"""The default: cheap means first, certificates for proofs, shortest runs for refutations.

The order is: look at the nearest states one by one; look for runs, guided, where whoever asks expects one; mine
invariants, of which the states met until then leave few candidates, and strengthen them until they exclude what they
do not yet; look longer for such runs; pursue what is left with property-directed reachability, those invariants and
the states met given, and, where that gets deep, by guided search too; shorten by bounded search every run that may be
longer than it need be.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace

from interlock.kernel.claims import Claim, Limits, Progress, ProgressCallback, Proved, Refuted, Trace, Unknown, silent
from interlock.kernel.evaluator import State
from interlock.kernel.expressions import Expr
from interlock.kernel.machine import Machine, Question
from interlock.prove.core.local import Cube, LocalRules
from interlock.prove.core.samples import MOST_SAMPLES, Samples
from interlock.prove.core.solvers import light_solver
from interlock.prove.core.starts import some_initial_states
from interlock.prove.engine import INTERRUPTED, NO_LIMITS, Clock, OutOfTime, clock_of, stop_reason
from interlock.prove.frames.frames import Frames
from interlock.prove.frames.pdr import pursue
from interlock.prove.invariants.lemmas import Lemmas
from interlock.prove.invariants.mined import MOST_STARTS, claim_late, mine, strengthen
from interlock.prove.search import explicit as by_states
from interlock.prove.search import guided
from interlock.prove.search.bmc import BoundedSearch
from interlock.prove.search.explicit import BreadthFirstSearch, explore

NAME = "decide"
FIRST_LOOK = 1_000_000
"""How many times a guard may be looked at in the first stage: states times rules."""
FIRST_EXPANDED = 250
"""How many states guided search expands at first for a question whose asker expects a run."""
EXPECTED_EXPANDED = 1_500
"""The same once mined invariants could not answer it."""
UNEXPECTED_EXPANDED = 300
"""The same for any other question, once property-directed reachability has gone deep."""
MOST_PLACED = 512
"""Random walks begin in so many states, where so many have been met."""
FIRST_FRAMES = 60
"""How deep property-directed reachability goes before guided search is tried on what is left."""
DEEP_ENOUGH = 12
"""Guided search gives long runs: with a smaller bound on depth it is left out."""
SHORTENING_SECONDS = 60.0
"""How long shorter runs are looked for where there is no limit in seconds."""


def decide(
    machine: Machine,
    questions: Sequence[Question],
    limits: Limits = NO_LIMITS,
    report: ProgressCallback = silent,
    found: Lemmas | None = None,
) -> tuple[Claim, ...]:
    """Decides every question within the limits, by whatever engine is best for it; each claim names its engine.

    A refutation's run is the shortest wherever that could be made sure of.  `limits.depth` bounds runs and frames,
    `limits.states` the states that are looked at one by one.  `found` keeps what lemmas are found.
    """
    strategy = _Strategy(machine, questions, limits, report)
    reason = ""
    try:
        strategy.run()
        reason = strategy.reason
    except OutOfTime:
        reason = stop_reason(limits, strategy.clock)
        strategy.claim_late()
    except KeyboardInterrupt:
        reason = INTERRUPTED
    if found is not None and strategy.rules is not None:
        found.keep(strategy.rules, strategy.known())
    return strategy.answers(reason)


class _Strategy:
    def __init__(
        self, machine: Machine, questions: Sequence[Question], limits: Limits, report: ProgressCallback
    ) -> None:
        self.machine = machine
        self.questions = questions
        self.limits = limits
        self.report = report
        self.clock = clock_of(limits)
        self.claims: dict[int, Claim] = {}
        self.clear = -1
        self.counted: int | None = None
        """The number of reachable states, where all were looked at."""
        self.reason = ""
        self.met: list[State] = []
        """Reachable states that guided search has met; `run_to` gives a run to each."""
        self.run_to: Callable[[State], Trace] | None = None
        self.rules: LocalRules | None = None
        self.lemmas: list[Cube] = []
        self.frames: Frames | None = None

    def answers(self, reason: str) -> tuple[Claim, ...]:
        for at, question in enumerate(self.questions):
            if at not in self.claims:
                if self.counted is not None:
                    self.claims[at] = Proved(question.id, by_states.NAME, None, self.counted)
                else:
                    self.claims[at] = Unknown(question.id, NAME, reason, self.clear)
        return tuple(self.claims[at] for at in range(len(self.questions)))

    def claim_late(self) -> None:
        """What can still be claimed when time is over."""
        if self.rules is not None and self.counted is None:
            given = self.questions, self.claims, self.limits, self.clock, self.report
            claim_late(self.rules, self.frames, self.lemmas, *given)

    def known(self) -> Sequence[Cube]:
        """What was found to be kept out of for good."""
        if self.frames is None:
            return self.lemmas
        return self.frames.lemmas if self.frames.invariant is None else self.frames.invariant

    def still_open(self) -> list[int]:
        return [at for at in range(len(self.questions)) if at not in self.claims]

    def run(self) -> None:
        self.look_around()
        if self.still_open():
            self.prove()
        self.shorten()

    def look_around(self) -> None:
        """Breadth-first over as many states as cost next to nothing."""
        self.clock.check()
        most = FIRST_LOOK // (len(self.machine.rules) + 20)
        if self.limits.states is not None:
            most = min(most, self.limits.states)
        limits = replace(self.limits, seconds=self.clock.seconds_left(), states=most)
        search = BreadthFirstSearch(self.machine, limits, counting=False)
        explore(search, self.questions, self.claims, self.report)
        self.clear = search.clear
        if not search.stopped and self.still_open():
            self.counted = len(search.parents)

    def prove(self) -> None:
        self.clock.check()
        rules = self.rules = LocalRules(self.machine)
        self.look_guided([at for at in self.still_open() if self.questions[at].expects_run], FIRST_EXPANDED)
        if not self.still_open():
            return
        samples = Samples(rules.encoding, self.met, self.run_to) if self.run_to is not None else None
        starts = some_initial_states(rules, MOST_STARTS, self.clock, light_solver)
        if starts:
            targets = [self.questions[at].target for at in self.still_open()]
            starts = spread(starts, self.met)
            self.lemmas = mine(rules, targets, starts, self.clock, light_solver, self.report, samples)
        self.clock.check()
        frames = self.frames = Frames(rules, self.targets(), self.clock, light_solver, self.lemmas, samples)
        deepest = self.limits.depth
        try:
            strengthen(frames, self.questions, self.claims, self.report)
            decided = len(self.claims)
            self.report(Progress(NAME, f"{decided} of {len(self.questions)} decided", decided, len(self.questions)))
            self.look_guided([at for at in self.still_open() if self.questions[at].expects_run], EXPECTED_EXPANDED)
            # facts travel a frame at a time, so a long hold needs more frames than a short one
            first = max(FIRST_FRAMES, len(self.machine.variables))
            first = first if deepest is None else min(first, deepest)
            pursue(frames, self.questions, self.claims, first, self.report)
            if self.still_open() and frames.invariant is None:
                self.look_guided(self.still_open(), UNEXPECTED_EXPANDED)
                frames.solver.close()
                frames = self.frames = Frames(rules, self.targets(), self.clock, light_solver, frames.lemmas, samples)
                pursue(frames, self.questions, self.claims, deepest, self.report)
            self.reason = f"no proof was found in looking up to {frames.top} steps ahead"
        finally:
            self.clear = max(self.clear, frames.clear)
            frames.solver.close()

    def targets(self) -> list[Expr]:
        return [question.target for question in self.questions]

    def look_guided(self, places: Sequence[int], most_expanded: int) -> None:
        """Runs that guided search finds for these questions within `most_expanded` states each."""
        asked = [self.questions[at] for at in places]
        if not asked or (self.limits.depth is not None and self.limits.depth < DEEP_ENOUGH):
            return
        search = guided.GuidedSearch(self.machine, asked, self.limits, self.clock)
        try:
            search.run(range(len(asked)), most_expanded, self.report)
            if not self.met:
                search.cover(self.report)
        finally:
            self.met, self.run_to = search.states(MOST_SAMPLES), search.run_to
            self.claim_found(places, search.found)

    def claim_found(self, places: Sequence[int], found: Mapping[str, Trace]) -> None:
        for at in places:
            trace = found.get(self.questions[at].id)
            if trace is not None and (self.limits.depth is None or trace.depth <= self.limits.depth):
                self.claims[at] = Refuted(self.questions[at].id, guided.NAME, trace, shortest=False)

    def shorten(self) -> None:
        """Looks for shorter runs than those that are not known to be shortest, where the shortest is wanted."""
        long = [
            at
            for at, claim in self.claims.items()
            if isinstance(claim, Refuted) and not claim.shortest and not self.questions[at].expects_run
        ]
        if not long:
            return
        traces = {at: claim.trace for at in long if isinstance(claim := self.claims[at], Refuted)}
        deepest = max(trace.depth for trace in traces.values()) - 1
        look = BoundedSearch(self.machine, [self.questions[at] for at in long], deepest)
        found: dict[int, Claim] = {}
        clock: Clock = self.clock if self.limits.seconds is not None else self.clock.sooner(SHORTENING_SECONDS)
        try:
            look.run(found, clock, self.report)
        except OutOfTime:
            # The runs stay as they are: right, only perhaps not the shortest.
            self.report(Progress(NAME, f"shorter runs looked for up to {look.clear} steps"))
        finally:
            look.solver.close()
            for place, at in enumerate(long):
                if place in found:
                    self.claims[at] = found[place]
                elif look.is_exhausted or look.clear >= traces[at].depth - 1:
                    old = self.claims[at]
                    self.claims[at] = Refuted(old.question, old.engine, traces[at], shortest=True)


def spread(starts: Sequence[State], met: Sequence[State]) -> list[State]:
    """The starts, and as many of the states met as make `MOST_PLACED` in all, evenly taken, the last met first."""
    step = max(1, -(-len(met) // max(1, MOST_PLACED - len(starts))))
    return [*starts, *list(reversed(met))[::step]]
