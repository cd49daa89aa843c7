"""The smallest sets of failures that lead to targets, up to a size, with the proof that there are no others.

First all is proved without any failure; what that rests on becomes a pool of clauses, of which it is worked out under
which sets each stays true (see `pool`).  A target that these exclude under a set needs no more.  For what is left, the
smallest sets first, a run is looked for in which nothing outside the set fails: guided, then by property-directed
reachability, which gives clauses for the pool where there is none.

Where a second process is allowed it settles half of the sets between two weighings.  Which sets are the smallest does
not depend on that; which run is found to one, and by which reasons a target is excluded, may.

Reference (from memory)
  A. R. Bradley: SAT-based model checking without unrolling. VMCAI 2011.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from functools import reduce
from itertools import combinations, islice, permutations, product
from operator import or_

from interlock.kernel.beside import Beside, may_begin
from interlock.kernel.claims import Limits, Progress, ProgressCallback, Trace, silent
from interlock.kernel.evaluator import State, evaluate, initial_states, is_enabled
from interlock.kernel.expressions import assign
from interlock.kernel.failures import (
    Kept,
    Reason,
    Sets,
    SmallestSets,
    Tolerance,
    at_risk,
    failures_of,
    members_of,
    number_of_sets,
    smallest,
    without_reason,
)
from interlock.kernel.machine import Machine, Question, Rule
from interlock.kernel.recovery import without_failures
from interlock.prove.certificates.trimming import trim
from interlock.prove.core.cone import lifted
from interlock.prove.core.constants import without
from interlock.prove.core.encoding import TRUTH
from interlock.prove.core.local import Cube, LocalRules
from interlock.prove.core.samples import Samples
from interlock.prove.core.solvers import light_solver
from interlock.prove.core.starts import some_initial_states
from interlock.prove.engine import INTERRUPTED, NO_LIMITS, OutOfTime, clock_of, is_waited_for, stop_reason
from interlock.prove.failures.ahead import Ahead
from interlock.prove.failures.likes import Likes
from interlock.prove.failures.narrowing import Narrowing, mask_of, places_in
from interlock.prove.failures.news import Fired, News
from interlock.prove.failures.one_set import OneSet
from interlock.prove.failures.pool import Pool, is_in, parts_of, row_of
from interlock.prove.failures.runs import SharedRuns, with_failures
from interlock.prove.failures.states import Ending, Met, Nominal, extended, loosely_after, struck_late
from interlock.prove.frames.frames import Frames
from interlock.prove.invariants.mined import MOST_STARTS, mine
from interlock.prove.search.guided import GuidedSearch

NAME = "failures"
MOST_SETS = 5_000_000
"""More sets are not told apart: the size is lowered until there are no more."""
MOST_OPEN = 100
"""Where more sets of the largest size are open than this nothing is claimed about that size."""
MOST_SAMPLED = 1_000
"""So many states that are reached without a failure are kept."""
MOST_SPREAD = 20_000
"""How many states are expanded without a failure where facts meet that did not meet before."""
WEIGHED_AT_ONCE = 1 << 16
"""It is weighed for so many sets at a time what is not shown of them ..."""
MORE_AT_THE_END = 4
"""... so many times as many where all are weighed, as that takes a while however few they are ..."""
SETTLED_AT_ONCE = 100
"""... and anew once so many of them are settled, as that shows something of others."""
TOLD_AT_ONCE = 40
"""So many sets are settled by two processes before each tells the other what it found out."""
NEIGHBOURS = 4
"""So many sets in a row are settled by the same of them: they are alike, and what is found of one serves the next."""
MOST_STANDING_IN = 3
"""In so many runs to a target another failure may strike instead of one ..."""
MOST_STOOD_IN_VAIN = 2
"""... until for so many targets, one after the other, that led to none of them."""
STRIKES = -1
"""Stands in an ending for a failure that strikes, whichever it is."""
MOST_FOLLOWED = 40
"""So many endings that are known are followed for a target, those that were noted last."""
MOST_LOOSELY = 12
"""So many endings that are known are followed for a target where not all of their rules need to fire ..."""
LED_IN = 8
"""... and as many that begin so many steps before the failure."""
MOST_GUESSED = 500
"""So many clauses are guessed from what one set taught: each that is in the pool costs time under every set."""
MOST_EXPANDED = 400
"""How many states guided search expands for a target under one set ..."""
MOST_IN_VAIN = 400
"""... and how many in vain for all of them."""
MOST_GUIDED_IN_VAIN = 3
"""After so many sets, one after the other, under which it found nothing it is not asked any more."""


def smallest_sets(
    machine: Machine,
    questions: Sequence[Question],
    most: int,
    limits: Limits = NO_LIMITS,
    report: ProgressCallback = silent,
) -> tuple[SmallestSets, ...]:
    """Per question the smallest sets of at most `most` failures that lead to its target; what is not known is `open`.

    The machine has been through `with_monitors`.  Raises NotFailures.
    """
    failures = failures_of(machine)
    size = min(most, len(failures))
    while size > 1 and number_of_sets(len(failures), size) > MOST_SETS:
        size -= 1
    work = _Work(machine, questions, failures, size, limits, report)
    reason = "" if size == min(most, len(failures)) else f"there are more than {MOST_SETS:,} sets of more than {size}"
    try:
        work.run()
    except OutOfTime:
        reason = stop_reason(limits, work.clock)
    except KeyboardInterrupt:
        reason = INTERRUPTED
    return work.claims(reason)


class _Work:
    def __init__(
        self,
        machine: Machine,
        questions: Sequence[Question],
        failures: tuple[str, ...],
        most: int,
        limits: Limits,
        report: ProgressCallback,
    ) -> None:
        self.machine = machine
        self.questions = questions
        self.failures = failures
        self.most = most
        self.sets = Sets(len(failures), 0)
        """Those of as many members as have been asked about: there are far fewer of the smaller ones."""
        self.limits = limits
        self.report = report
        self.clock = clock_of(limits)
        self.rules = LocalRules(machine)
        self.number = {rule.name: at for at, rule in enumerate(machine.rules)}
        self.narrowing = Narrowing(self.rules, failures)
        self.pool = Pool(self.narrowing, self.sets, most, self.clock)
        self.missing: list[int] = []
        """Per question the family of the sets under which it was open when that was weighed: of those weighed then."""
        self.waiting = 0
        """The family of those under which some question was open."""
        self.rows: list[bytes] = []
        """Per question which these were, to be looked up."""
        self.runs: list[dict[frozenset[str], Trace]] = [{} for _ in questions]
        """Per question a run for each set known to lead to its target."""
        self.shared = SharedRuns(machine)
        self.ends: dict[frozenset[str], dict[State, Trace]] = {}
        """Per set of failures the states in which runs to targets end where they strike, each with such a run."""
        self.endings: list[dict[Ending, None]] = [{} for _ in questions]
        """Per question how runs to its target went on after each failure."""
        self.led_in: list[dict[Ending, None]] = [{} for _ in questions]
        """Per question the same, begun some steps before the failure."""
        self.beside: list[dict[frozenset[str], list[str]]] = [{} for _ in questions]
        """Per question, by failures, those with one of which they are known to lead to its target."""
        self.stood_in: dict[str, dict[str, None]] = {name: {} for name in failures}
        """Per failure those in the place of which it struck in a run to the same target, the last one last."""
        self.leading: list[set[int]] = [set() for _ in questions]
        """Per question the sets, as masks, of which runs to its target are known."""
        self.place = {name: at for at, name in enumerate(failures)}
        self.nominal: Nominal | None = None
        self.strikes: dict[str, list[Rule]] = {name: [] for name in failures}
        """Per failure the rules by which it strikes: one for every way in which mechanism can follow."""
        for rule, owner in zip(machine.rules, self.narrowing.owners, strict=True):
            if owner is not None and (failures[owner], True) in rule.update:
                self.strikes[failures[owner]].append(rule)
        self.strikes_of = {name: [self.number[rule.name] for rule in rules] for name, rules in self.strikes.items()}
        """The same, by their numbers."""
        self.striking = frozenset(rule for rules in self.strikes_of.values() for rule in rules)
        """All of these."""
        self.guesses: dict[int, list[Cube]] = {}
        """Cubes that may be kept out, by the mask of the failures that they name: under sets that have these."""
        self.likes: Likes | None = None
        self.ahead: Ahead | None = None
        self.hard: set[frozenset[int]] = set()
        """Questions that were put off together under some set of this turn."""
        self.guided_in_vain = 0
        """Under so many sets guided search found nothing since it found something."""
        self.news = News()
        self.truth = [self.rules.encoding.gate(question.target) for question in questions]

    def run(self) -> None:
        """All of it.  Raises OutOfTime."""
        self.report(Progress(NAME, "proving what is so without any failure"))
        self.pool.add(self.without_any())
        self.report(Progress(NAME, "what stays true whatever fails"))
        self.pool.aim(self.truth)
        for at, known in enumerate(self.leading):
            if not known:
                self.pool.excludes(at, 0)
        first = 0
        for size in range(self.most + 1):
            self.grow(size)
            end = len(self.sets.members)
            # where others have been, runs that are hard to find mostly begin
            for thoroughly in (False, True):
                self.settle_all(first, end, thoroughly)
            first = end

    def grow(self, size: int) -> None:
        """Sets of so many members are asked about, too."""
        self.sets = Sets(len(self.failures), size)
        self.pool.grow(self.sets)

    def settle_all(self, first: int, end: int, thoroughly: bool) -> None:
        """Settles all sets from one number up to another, or those that little work settles."""
        self.hard = set()
        while first < end:
            upto = min(end, first + WEIGHED_AT_ONCE)
            self.weigh(first, upto)
            # what a process has beside this one would not be reckoned with
            divided = may_begin() and self.limits.memory is None
            block = list(islice(self.open_sets(), SETTLED_AT_ONCE * (1 + divided)))
            if divided and len(block) > 1:
                for at in range(0, len(block), TOLD_AT_ONCE):
                    self.settle_beside(block[at : at + TOLD_AT_ONCE], thoroughly)
            else:
                self.settle_some(block, thoroughly)
            first = block[-1] + 1 if block else upto

    def settle_beside(self, block: Sequence[int], thoroughly: bool) -> None:
        """Settles the sets of these numbers, some of them (`NEIGHBOURS`) here and as many in another process, in turns.

        Each half knows what was known before both; what came of the other is added to what came of this one.  Sets
        that take long lie near each other.
        """
        row = min(NEIGHBOURS, (len(block) + 1) // 2)
        halves: tuple[list[int], list[int]] = ([], [])
        for at, number in enumerate(block):
            halves[at // row % 2].append(number)
        with Beside(lambda: self.settled(halves[1], thoroughly, silent)) as other:
            own = self.settled(halves[0], thoroughly, self.report)
            if not is_waited_for(other, self.limits):
                raise OutOfTime
            theirs = other.result()
        if theirs is not self.news:
            self.take(theirs)
        if own.is_over or theirs.is_over:
            raise OutOfTime

    def settled(self, numbers: Sequence[int], thoroughly: bool, report: ProgressCallback) -> News:
        """What comes of settling the sets of these numbers within the time."""
        before, self.report = self.report, report
        try:
            self.settle_some(numbers, thoroughly)
        except OutOfTime:
            self.news.is_over = True
        finally:
            self.report = before
        self.news.learned = self.pool.learned()
        if self.nominal is not None:
            self.news.ways, self.news.in_vain = list(map(self.fired, self.nominal.ways)), self.nominal.in_vain
        self.news.guided_in_vain = self.guided_in_vain
        return self.news

    def settle_some(self, numbers: Sequence[int], thoroughly: bool) -> None:
        """Settles the sets of these numbers; what is found out is news from now on."""
        self.news = News()
        self.pool.note_from_now()
        if self.nominal is not None:
            self.nominal.ways, self.nominal.in_vain = [], []
        for number in numbers:
            self.report(Progress(NAME, "sets of failures", number, len(self.sets.members)))
            self.settle(number, thoroughly)

    def take(self, news: News) -> None:
        """Adds what was found out elsewhere since this here was what was known there."""
        for at, fired in news.runs:
            self.found(at, self.shared.told(*fired))
        for name, other in news.stood_in:
            self.note_standing_in(name, other)
        self.note_guesses(news.guesses)
        self.hard |= news.hard
        self.guided_in_vain = min(self.guided_in_vain, news.guided_in_vain)
        if self.nominal is not None:
            self.nominal.take([self.shared.told(*fired) for fired in news.ways], news.in_vain)
        self.pool.learn(news.learned)

    def note_standing_in(self, name: str, other: str) -> None:
        """Notes that a failure struck in the place of another, as the last of which that is known."""
        self.news.stood_in.append((name, other))
        self.stood_in[name].pop(other, None)
        self.stood_in[name][other] = None

    def note_guesses(self, cubes: Iterable[Cube]) -> None:
        """Notes cubes that may be kept out."""
        for cube in cubes:
            self.news.guesses.append(cube)
            self.guesses.setdefault(self.pool.failures_in(cube), []).append(cube)

    def fired(self, run: Trace) -> Fired:
        """The run, to be told."""
        return run.states[0], tuple(self.number[name] for name in run.rules)

    def weigh(self, first: int, end: int) -> None:
        """Works out what is not shown yet of the sets from that number on and before the other."""
        self.pool.weigh(first, end)
        part = self.pool.part
        self.missing = [without_reason(part, one.reasons, self.pool.lost) for one in self.pool.targets]
        for at, known in enumerate(self.leading):
            for members in known if self.missing[at] else ():
                self.missing[at] &= ~part.above(places_in(members))
        self.waiting = reduce(or_, self.missing, 0)
        self.rows = [row_of(part, family) for family in self.missing]

    def open_under(self, number: int) -> list[int]:
        """The questions of which it is not known whether the set of that number leads to their target."""
        parts = frozenset(parts_of(self.sets.members[number]))
        both = zip(self.rows, self.leading, strict=True)
        place = number - self.pool.part.first
        return [at for at, (row, known) in enumerate(both) if is_in(row, place) and parts.isdisjoint(known)]

    def open_sets(self) -> Iterator[int]:
        """The sets that were weighed, by number, of which it is not known to what they lead."""
        for place in places_in(self.waiting):
            if self.open_under(place + self.pool.part.first):
                yield place + self.pool.part.first

    def named(self, number: int) -> tuple[str, ...]:
        """The members of the set of that number."""
        return tuple(self.failures[at] for at in self.sets.members[number])

    def without_any(self) -> list[Cube]:
        """Clauses that hold for good while nothing fails, enough to exclude what then cannot be reached."""
        never = dict.fromkeys(self.failures, False)
        machine = without(without_failures(self.machine), never)
        questions = [replace(question, target=assign(question.target, never)) for question in self.questions]
        clock = self.clock
        rules = LocalRules(machine)
        starts = some_initial_states(rules, MOST_STARTS, clock, light_solver)
        if not starts:
            return []
        targets = [question.target for question in questions]
        search = GuidedSearch(machine, questions, self.limits, clock)
        search.cover(self.report)
        states = list(dict.fromkeys([*search.states(MOST_SAMPLED), *search.spread(MOST_SPREAD)]))
        samples = Samples(rules.encoding, states, search.run_to)
        lemmas = mine(rules, targets, starts, clock, light_solver, self.report, samples)
        frames = Frames(rules, targets, clock, light_solver, lemmas, samples)
        every = list(range(len(targets)))
        runs: dict[int, Trace] = {}
        try:
            runs.update(frames.strengthen(frames.not_excluded(every), self.report))
            runs.update(frames.run([at for at in every if at not in runs], None, self.report))
            found = frames.lemmas if frames.invariant is None else frames.invariant
        finally:
            frames.solver.close()
        kept = [at for at in every if at not in runs]
        needed = trim(rules, found, [rules.encoding.gate(targets[at]) for at in kept], clock, light_solver)
        everywhere = self.translated(rules, found)
        self.nominal = Nominal(self.rules, machine, search, states, everywhere, clock)
        for at, run in runs.items():
            self.found(at, Trace(run.rules, tuple(map(self.nominal.whole, run.states))))
        return self.translated(rules, needed)

    def translated(self, rules: LocalRules, cubes: Iterable[Cube]) -> list[Cube]:
        """Cubes of the machine without failures as cubes of the whole."""
        literals = self.rules.encoding.literals
        same: dict[int, int] = {}
        for fact, literal in rules.encoding.literals.items():
            same[literal], same[-literal] = literals[fact], -literals[fact]
        return [tuple(sorted(same[literal] for literal in cube)) for cube in cubes]

    def settle(self, number: int, thoroughly: bool) -> None:
        """Finds for each of the questions that are open a run under the set, or clauses that exclude its target.

        Unless `thoroughly`, as far as little work does.
        """
        self.stand_in(number)
        left = self.open_under(number)
        if not left:
            return
        own = self.named(number)
        if self.nominal is not None:
            self.nominal.take_notes()
        for part in parts_of(self.sets.members[number]):
            self.pool.guess(self.guesses.pop(part, ()))
        parts = [frozenset(part) for size in range(1, len(own)) for part in combinations(own, size)]
        met = None if self.nominal is None else Met(self.nominal, own, self.strikes)

        def look_ahead(places: Sequence[int], met: Met, lanes: Collection[int]) -> Mapping[int, Trace]:
            found = self.look_ahead(own, [left[place] for place in places], met, lanes)
            return {left.index(at): trace for at, trace in found.items()}

        search = OneSet(
            self.narrowing.under(self.sets.members[number]),
            [self.truth[at] for at in left],
            lambda place, shortly: self.pool.excludes(left[place], number, shortly),
            lambda: self.cubes_under(number, self.pool.standing(number)),
            lambda: self.cubes_under(number, self.pool.staying(number)),
            met,
            self.clock,
            lambda place, trace: self.found(left[place], trace),
            lambda place, loosely: self.endings_under(left[place], own, loosely),
            look_ahead,
            lambda: [run for part in parts for run in self.ends.get(part, {}).values()],
            lambda met: self.pool.meet(number, met.within),
        )

        def guide(places: Sequence[int]) -> Mapping[int, Trace]:
            traces = self.look_guided(own, [left[place] for place in places])
            return {left.index(at): trace for at, trace in traces.items()}

        places = {at: place for place, at in enumerate(left)}
        hard = {frozenset(places[at] for at in some) for some in self.hard if places.keys() >= some}
        needed = search.run(guide if thoroughly else None, self.report, hard)
        if search.put_off:
            hard_ones = frozenset(left[place] for place in search.put_off)
            self.hard.add(hard_ones)
            self.news.hard.add(hard_ones)
        if search.left:
            self.pool.add(needed, number)
            self.note_guesses(self.like(needed)[:MOST_GUESSED])
            for place in search.left:
                if not self.pool.excludes(left[place], number):
                    raise AssertionError("what excludes a target does not do so in the pool")

    def stand_in(self, number: int) -> None:
        """Finds runs under the set that are known ones in which one of its members strikes in the place of another."""
        own = frozenset(self.named(number))
        for name in sorted(own):
            rest, stood_in = own - {name}, self.stood_in[name]
            in_vain = 0
            for at in self.open_under(number):
                others = self.beside[at].get(rest, [])
                likely = [*(one for one in reversed(stood_in) if one in others), *reversed(others)]
                is_found = False
                for other in list(dict.fromkeys(likely))[:MOST_STANDING_IN]:
                    run = self.instead(at, self.runs[at][rest | {other}], other, name)
                    if run is not None:
                        self.found(at, run)
                        self.note_standing_in(name, other)
                        is_found = True
                        break
                in_vain = 0 if is_found or not others else in_vain + 1
                if in_vain >= MOST_STOOD_IN_VAIN:
                    break

    def instead(self, at: int, run: Trace, other: str, name: str) -> Trace | None:
        """The run with this failure in the place of the other one; None where that does not lead to the target."""
        strikes = set(self.strikes_of[other])
        step = next(step for step, rule in enumerate(run.rules) if self.number[rule] in strikes)
        strike = next((one for one in self.strikes[name] if is_enabled(self.machine, one, run.states[step])), None)
        if strike is None:
            return None
        begun = extended(self.machine, Trace(run.rules[:step], run.states[: step + 1]), (strike,))
        after = loosely_after(self.machine, begun, map(self.machine.rule, run.rules[step + 1 :]))
        return after if evaluate(self.machine, self.questions[at].target, after.states[-1]) else None

    def look_ahead(
        self, own: Collection[str], asked: Sequence[int], met: Met, lanes: Collection[int]
    ) -> dict[int, Trace]:
        """Runs in which nothing but these fails, to the targets of those of these questions that are found."""
        if self.ahead is None:
            start = next(initial_states(self.machine))
            targets = [one.target for one in self.questions]
            self.ahead = Ahead(self.machine, targets, self.strikes_of, start, self.clock)
        return self.ahead.look(asked, own, met, lanes)

    def like(self, cubes: Iterable[Cube]) -> list[Cube]:
        """Cubes that say of other places what these say, and that no state known to be reached is in."""
        nominal = self.nominal
        if self.likes is None:
            self.likes = Likes(self.rules.encoding, [question.target for question in self.questions])
        found = {other: None for cube in cubes for other in self.likes.of(cube)}
        return [one for one in found if nominal is None or not nominal.samples.within(one)]

    def cubes_under(self, number: int, clauses: Iterable[int]) -> list[Cube]:
        """What these clauses keep out under the set of that number, where no other failure can have struck."""
        members = set(self.sets.members[number])
        off = {literal for at, literal in enumerate(self.pool.off) if at not in members}
        return [
            tuple(literal for literal in cube if literal not in off)
            for cube in (self.pool.cubes[at] for at in clauses)
            if not any(-literal in off for literal in cube)
        ]

    def look_guided(self, own: Collection[str], left: Sequence[int]) -> dict[int, Trace]:
        """Runs, by question, in which nothing but these fails."""
        if self.guided_in_vain >= MOST_GUIDED_IN_VAIN:
            return {}
        never = {name: False for name in self.failures if name not in own}
        machine = without(with_failures(self.machine, own), never)
        asked = {self.questions[at].id: at for at in left}
        targets = {at: assign(self.questions[at].target, never) for at in left}
        questions = [Question(self.questions[at].id, target, True) for at, target in targets.items()]
        search = GuidedSearch(machine, questions, self.limits, self.clock)
        search.run(range(len(asked)), MOST_EXPANDED, self.report, MOST_IN_VAIN)
        self.guided_in_vain = 0 if search.found else self.guided_in_vain + 1
        return {asked[id]: lifted(self.machine, machine, trace) for id, trace in search.found.items()}

    def found(self, at: int, trace: Trace) -> None:
        """Notes a run to the question's target."""
        self.news.runs.append((at, self.fired(trace)))
        owners, number = self.narrowing.owners, self.number
        members = {owner for name in trace.rules if (owner := owners[number[name]]) is not None}
        own = frozenset(self.failures[owner] for owner in members)
        known = self.runs[at].get(own)
        trace = self.shared.of(trace)
        late = self.shared.of(struck_late(self.machine, trace, lambda name: owners[number[name]] is not None))
        if known is None:
            for name in own:
                self.beside[at].setdefault(own - {name}, []).append(name)
        if known is None or trace.depth < known.depth:
            self.runs[at][own] = late
        self.leading[at].add(mask_of(members))
        self.ends.setdefault(own, {}).setdefault(trace.states[-1], trace)
        if members:
            for run in (trace, late):
                self.note_ends(at, run)

    def note_ends(self, at: int, run: Trace) -> None:
        """Notes how a run to the question's target goes on after each failure, and where it was before that.

        Another failure may strike there instead.
        """
        owners = self.narrowing.owners
        fired = [self.number[name] for name in run.rules]
        ending: list[int] = []
        for step in reversed(range(len(fired))):
            rule = fired[step]
            if owners[rule] is None:
                ending.append(rule)
                continue
            if rule not in self.striking:
                return  # it heals, which no other failure need do
            self.note_ending(self.endings[at], reversed(ending))
            ending.append(STRIKES)
            lead = [one for one in fired[max(0, step - LED_IN) : step] if owners[one] is None]
            self.note_ending(self.led_in[at], [*lead, *reversed(ending)])
            before = Trace(run.rules[:step], run.states[: step + 1])
            struck = frozenset(self.failures[owner] for one in fired[:step] if (owner := owners[one]) is not None)
            if struck:
                self.ends.setdefault(struck, {}).setdefault(before.states[-1], before)
            elif self.nominal is not None:
                self.nominal.note(before)

    @staticmethod
    def note_ending(known: dict[Ending, None], ending: Iterable[int]) -> None:
        """Adds it as the last of those that are known."""
        rules = tuple(ending)
        known.pop(rules, None)
        known[rules] = None

    def endings_under(self, at: int, own: Sequence[str], loosely: bool) -> Iterator[Ending]:
        """How runs to the question's target may end under the set, as those that were noted last did under others.

        If `loosely`, also begun with what came before them.
        """
        noted = (self.endings[at], self.led_in[at]) if loosely else (self.endings[at],)
        most = MOST_LOOSELY if loosely else MOST_FOLLOWED
        known = [ending for some in noted for ending in islice(reversed(some), most)]
        for ending in known:
            left = ending.count(STRIKES)
            if not left:
                yield ending
            elif left < len(own) or (loosely and left == len(own)):
                for members in permutations(own, left):
                    for strikes in product(*(self.strikes_of[name] for name in members)):
                        instead = iter(strikes)
                        yield tuple(next(instead) if rule == STRIKES else rule for rule in ending)

    def claims(self, reason: str) -> tuple[SmallestSets, ...]:
        """One per question."""
        self.pool.close()
        found = []
        finished = bool(self.missing)
        families = self.families() if finished else []
        tolerance, place_of = self.tolerance() if finished else (None, {})
        for at, question in enumerate(self.questions):
            listed = smallest(self.runs[at])
            runs = tuple(self.runs[at][one] for one in listed)
            names = tuple(tuple(sorted(one)) for one in listed)
            if not finished:
                found.append(SmallestSets(question.id, NAME, -1, names, runs, (), (), None, reason))
                continue
            asked = self.pool.targets[at]
            most = self.size_settled(families[at])
            family = families[at] & (1 << number_of_sets(len(self.failures), most)) - 1
            opened_sets = [frozenset(self.failures[m] for m in members) for members in members_of(self.sets, family)]
            left = smallest(opened_sets) if most > 1 else opened_sets
            clear = tuple(
                Reason(tuple(place_of[c] for c in one.clauses), one.failures)
                for one in asked.reasons
                if all(c in place_of for c in one.clauses)
            )
            opened = tuple(tuple(sorted(one)) for one in left)
            found.append(SmallestSets(question.id, NAME, most, names, runs, opened, clear, tolerance, reason))
        return tuple(found)

    def families(self) -> list[int]:
        """Per question the family of all sets under which it is open."""
        weighed: list[list[bytes]] = []
        count, some = len(self.sets.members), MORE_AT_THE_END * WEIGHED_AT_ONCE
        for first in range(0, count, some):
            self.weigh(first, min(count, first + some))
            weighed.append([family.to_bytes(some // 8, "little") for family in self.missing])
        return [int.from_bytes(b"".join(parts), "little") for parts in zip(*weighed, strict=True)]

    def size_settled(self, family: int) -> int:
        """Up to which size sets are claimed about where those of the family are open; few of a size can be named."""
        count, size = len(self.failures), len(self.sets.members[-1])
        while size > 1 and (family >> number_of_sets(count, size - 1)).bit_count() > MOST_OPEN:
            size -= 1
            family &= (1 << number_of_sets(count, size)) - 1
        return size

    def tolerance(self) -> tuple[Tolerance, dict[int, int]]:
        """The part of the pool that the questions rest on, and the place of each of its clauses."""
        pool, rules = self.pool, self.machine.rules
        needed: dict[int, None] = {}
        waiting = [at for one in self.pool.targets for reason in one.reasons for at in reason.clauses]
        while waiting:
            at = waiting.pop()
            if at not in needed:
                needed[at] = None
                waiting += [c for one in pool.kept[at].values() for reason in one.reasons for c in reason.clauses]
        order = sorted(needed)
        place_of = {at: place for place, at in enumerate(order)}
        clauses = tuple(self.rules.clause(pool.cubes[at]) for at in order)
        kept = []
        for place, rule in at_risk(self.machine, clauses):
            number = self.number[rule.name]
            one = pool.kept[order[place]].get(number)
            # a rule that can never fire was not asked about
            reasons = [Reason((), ())] if one is None and self.rules.guards[number] == -TRUTH else []
            reasons += [
                Reason(tuple(place_of[c] for c in reason.clauses), reason.failures)
                for reason in (() if one is None else one.reasons)
            ]
            if reasons:
                kept.append(Kept(place, rules[number].name, tuple(reasons)))
        return Tolerance(self.failures, clauses, tuple(kept)), place_of
