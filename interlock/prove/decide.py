"""The default: cheap means first, certificates for proofs, shortest runs for refutations.

The order is: look at the nearest states one by one; where rules touch few variables each, try for a small diagram of
all states; look for runs, guided, where whoever asks expects one, or for all where none is expected; mine invariants,
of which the states met until then leave few candidates, and strengthen them until they exclude what they do not yet.
For what is left engines take turns, each allowed four times as much as the last time, and each beginning with what the
others have found: property-directed reachability, which goes on where it was; guided search; diagrams with other orders
of the variables and all states as arrays, on machines that are not made for these no longer than all else took.
Shorten by bounded search every run that may be longer than it need be; what is known never to be so is left out there.

What an engine may do is counted in its own units (queries, guards looked at, pieces of work), not in seconds, so that
the same call takes the same way on every computer.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from functools import cached_property, partial
from itertools import count
from time import monotonic

from interlock.kernel.claims import Claim, Limits, Progress, ProgressCallback, Proved, Refuted, Trace, Unknown, silent
from interlock.kernel.evaluator import State
from interlock.kernel.expressions import Expr
from interlock.kernel.machine import Machine, Question, support_of
from interlock.prove.core.local import Cube, LocalRules
from interlock.prove.core.samples import MOST_SAMPLES, Samples
from interlock.prove.core.solvers import light_solver
from interlock.prove.core.starts import some_initial_states
from interlock.prove.engine import (
    INTERRUPTED,
    NO_LIMITS,
    Allowance,
    Answered,
    Clock,
    OutOfTime,
    clock_of,
    is_time_reason,
    looked_ahead,
    stop_reason,
)
from interlock.prove.frames.frames import Frames
from interlock.prove.frames.pdr import pursue
from interlock.prove.invariants.lemmas import Lemmas
from interlock.prove.invariants.mined import MOST_STARTS, claim_late, claim_mined, excluded_by, mine, strengthen
from interlock.prove.search import bmc, guided
from interlock.prove.search import explicit as by_states
from interlock.prove.search.bmc import BoundedSearch
from interlock.prove.search.explicit import BreadthFirstSearch, explore

NAME = "decide"
FIRST_LOOK = 400_000
"""How many times a guard or a target may be looked at in the first stage: states times rules and questions."""
SORTED = 50
"""For so many count rules that are too many to be compiled (see `explicit`), and sorted by what they ask."""
FIRST_WORK = 150_000
"""How much work the first diagram may be (see `diagrams.forest`), about half a second."""
WORK_EACH = 10
"""The same for each rule: so much it takes to make a relation of it."""
LOOSELY_KNIT = 8
"""So many variables, on average, the rules of a machine touch at most for which a diagram is tried before all else."""
SMALL = 2_000
"""Or so many all rules together."""
FIRST_GUARDS = 50_000_000
"""How many times a guard may be looked at in visiting all states of such a machine: about a fifth of a second."""
FIRST_EXPANDED = 240
"""How many states guided search expands for a question whose asker expects a run in the first look, and in the first
of the turns that engines take; most runs that it finds at all it finds within these, and many others begin where one of
them ends.  Each next turn has four times as many, and all questions."""
IN_VAIN = 800
"""So many it expands in that look for questions to which it finds no run, and four times as many each next turn."""
LAST_TIMES = 64
"""So many times as many where all states are known, and that there are runs."""
MOST_PLACED = 512
"""Random walks begin in so many states, where so many have been met."""
MOST_WRITTEN = 500_000
"""Of what rules write, all values of all variables counted: where there is more, nothing is mined."""
MINING_LOOKS = 2_000
"""How many queries mining and strengthening may take the first time, and for each rule and question this many more:"""
MINING_LOOKS_EACH = 50
COUNTED_LOOKS = 5_000
"""The same where all states were counted already, and a certificate would only say more of them."""
TURN_WORK = 300_000
"""How much work diagrams may be in the first of the turns that engines take, with each order of the variables."""
MOST_ORDERS = 3
TURN_GUARDS = 200_000_000
"""How many times a guard may be looked at in that turn: states times rules."""
TURN_RULES = 2_500
"""With more rules states are visited one by one, and rules sorted by what they ask; so many count for all."""
WORK_PER_LOOK = 1
GUARDS_PER_LOOK = 2_000
"""With diagrams, and at guards, so much is done in about the time that a query takes of that engine."""
MORE = 4
"""So many times more each next turn."""
LEAST_LOOKS = 5_000
"""So many queries property-directed reachability may take in its first turn; as many as mining where that took more."""
MOST_WORK = 8_000_000
"""Of diagrams: more would take too much memory."""
FIRST_FRAMES = 60
"""How deep property-directed reachability goes before guided search is tried on what is left."""
DEEP_ENOUGH = 12
"""Guided search gives long runs: with a smaller bound on depth it is left out."""
SHORTENING = 5.0
"""So many times as long as all else took shorter runs are looked for at the most; seconds, at least and at most:"""
LEAST_SHORTENING = 1.0
MOST_SHORTENING = 60.0


def decide(
    machine: Machine,
    questions: Sequence[Question],
    limits: Limits = NO_LIMITS,
    report: ProgressCallback = silent,
    found: Lemmas | None = None,
    shortest: bool = True,
    smallest: bool = True,
    searched: guided.GuidedSearch | None = None,
) -> tuple[Claim, ...]:
    """Decides every question within the limits, by whatever engine is best for it; each claim names its engine.

    A refutation's run is the shortest wherever that could be made sure of, unless `shortest` is not asked for;
    from a certificate of facts nothing can be left out, unless `smallest` is not.
    `limits.depth` bounds runs and frames, `limits.states` the states that are looked at one by one.  `found` keeps what
    lemmas are found; whoever gives it wants facts that say why, so that ways of proof that find such come before those
    that only count.  What it kept when time ran out is begun with.  What it
    remembers of an earlier call is tried first; where any run will do, what is left of that
    is strengthened before anything is mined.  Where runs to these questions were `searched` for already the first looks
    are left out.
    """
    strategy = _Strategy(machine, questions, limits, report, found, shortest, smallest, searched)
    reason = ""
    try:
        strategy.run()
        reason = strategy.reason
    except OutOfTime:
        reason = stop_reason(limits, strategy.clock)
        strategy.claim_late()
    except KeyboardInterrupt:
        reason = INTERRUPTED
    finally:
        strategy.close()
    if found is not None:
        found.cut_short = is_time_reason(reason)
    if found is not None and strategy.rules is not None:
        found.keep(strategy.rules, strategy.known())
    return strategy.answers(reason)


class _Strategy:
    def __init__(
        self,
        machine: Machine,
        questions: Sequence[Question],
        limits: Limits,
        report: ProgressCallback,
        found: Lemmas | None,
        shortest: bool,
        smallest: bool,
        searched: guided.GuidedSearch | None,
    ) -> None:
        self.machine = machine
        self.wants_shortest = shortest
        self.hastily = not smallest
        self.remembered = found if found is not None and found.remembered is not None else None
        self.resumed = found if found is not None and found.cut_short else None
        self.found = found
        self.wants_facts = found is not None
        """Whoever asks wants to know why: certificates are looked for where a number of states would do."""
        self.begun = monotonic()
        self.questions = questions
        self.limits = limits
        self.waiting = report
        self.told: set[int] = set()
        """Places of the questions of which whoever waits knows that they are answered."""
        self.clock = clock_of(limits)
        self.claims: dict[int, Claim] = {}
        self.clear = -1
        self.counted: int | None = None
        """The number of reachable states, where all were looked at."""
        self.reason = ""
        self.met: list[State] = []
        """Reachable states that guided search has met."""
        self.sampled: tuple[list[State], Samples] | None = None
        """Some that were met, as samples."""
        self.search = searched
        self.sought = [] if searched is None else list(range(len(questions)))
        """Places of the questions that guided search knows, in its order."""
        self.rules: LocalRules | None = None
        self.lemmas: list[Cube] = []
        self.frames: Frames | None = None
        self.drawn: int | None = None
        """The number of reachable states, where they are in a diagram and every question still open is met by some."""

    def report(self, progress: Progress) -> None:
        """Tells whoever waits, and what was answered meanwhile."""
        new = [at for at in self.claims if at not in self.told] if len(self.told) < len(self.claims) else []
        self.told.update(new)
        about = progress.engine, progress.stage, progress.done, progress.total
        self.waiting(Answered(*about, tuple(self.questions[at].id for at in new)) if new else progress)

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

    def close(self) -> None:
        """Frees what solvers hold."""
        if self.frames is not None:
            self.frames.solver.close()

    def still_open(self) -> list[int]:
        return [at for at in range(len(self.questions)) if at not in self.claims]

    def run(self) -> None:
        if self.search is None:
            self.look_around()
        else:
            self.take_over(self.search)
        if self.still_open() and self.counted is None and not self.wants_facts:
            self.look_at_all()
        if self.still_open() and not self.drawn and (self.counted is None or self.wants_facts):
            self.prove()
        if self.still_open() and self.drawn:
            self.look_for_runs(self.drawn)
        if self.wants_shortest:
            self.shorten()

    def look_around(self) -> None:
        """Breadth-first over as many states as cost next to nothing."""
        self.clock.check()
        rules = len(self.machine.rules)
        most = FIRST_LOOK // (20 + (rules if rules <= by_states.MOST_COMPILED else SORTED) + len(self.questions))
        if self.limits.states is not None:
            most = min(most, self.limits.states)
        limits = replace(self.limits, seconds=self.clock.seconds_left(), states=most)
        search = BreadthFirstSearch(self.machine, limits, counting=False)
        explore(search, self.questions, self.claims, self.report)
        self.clear = search.clear
        if not search.stopped and self.still_open():
            self.counted = len(search.parents)

    def take_over(self, search: guided.GuidedSearch) -> None:
        """What was found, and met, before."""
        self.claim_found(search.found)
        if self.still_open():
            self.met = search.states(MOST_SAMPLES)

    def prove(self) -> None:
        """Mines and strengthens; then engines take turns, each allowed more than the last time."""
        self.clock.check()
        rules = self.rules = LocalRules(self.machine, self.clock)
        if self.counted is not None:
            self.attempt(partial(self.mine, rules, self.clock.within(Allowance(COUNTED_LOOKS))))
            return
        if self.search is None:
            # the states that it meets spare mining most of its guesses
            self.look_guided(self.expecting() or self.still_open(), 1)
        if self.remembered is not None and self.recall(rules, self.remembered):
            return
        allowed = MINING_LOOKS + MINING_LOOKS_EACH * (len(rules.guards) + len(self.questions))
        allowance = Allowance(allowed)
        if self.resumed is not None:
            self.lemmas = self.resumed.taken_up(rules, self.clock, light_solver)
        is_mined = not self.lemmas and (self.remembered is None or self.wants_shortest)
        if is_mined:
            is_mined = self.attempt(partial(self.mine, rules, self.clock.within(allowance)))
        else:
            self.attempt(partial(self.strengthen, rules, self.clock.within(allowance)))
        # facts travel a frame at a time, so a long hold needs more frames than a short one
        deepest: int | None = max(FIRST_FRAMES, len(self.machine.variables))
        looks = max(LEAST_LOOKS, allowed - max(0, allowance.left))
        for turn in count():
            if not self.still_open():
                return
            # where a run is expected there often is none, which is proved sooner than a search gives up
            is_over = self.attempt(partial(self.pursue, rules, self.clock.within(Allowance(looks)), deepest))
            if is_over and deepest is None:
                return
            self.look_guided(self.still_open() if turn else self.expecting(), MORE**turn)
            if not self.still_open():
                return
            if turn or not self.wants_facts:
                self.look_at_more(looks, turn)
                if self.drawn:
                    return
            if turn:
                deepest = None
            if not is_mined and self.still_open():
                allowed *= MORE
                is_mined = self.attempt(partial(self.mine, rules, self.clock.within(Allowance(allowed))))
            looks *= MORE

    def expecting(self) -> list[int]:
        """What is open of which whoever asks expects a run."""
        return [at for at in self.still_open() if self.questions[at].expects_run]

    def recall(self, rules: LocalRules, found: Lemmas) -> bool:
        """Claims what lemmas of an earlier call exclude, if that is all that is open and nobody expects a run to it.

        Else nothing is made of them, nor where a run is still to be shortened: which runs are found, and shown, must
        not depend on what was proved before.  Where any run will do all is begun with them.
        """
        places = self.still_open()
        if self.wants_shortest and (self.expecting() or self.to_be_shortened()):
            return False
        lemmas = found.taken_up(rules, self.clock, light_solver)
        if not self.wants_shortest:
            self.lemmas = lemmas
            return False
        if len(excluded_by(rules, lemmas, places, self.questions, self.clock)) < len(places):
            return False
        self.lemmas = lemmas
        claim_mined(rules, lemmas, self.questions, self.claims, self.clock, self.hastily, self.settle)
        return True

    def attempt(self, what: Callable[[], None]) -> bool:
        """Whether it came to an end within what it was allowed.  Raises OutOfTime where time itself is over."""
        try:
            what()
        except OutOfTime:
            self.clock.check()
            return False
        return True

    def mine(self, rules: LocalRules, clock: Clock) -> None:
        """Claims what mined invariants, strengthened, exclude."""
        written = sum(len(self.machine.domains[name]) for rule in self.machine.rules for name, _ in rule.update)
        if written > MOST_WRITTEN:
            return
        starts = some_initial_states(rules, MOST_STARTS, clock, light_solver)
        if starts:
            targets = [self.questions[at].target for at in self.still_open()]
            starts = spread(starts, self.met)
            self.lemmas = mine(rules, targets, starts, clock, light_solver, self.report, self.samples())
        clock.check()
        self.strengthen(rules, clock)

    def strengthen(self, rules: LocalRules, clock: Clock) -> None:
        """Claims what the lemmas exclude, and what they do once strengthened."""
        frames = self.renew_frames(rules, self.clock)
        strengthen(frames, self.questions, self.claims, self.report, clock, self.go_along, self.hastily, self.settle)
        decided = len(self.claims)
        self.report(Progress(NAME, f"{decided} of {len(self.questions)} decided", decided, len(self.questions)))

    def settle(self, lemmas: Sequence[Cube]) -> None:
        """Nothing more will be found out: whoever waits for the lemmas has them."""
        if self.found is not None and self.rules is not None:
            self.found.keep(self.rules, lemmas)
            self.found.when_settled()

    def pursue(self, rules: LocalRules, clock: Clock, deepest: int | None) -> None:
        """Claims what property-directed reachability decides, from the facts known, up to so many frames."""
        most = self.limits.depth
        frames = self.frames or self.renew_frames(rules, clock)
        frames.clock, frames.samples = clock, self.samples()
        bound = most if deepest is None else deepest if most is None else min(deepest, most)
        try:
            pursue(frames, self.questions, self.claims, bound, self.report, self.go_along)
            self.reason = looked_ahead(frames.top, most)
        finally:
            self.clear = max(self.clear, frames.clear)

    def renew_frames(self, rules: LocalRules, clock: Clock) -> Frames:
        """Frames that begin with all facts that are known."""
        if self.frames is not None:
            self.frames.solver.close()
            self.lemmas = list(self.frames.lemmas)
        self.frames = Frames(rules, self.targets(), clock, light_solver, self.lemmas, self.samples())
        return self.frames

    def samples(self) -> Samples | None:
        """The states that were met, where any were."""
        if self.search is None or self.rules is None:
            return None
        if self.sampled is None or self.sampled[0] is not self.met or self.sampled[1].size > len(self.met):
            self.sampled = self.met, Samples(self.rules.encoding, self.met, self.search.run_to)
        return self.sampled[1]

    @cached_property
    def touched(self) -> int:
        """How many variables the rules touch, each counted for itself."""
        return sum(len({*support_of(self.machine, r.guard), *(n for n, _ in r.update)}) for r in self.machine.rules)

    @property
    def is_loose(self) -> bool:
        """Rules touch few variables each."""
        return self.touched <= LOOSELY_KNIT * len(self.machine.rules)

    def look_at_all(self) -> None:
        """All states, as a small diagram or as arrays, where rules touch few variables each, or few in all."""
        if self.is_loose or self.touched <= SMALL:
            self.draw(FIRST_WORK + WORK_EACH * len(self.machine.rules), 1)
            if not self.drawn:
                self.visit(FIRST_GUARDS)

    def look_at_more(self, looks: int, turn: int) -> None:
        """All states, in such a turn; where rules touch many variables each, for no longer than all else took."""
        work, guards = TURN_WORK * MORE**turn, TURN_GUARDS * MORE**turn
        if not self.is_loose:
            work, guards = min(work, WORK_PER_LOOK * looks), min(guards, GUARDS_PER_LOOK * looks)
        if work >= FIRST_WORK:
            self.draw(min(MOST_WORK, work), MOST_ORDERS)
        if not self.drawn:
            self.visit(guards)

    def draw(self, most: int, orders: int) -> None:
        """Answers from a diagram of all states, if it can be made with so much work in one of so many orders."""
        from interlock.prove.diagrams.saturation import Saturation  # here, as few holds need it

        places = self.still_open()
        search = Saturation(self.machine, [self.questions[at] for at in places], self.clock)
        if search.try_orders(most, self.report, orders):
            states = search.count()
            found: dict[int, Claim] = {}
            try:
                met = search.prove(range(len(places)), found)
                self.claims.update({places[at]: claim for at, claim in found.items()})
                if len(met) == len(self.still_open()):
                    self.drawn = states
                if met and states * (len(self.machine.rules) + 20) <= FIRST_GUARDS:
                    # one by one, runs are the shortest
                    self.visit(FIRST_GUARDS)
                met = {at: goal for at, goal in met.items() if places[at] not in self.claims}
                search.refute(met, found, self.limits.depth)
            finally:
                self.claims = {places[at]: claim for at, claim in found.items()} | self.claims

    def visit(self, guards: int) -> None:
        """Answers by visiting all states, where so many looks at guards are enough."""
        places = self.still_open()
        if not places:
            return
        most = guards // (min(len(self.machine.rules), TURN_RULES) + 20)
        if self.limits.states is not None:
            most = min(most, self.limits.states)
        asked = [self.questions[at] for at in places]
        limits = replace(self.limits, seconds=self.clock.seconds_left(), states=most)
        from interlock.prove.search.enumeration import enumeration  # here, as numpy takes long to load

        visit = by_states.explicit if len(self.machine.rules) > TURN_RULES else enumeration
        for at, claim in zip(places, visit(self.machine, asked, limits, self.report), strict=True):
            if isinstance(claim, Unknown):
                self.clear = max(self.clear, claim.depth)
            else:
                self.claims[at] = claim

    def look_for_runs(self, states: int) -> None:
        """All states are known, and how many they are: to what is open there are runs, but they are long."""
        from interlock.prove.diagrams.saturation import TOO_LONG

        self.reason = TOO_LONG
        if states * (len(self.machine.rules) + 20) <= TURN_GUARDS:
            self.visit(TURN_GUARDS)
        if self.still_open():
            self.look_guided(self.still_open(), LAST_TIMES)
        places = self.still_open()
        if places:
            self.look_bounded(places, bmc.DEEPEST if self.limits.depth is None else self.limits.depth)

    def targets(self) -> list[Expr]:
        return [question.target for question in self.questions]

    def look_guided(self, places: Sequence[int], times: int) -> None:
        """Runs that guided search finds for these questions, and on the way, with so many times its first allowance."""
        if not places or (self.limits.depth is not None and self.limits.depth < DEEP_ENOUGH):
            return
        is_first = self.search is None
        if self.search is None:
            self.sought = self.still_open()
            asked = [self.questions[at] for at in self.sought]
            self.search = guided.GuidedSearch(self.machine, asked, self.limits, self.clock)
        try:
            numbers = [self.sought.index(at) for at in places]
            self.search.run(numbers, FIRST_EXPANDED * times, self.report, IN_VAIN * times)
            if is_first:
                self.search.cover(self.report)
        finally:
            self.met = self.search.states(MOST_SAMPLES)
            self.claim_found(self.search.found)

    def go_along(self, trace: Trace) -> None:
        """What a run that was found leads by: answers to other questions, and states from where others are near."""
        if self.search is not None:
            self.search.follow(trace)
            self.claim_found(self.search.found)
            if self.frames is not None and self.frames.samples is not None:
                self.frames.samples.add(trace.states[1:])

    def claim_found(self, found: Mapping[str, Trace]) -> None:
        for at in self.still_open():
            trace = found.get(self.questions[at].id)
            if trace is not None and (self.limits.depth is None or trace.depth <= self.limits.depth):
                self.claims[at] = Refuted(self.questions[at].id, guided.NAME, trace, shortest=False)

    def to_be_shortened(self) -> list[int]:
        """What has a run that is not known to be shortest, though nobody expects one."""
        return [
            at
            for at, claim in self.claims.items()
            if isinstance(claim, Refuted) and not claim.shortest and not self.questions[at].expects_run
        ]

    def shorten(self) -> None:
        """Looks for shorter runs than those that are not known to be shortest, where the shortest is wanted."""
        long = self.to_be_shortened()
        if not long:
            return
        traces = {at: claim.trace for at in long if isinstance(claim := self.claims[at], Refuted)}
        look = self.look_bounded(long, max(trace.depth for trace in traces.values()) - 1)
        for at, trace in traces.items():
            old = self.claims[at]
            is_kept = isinstance(old, Refuted) and old.trace is trace
            if is_kept and (look.is_exhausted or look.clear >= trace.depth - 1):
                self.claims[at] = Refuted(old.question, old.engine, trace, shortest=True)

    def look_bounded(self, places: Sequence[int], deepest: int) -> BoundedSearch:
        """The shortest runs to the targets of these questions, in whatever time there is."""
        look = BoundedSearch(self.machine, [self.questions[at] for at in places], deepest, never=self.known())
        found: dict[int, Claim] = {}
        took = monotonic() - self.begun
        clock: Clock = self.clock.sooner(min(MOST_SHORTENING, max(LEAST_SHORTENING, SHORTENING * took)))
        try:
            look.run(found, clock, self.report)
        except OutOfTime:
            # The runs stay as they are: right, only perhaps not the shortest.
            self.report(Progress(NAME, f"looking for shorter orders of steps: none up to {look.clear}"))
        finally:
            look.solver.close()
            self.claims.update({places[at]: claim for at, claim in found.items()})
        return look


def spread(starts: Sequence[State], met: Sequence[State]) -> list[State]:
    """The starts, and as many of the states met as make `MOST_PLACED` in all, evenly taken, the last met first."""
    step = max(1, -(-len(met) // max(1, MOST_PLACED - len(starts))))
    return [*starts, *list(reversed(met))[::step]]
