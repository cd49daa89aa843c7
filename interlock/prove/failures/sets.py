"""The smallest sets of failures that lead to targets, up to a size, with the proof that there are no others.

First all is proved without any failure; what that rests on becomes a pool of clauses, of which it is worked out under
which sets each stays true (see `pool`).  A target that these exclude under a set needs no more.  For what is left, the
smallest sets first, a run is looked for in which nothing outside the set fails: guided, then by property-directed
reachability, which gives clauses for the pool where there is none.

Reference (from memory)
  A. R. Bradley: SAT-based model checking without unrolling. VMCAI 2011.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

from interlock.kernel.claims import Limits, Progress, ProgressCallback, Trace, silent
from interlock.kernel.evaluator import State, fire, truths_in
from interlock.kernel.expressions import Expr
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
    struck_by,
    without_reason,
)
from interlock.kernel.machine import Machine, Question, Rule
from interlock.kernel.recovery import without_failures
from interlock.prove.certificates.trimming import trim
from interlock.prove.core.encoding import TRUTH
from interlock.prove.core.local import Cube, LocalRules
from interlock.prove.core.samples import Samples
from interlock.prove.core.solvers import light_solver
from interlock.prove.core.starts import some_initial_states
from interlock.prove.engine import INTERRUPTED, NO_LIMITS, OutOfTime, clock_of, stop_reason
from interlock.prove.failures.pool import Obligation, Pool
from interlock.prove.failures.runs import with_failures
from interlock.prove.frames.frames import Frames
from interlock.prove.invariants.mined import MOST_STARTS, mine
from interlock.prove.search.guided import GuidedSearch

NAME = "failures"
MOST_SETS = 5_000_000
"""More sets are not told apart: the size is lowered until there are no more."""
MOST_SAMPLED = 1_000
"""So many states that are reached without a failure are kept."""
MOST_EXPANDED = 400
"""How many states guided search expands for a target under one set."""


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
    work = _Work(machine, questions, failures, Sets(len(failures), size), limits, report)
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
        sets: Sets,
        limits: Limits,
        report: ProgressCallback,
    ) -> None:
        self.machine = machine
        self.questions = questions
        self.failures = failures
        self.sets = sets
        self.limits = limits
        self.report = report
        self.clock = clock_of(limits)
        self.rules = LocalRules(machine)
        self.number = {rule.name: at for at, rule in enumerate(machine.rules)}
        self.owners = [struck_by(rule, failures) for rule in machine.rules]
        self.pool = Pool(self.rules, failures, sets, self.clock)
        self.asked: list[Obligation] = []
        self.runs: list[dict[frozenset[str], Trace]] = [{} for _ in questions]
        """Per question a run for each set known to lead to its target."""
        self.samples: Samples | None = None
        """States that are reached without a failure."""
        self.strikes: dict[str, list[Rule]] = {name: [] for name in failures}
        """Per failure the rules by which it strikes: one for every way in which mechanism can follow."""
        for rule, owner in zip(machine.rules, self.owners, strict=True):
            if owner is not None and (owner, True) in rule.update:
                self.strikes[owner].append(rule)
        self.truth = [self.rules.encoding.gate(question.target) for question in questions]

    def run(self) -> None:
        """All of it.  Raises OutOfTime."""
        self.report(Progress(NAME, "proving what is so without any failure"))
        self.pool.add(self.without_any())
        self.report(Progress(NAME, "what stays true whatever fails"))
        self.asked = [self.pool.ask(target) for target in self.truth]
        for number in range(len(self.sets.members)):
            if number % 50 == 0:
                self.report(Progress(NAME, "sets of failures", number, len(self.sets.members)))
            while left := self.left_under(number):
                self.settle(number, left)

    def left_under(self, number: int) -> list[int]:
        """The questions of which it is not known whether the set leads to their target."""
        own = self.named(number)
        return [at for at, one in enumerate(self.asked) if one.given_up >> number & 1 and self.is_left(at, own)]

    def named(self, number: int) -> frozenset[str]:
        return frozenset(self.failures[at] for at in self.sets.members[number])

    def without_any(self) -> list[Cube]:
        """Clauses that hold for good while nothing fails, enough to exclude what then cannot be reached."""
        machine = without_failures(self.machine)
        rules = LocalRules(machine)
        clock = self.clock
        starts = some_initial_states(rules, MOST_STARTS, clock, light_solver)
        if not starts:
            return []
        targets = [question.target for question in self.questions]
        search = GuidedSearch(machine, self.questions, self.limits, clock)
        search.cover(self.report)
        self.samples = Samples(rules.encoding, search.states(MOST_SAMPLED), search.run_to)
        lemmas = mine(rules, targets, starts, clock, light_solver, self.report, self.samples)
        frames = Frames(rules, targets, clock, light_solver, lemmas, self.samples)
        every = list(range(len(targets)))
        try:
            for at, trace in frames.strengthen(frames.not_excluded(every), self.report):
                self.found(at, trace)
            open_ = [at for at in every if frozenset() not in self.runs[at]]
            for at, trace in frames.run(open_, None, self.report):
                self.found(at, trace)
            found = frames.lemmas if frames.invariant is None else frames.invariant
        finally:
            frames.solver.close()
        kept = [at for at in every if frozenset() not in self.runs[at]]
        needed = trim(rules, found, [rules.encoding.gate(targets[at]) for at in kept], clock, light_solver)
        return self.under(needed)

    def under(self, cubes: Sequence[Cube], members: Sequence[int] = ()) -> list[Cube]:
        """The cubes without what they say of failures that, under the set of these, can never strike."""
        off = {-literal: literal for at, literal in enumerate(self.pool.off) if at not in members}
        return [
            tuple(literal for literal in cube if -literal not in off) for cube in cubes if off.keys().isdisjoint(cube)
        ]

    def settle(self, number: int, left: Sequence[int]) -> None:
        """Finds for each of the questions a run under the set, or clauses that exclude its target under it."""
        members = self.sets.members[number]
        own = self.named(number)
        gone = {at for at, owner in enumerate(self.owners) if owner is not None and owner not in own}
        rules = self.rules.without(gone)
        never = [(-self.pool.off[at],) for at in range(len(self.failures)) if at not in members]
        alive = [self.pool.cubes[at] for at in self.pool.alive(number)]
        targets = [self.questions[at].target for at in left]
        samples = Met(self.samples, own, self) if self.samples else None
        frames = Frames(rules, targets, self.clock, light_solver, [*never, *alive], samples)

        def open_places() -> list[int]:
            return [place for place in frames.not_excluded(range(len(left))) if self.is_left(left[place], own)]

        def note(found: Iterable[tuple[int, Trace]]) -> None:
            for place, trace in found:
                self.found(left[place], trace)
                # where one run has been others begin
                if samples is not None:
                    samples.meet(trace)

        try:
            places = open_places()
            if places:
                note(frames.strengthen(places, self.report))
                places = open_places()
            if places:
                traces = self.look_guided(own, [left[place] for place in places])
                note((left.index(at), trace) for at, trace in traces.items())
                places = open_places()
            lemmas: Sequence[Cube] = frames.lemmas
            if places:
                note(frames.run(places, None, self.report))
                lemmas = lemmas if frames.invariant is None else frames.invariant
        finally:
            frames.solver.close()
        still = [at for at in left if self.is_left(at, own)]
        if still:
            needed = trim(rules, lemmas, [self.truth[at] for at in still], self.clock, light_solver)
            self.pool.add(self.under(needed, members), number)
            for obligation in self.asked:
                self.pool.ask_again(obligation)

    def is_left(self, at: int, own: frozenset[str]) -> bool:
        """No run to the question's target is known in which nothing but these fails."""
        return not any(known <= own for known in self.runs[at])

    def look_guided(self, own: frozenset[str], left: Sequence[int]) -> dict[int, Trace]:
        """Runs, by question, in which nothing but these fails."""
        asked = {self.questions[at].id: at for at in left}
        questions = [replace(self.questions[at], expects_run=True) for at in left]
        search = GuidedSearch(with_failures(self.machine, own), questions, self.limits, self.clock)
        search.run(range(len(asked)), MOST_EXPANDED, self.report)
        return {asked[id]: trace for id, trace in search.found.items()}

    def struck(self, own: frozenset[str], trace: Trace) -> Trace | None:
        """The run, and then these failures strike; None where one of them cannot any more."""
        fired, states = list(trace.rules), list(trace.states)
        for name in sorted(own):
            rule = self.first_enabled(self.strikes[name], states[-1])
            if rule is None:
                return None
            fired.append(rule.name)
            states.append(fire(self.machine, rule, states[-1]))
        return Trace(tuple(fired), tuple(states))

    def first_enabled(self, rules: Sequence[Rule], state: State) -> Rule | None:
        """The first of the rules that may fire there."""
        true = truths_in(self.machine, state)
        return next((rule for rule in rules if true(rule.guard)), None)

    def found(self, at: int, trace: Trace) -> None:
        """Notes a run to the question's target, what else it passes, and where other failures do as well in it."""
        own = self.passed(at, trace)
        if len(own) != 1 or not self.asked:
            return
        (name,) = own
        for members in members_of(self.sets, self.asked[at].given_up):
            if len(members) == 1 and self.is_left(at, frozenset({self.failures[members[0]]})):
                other = self.swapped(trace, name, self.failures[members[0]], self.questions[at].target)
                if other is not None:
                    self.passed(at, other)

    def swapped(self, trace: Trace, name: str, other: str, target: Expr) -> Trace | None:
        """The steps of the run with the other failure in the place of the one; None where that is no run."""
        state = trace.states[0]
        fired, states = [], [state]
        for step in trace.rules:
            rules = self.strikes[other] if self.owners[self.number[step]] == name else [self.machine.rule(step)]
            rule = self.first_enabled(rules, state)
            if rule is None:
                return None
            state = fire(self.machine, rule, state)
            fired.append(rule.name)
            states.append(state)
        return Trace(tuple(fired), tuple(states)) if truths_in(self.machine, state)(target) else None

    def passed(self, at: int, trace: Trace) -> frozenset[str]:
        """Notes a run to the question's target and to what else it passes; gives what fails in it."""
        own: set[str] = set()
        for step, state in enumerate(trace.states):
            if step and (owner := self.owners[self.number[trace.rules[step - 1]]]) is not None:
                own.add(owner)
            true = None
            for other, question in enumerate(self.questions):
                if other != at and not self.is_left(other, frozenset(own)):
                    continue
                true = true or truths_in(self.machine, state)
                if true(question.target):
                    part = Trace(trace.rules[:step], trace.states[: step + 1])
                    known = self.runs[other].get(frozenset(own))
                    if known is None or part.depth < known.depth:
                        self.runs[other][frozenset(own)] = part
        return frozenset(own)

    def claims(self, reason: str) -> tuple[SmallestSets, ...]:
        """One per question."""
        self.pool.close()
        found = []
        finished = self.asked and len(self.asked) == len(self.questions)
        most = len(self.sets.members[-1])
        places = {name: at for at, name in enumerate(self.failures)}
        tolerance, place_of = self.tolerance() if finished else (None, {})
        for at, question in enumerate(self.questions):
            listed = smallest(self.runs[at])
            runs = tuple(self.runs[at][one] for one in listed)
            names = tuple(tuple(sorted(one)) for one in listed)
            if not finished:
                found.append(SmallestSets(question.id, NAME, -1, names, runs, (), (), None, reason))
                continue
            asked = self.asked[at]
            family = without_reason(self.sets, asked.reasons, self.pool.lost)
            for one in listed:
                if len(one) <= most:
                    family &= ~self.sets.above(places[name] for name in one)
            left = smallest(frozenset(self.failures[m] for m in members) for members in members_of(self.sets, family))
            clear = tuple(
                Reason(tuple(place_of[c] for c in one.clauses), one.failures)
                for one in asked.reasons
                if all(c in place_of for c in one.clauses)
            )
            opened = tuple(tuple(sorted(one)) for one in left)
            found.append(SmallestSets(question.id, NAME, most, names, runs, opened, clear, tolerance, reason))
        return tuple(found)

    def tolerance(self) -> tuple[Tolerance, dict[int, int]]:
        """The part of the pool that the questions rest on, and the place of each of its clauses."""
        pool, rules = self.pool, self.machine.rules
        needed: dict[int, None] = {}
        waiting = [at for one in self.asked for reason in one.reasons for at in reason.clauses]
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


class Met(Samples):
    """States that are reached when nothing but some failures strikes; grows with each run.

    At first the samples without failures, and what each of them becomes where all of these strike there.
    """

    def __init__(self, samples: Samples, own: frozenset[str], work: _Work) -> None:
        self.encoding = samples.encoding
        self.run_to = self._run_to
        self.states = list(samples.states)
        self.masks = list(samples.masks)
        self.size = samples.size
        self._first_way = samples.run_to
        self._places: dict[State, tuple[Trace, int]] = {}
        for state in samples.states:
            struck = work.struck(own, Trace((), (state,)))
            if struck is not None:
                self._places.setdefault(struck.states[-1], (struck, -1))
        self.add(list(self._places))

    def meet(self, trace: Trace) -> None:
        """Adds what a run goes through."""
        fresh = {state: (trace, step) for step, state in enumerate(trace.states) if state not in self._places}
        self._places.update(fresh)
        self.add(list(fresh))

    def _run_to(self, state: State) -> Trace:
        if state not in self._places:
            return self._first_way(state)
        trace, step = self._places[state]
        if step >= 0:
            return Trace(trace.rules[:step], trace.states[: step + 1])
        before = self._first_way(trace.states[0])
        return Trace(before.rules + trace.rules, before.states + trace.states[1:])
