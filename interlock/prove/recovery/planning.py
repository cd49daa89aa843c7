"""Short runs from one state to a better one: breadth-first at first, then by what is new, then guided.

By what is new: breadth-first over those states alone in which two facts meet that did not meet before.  What takes few
things at a time is found among a few thousand states, however long it is; a guided search (see `best_first`) looks at
fewer, each of which takes twenty times as long.

Reference, from memory:
  N. Lipovetzky, H. Geffner, "Width and serialization of classical planning problems", ECAI 2012.
"""

from __future__ import annotations

from collections.abc import Container, Iterator, Mapping, Sequence, Set
from itertools import islice
from typing import TypeAlias

from interlock.kernel.claims import Trace
from interlock.kernel.evaluator import State
from interlock.kernel.expressions import Expr, Is, Not, Value, disj, one_of
from interlock.kernel.machine import Machine, support_of
from interlock.kernel.recovery import Entry, Rank
from interlock.prove.core.packing import Packing, compile_enabled, compile_hits
from interlock.prove.engine import Clock
from interlock.prove.recovery.images import Images
from interlock.prove.recovery.narrowing import said_outright
from interlock.prove.search.best_first import best_first, path_to, without_spare
from interlock.prove.search.delete_relaxation import DeleteRelaxation, RelaxedGoal

NEAR_EXPANDED = 60
"""States expanded breadth-first, for runs of a step or two."""
SOON_NEW, MOST_NEW = 1_500, 20_000
"""States expanded among those in which two facts meet for the first time; at first and in the end."""
MOST_AGAIN = 32
"""So many runs that helped elsewhere are tried, the last first."""
MOST_BACK = 16
"""So often such a run is begun again further on."""
SOON_EXPANDED = 150
"""States expanded at first on the way to have fewer of what a count counts."""
INTO_EXPANDED = 500
"""States expanded breadth-first, for runs into a case that was told apart before."""
LEAVE_EXPANDED = 1_000
"""States expanded on the way to have fewer of what a count counts, without having more on the way."""
FEW_EXPANDED = 30
MORE_EXPANDED = 250
"""States expanded for each rule that would help, or thing that could be better; at first and in the end."""
MOST_TRIED = 24
"""Things that could be better that are tried in a round, those that seem nearest."""
NARROW_EXPANDED = 400
"""States expanded on the way to the whole goal where only rules are fired that a relaxed plan begins with."""
MOST_FOLLOWED = 8
"""So many relaxed plans are followed one after the other."""
LAST_EXPANDED = 1_500
"""States expanded on the way to the whole goal, where nothing else was found."""
Component: TypeAlias = tuple[tuple[str, Value, int], ...]
"""One component of a rank."""
_Applies: TypeAlias = tuple[int, int, int, tuple[tuple[int, int], ...]]
"""The place of a case, the fields of which it says something, what they hold, and what others do not."""


class Planner:
    """Plans in one machine."""

    def __init__(self, machine: Machine) -> None:
        self.machine = machine
        self.packing = Packing(machine)
        self.enabled = compile_enabled(self.packing)
        self.writes = [self.packing.writes(rule) for rule in machine.rules]
        self.told = [said_outright(rule) for rule in machine.rules]
        """Per rule the values that its guard says outright of variables that it writes."""
        self.pinned = [self._masked(told) for told in self.told]
        self.relaxation = DeleteRelaxation(machine)
        self.names = [rule.name for rule in machine.rules]
        self.number = {name: at for at, name in enumerate(self.names)}
        self._aims: dict[Expr, RelaxedGoal] = {}
        self.facts = _Facts(machine)
        self.images = Images(machine)

    def stage(self, before: Expr, goal: Expr, rank: Rank) -> StagePlanner:
        """Plans for one stage: to its goal, or to a smaller rank within what the stage before came to."""
        return StagePlanner(self, before, goal, rank)

    def cubes(self) -> Cubes:
        """An empty collection of cubes, to be asked which of them packed states are in."""
        return Cubes(self.packing)

    def aim(self, expr: Expr) -> RelaxedGoal:
        """What is to be so as an aim, by whatever rules."""
        if expr not in self._aims:
            self._aims[expr] = RelaxedGoal(self.relaxation, self.relaxation.goal(expr))
        return self._aims[expr]

    def leaving(self, counts: Sequence[Component]) -> tuple[RelaxedGoal, frozenset[int]] | None:
        """The aim to have fewer of what the last of these counts, by rules that never give more of what any of them
        counts, and these rules; None where no rule takes any.

        Without the latter a relaxed plan would fetch something in order to get rid of it.
        """
        tables = [{(name, value): weight for name, value, weight in count} for count in counts]
        taking: list[Expr] = []
        kept: list[int] = []
        for at, rule in enumerate(self.machine.rules):
            changes = [self._changes(at, weights) for weights in tables]
            if all(most <= 0 for _, most in changes):
                kept.append(at)
                if changes[-1][0] < 0:
                    taking.append(rule.guard)
        if not taking:
            return None
        relaxation = DeleteRelaxation(self.machine, [disj(*taking)], kept)
        return RelaxedGoal(relaxation, relaxation.targets[0]), frozenset(kept)

    def _changes(self, rule: int, weights: Mapping[tuple[str, Value], int]) -> tuple[int, int]:
        """By how much the rule changes such a sum, at the least and at the most."""
        had = self.told[rule]
        most = least = 0
        for name, value in self.machine.rules[rule].update:
            now = weights.get((name, value), 0)
            before = [weights.get((name, x), 0) for x in self.machine.domains[name] if had.get(name, x) == x]
            most += now - min(before)
            least += now - max(before)
        return least, most

    def _masked(self, told: Mapping[str, Value]) -> tuple[int, int]:
        mask = bits = 0
        for name, value in told.items():
            field, placed = self.packing.fact(name, value)
            mask |= field
            bits |= placed
        return mask, bits


class _Facts:
    """A state as a set of facts, a bit for each; `after` has per rule what it keeps, what it makes, and the latter's
    bits one by one.
    """

    def __init__(self, machine: Machine) -> None:
        self._machine = machine
        self._bits = {
            (v.name, x): 1 << at for at, (v, x) in enumerate((v, x) for v in machine.variables for x in v.domain)
        }
        self.number = len(self._bits)
        whole = {v.name: sum(self._bits[v.name, x] for x in v.domain) for v in machine.variables}
        self.after = [
            (
                ~sum(whole[name] for name, _ in rule.update),
                sum(self._bits[fact] for fact in rule.update),
                [self._bits[fact].bit_length() - 1 for fact in rule.update],
            )
            for rule in machine.rules
        ]

    def of(self, state: State) -> int:
        """The facts of the state."""
        return sum(self._bits[v.name, x] for v, x in zip(self._machine.variables, state, strict=True))


class Cubes:
    """Cubes by what they say of one variable, so that those are soon found which a state is in."""

    def __init__(self, packing: Packing) -> None:
        self._fact = packing.fact
        self._by: dict[int, dict[int, list[_Applies]]] = {}

    def add(self, at: int, when: Sequence[Expr]) -> None:
        """A cube more, by a number of its own: facts and negations of facts."""
        fact = self._fact
        said = [fact(one.variable, one.value) for one in when if isinstance(one, Is)]
        denied = [
            fact(one.arg.variable, one.arg.value) for one in when if isinstance(one, Not) and isinstance(one.arg, Is)
        ]
        key, held = max(said, default=(0, 0))
        own = at, sum(mask for mask, _ in said), sum(bits for _, bits in said), tuple(denied)
        self._by.setdefault(key, {}).setdefault(held, []).append(own)

    def applying(self, state: int) -> Iterator[int]:
        """The cubes that the state is in."""
        for field, held in self._by.items():
            for at, mask, bits, denied in held.get(state & field, ()):
                if state & mask == bits and not any(state & other == its for other, its in denied):
                    yield at


class StagePlanner:
    """Plans runs of one stage, each to a better state, however many rules it takes."""

    def __init__(self, planner: Planner, before: Expr, goal: Expr, rank: Rank) -> None:
        self.planner = planner
        self.goal = goal
        self.rank = rank
        packing = planner.packing
        self._hits = compile_hits(packing, {0: goal, 1: before})
        self._weights: dict[int, dict[int, int]] = {}
        """Per field of a variable what its values weigh: all components in one number, the first highest."""
        unit = 1
        for component in reversed(rank):
            for name, value, weight in component:
                mask, bits = packing.fact(name, value)
                weights = self._weights.setdefault(mask, {})
                weights[bits] = weights.get(bits, 0) + weight * unit
            # no two sums of what comes behind differ by as much
            unit *= 2 * sum(abs(weight) for _, _, weight in component) + 1
        touched = [[mask for mask in self._weights if not keep & mask] for keep, _ in planner.writes]
        self._touched = [
            (sum(self._weights[mask].get(bits & mask, 0) for mask in masks), [(m, self._weights[m]) for m in masks])
            for masks, (_, bits) in zip(touched, planner.writes, strict=True)
        ]
        """Per rule what it writes weighs afterwards, and the weights of what it writes over."""
        about = support_of(planner.machine, goal)
        rules = enumerate(planner.machine.rules)
        self._finishing = frozenset(at for at, rule in rules if any(name in about for name, _ in rule.update))
        """The rules that write what the goal is about."""
        self._counts = [at for at, component in enumerate(rank) if is_count(component)]
        self._counted = {at: [packing.fact(name, value) for name, value, _ in rank[at]] for at in self._counts}
        """Per count the facts that are counted."""
        self._leaves: dict[int, tuple[RelaxedGoal, frozenset[int]] | None] = {}
        """Per count the aim to have fewer of what it counts, and the rules for it."""
        self._earlier = planner.cubes()
        """The cases told apart by now."""
        self._learnt = 0
        self._runs: dict[tuple[int, ...], None] = {}
        """The runs of the cases told apart by now."""
        self._into = False
        self._goes_towards = False
        """Of the runs that were not soon found the last was found on the way towards something better."""

    def learn(self, entry: Entry) -> None:
        """A case more: runs may lead into it, as long as the rank does not rise."""
        self._earlier.add(self._learnt, entry.when)
        self._learnt += 1
        self._runs[tuple(self.planner.number[name] for name in entry.rules)] = None

    def _applying(self, state: int) -> int | None:
        """The place of a case, the first met, that applies to the state."""
        return next(self._earlier.applying(state), None)

    def led_into(self, state: State, names: Sequence[str]) -> int | None:
        """The place of a case that applies after these rules, enabled in turn, where the rank is not greater then."""
        start = self.planner.packing.pack(state)
        end = self._fired(start, names)
        if self._ranks(end) > self._ranks(start) or 1 not in self._hits([end]):
            return None
        return self._applying(end)

    def counts(self, state: State) -> bool:
        """Something is counted in the state that rules take away."""
        return self._leave(self.planner.packing.pack(state)) is not None

    def _leave(self, state: int) -> tuple[RelaxedGoal, frozenset[int]] | None:
        """The aim to have fewer of what is counted first among what is there, and the rules for it."""
        for place, at in enumerate(self._counts):
            if any(state & mask == bits for mask, bits in self._counted[at]):
                if at not in self._leaves:
                    counts = [self.rank[other] for other in self._counts[: place + 1]]
                    self._leaves[at] = self.planner.leaving(counts)
                return self._leaves[at]
        return None

    def plan_near(self, state: State, clock: Clock) -> tuple[str, ...] | None:
        """The rules that lead from the state to a better one, none of them to spare; None where none were soon found.

        Soon found are a step or two, ways to have fewer of what the rank counts first, and what helped the last time.
        """
        start = self.planner.packing.pack(state)
        found = self._near(start)
        if found is not None:
            # of as many steps and fewer none leads there: none is to spare
            return self._named(found)
        found = self._again(start)
        if found is None and self._goes_towards:
            found = self._towards(start, state, clock)
        if found is None:
            leave = self._leave(start)
            if leave is not None:
                found = self._guided(start, leave[0], SOON_EXPANDED, False, clock)
            found = found or self._by_what_is_new(start, state, None if leave is None else leave[1], SOON_NEW, clock)
        return None if found is None else self._spare(start, found)

    def plan_into(self, state: State, clock: Clock) -> tuple[str, ...] | None:
        """The rules that lead into a case told apart before, the rank being no greater then; None where none do soon.

        Such a case is as special as the one that it leads into: a run that lowers the rank is better.
        """
        start = self.planner.packing.pack(state)
        self._into = True
        try:
            found = self._near(start, INTO_EXPANDED)
            return None if found is None else self._named(found)
        finally:
            clock.check()
            self._into = False

    def plan_on(self, state: State, clock: Clock) -> tuple[str, ...] | None:
        """The same, where they were not soon found, as far as it shows before long: there are other measures."""
        start = self.planner.packing.pack(state)
        found = self._towards(start, state, clock)
        return None if found is None else self._spare(start, found)

    def plan_far(self, state: State, clock: Clock) -> tuple[str, ...] | None:
        """The same, where they were not soon found."""
        start = self.planner.packing.pack(state)
        leave = self._leave(start)
        found = self._by_what_is_new(start, state, None if leave is None else leave[1], MOST_NEW, clock)
        if found is None and leave is not None:
            found = self._guided(start, leave[0], LEAVE_EXPANDED, False, clock)
        found = found or self._towards(start, state, clock)
        found = found or self._all_the_way(start, clock)
        return None if found is None else self._spare(start, found)

    def falls(self, state: State, names: Sequence[str]) -> bool:
        """The rank is smaller after these rules, enabled in turn, and what the stage before came to is so again."""
        start = self.planner.packing.pack(state)
        end = self._fired(start, names)
        return self._ranks(end) < self._ranks(start) and 1 in self._hits([end])

    def shortest_help(self, trace: Trace) -> tuple[str, ...]:
        """The first part of a run to the goal that leads to a better state."""
        packed = [self.planner.packing.pack(state) for state in trace.states]
        least = self._ranks(packed[0])
        for depth, state in enumerate(packed):
            if self._is_better(state, self._ranks(state), least):
                return trace.rules[:depth]
        raise AssertionError("a run to the goal ends in no better state")

    def _ranks(self, packed: int) -> int:
        return sum(weights.get(packed & mask, 0) for mask, weights in self._weights.items())

    def _ranks_after(self, ranks: int, state: int, rule: int) -> int:
        """The rank after the rule, from that of the state before it."""
        now, touched = self._touched[rule]
        for mask, weights in touched:
            now -= weights.get(state & mask, 0)
        return ranks + now

    def _is_better(self, state: int, ranks: int, least: int, rule: int | None = None) -> bool:
        """The goal is reached; or what the stage before came to is so, and the rank is lower; or as low, and a case
        that was told apart before applies, while that is good enough.

        By the `rule` the state is reached from one that is not in the goal, where it is given.
        """
        if ranks >= least and not self._into and rule is not None and rule not in self._finishing:
            return False
        if ranks < least:
            return bool(self._hits([state]))
        so = self._hits([state])
        return 0 in so or (self._into and ranks == least and 1 in so and self._applying(state) is not None)

    def _again(self, start: int) -> list[int] | None:
        """A run that helped elsewhere, fitted to this state: in the next row much the same is to be done.

        What cannot fire here is left out, or gives way to what can and stands in a like place.  Where the run then
        sticks it begins again with what gave way first: there is more of the way here.
        """
        planner = self.planner
        relaxation, packing = planner.relaxation, planner.packing
        least = self._ranks(start)
        places = packing.places(start)
        for rules in islice(reversed(self._runs), MOST_AGAIN):
            relaxation.put_all(places)
            state, ranks, fired, met = start, least, list[int](), {start}
            at, again, left = 0, len(rules), MOST_BACK
            while at < len(rules):
                rule: int | None = rules[at]
                if not relaxation.is_so(relaxation.guard(rules[at])):
                    rule = self._like(rules[at], state, met) if left else None
                    if rule is not None:
                        again = min(again, at)
                    elif again < at:
                        at, again, left = again, len(rules), left - 1
                        continue
                at += 1
                if rule is None:
                    continue
                fired.append(rule)
                ranks = self._ranks_after(ranks, state, rule)
                keep, bits = planner.writes[rule]
                before, state = state, state & keep | bits
                met.add(state)
                relaxation.put(packing.changes(before, state))
                if self._is_better(state, ranks, least):
                    return fired
        return None

    def _like(self, rule: int, state: int, met: Set[int]) -> int | None:
        """A rule in a like place that may fire in the state put and leads to none that was met."""
        relaxation = self.planner.relaxation
        for other in self.planner.images.like(rule):
            keep, bits = self.planner.writes[other]
            if relaxation.is_so(relaxation.guard(other)) and state & keep | bits not in met:
                return other
        return None

    def _near(self, start: int, most: int = NEAR_EXPANDED, least: int | None = None) -> list[int] | None:
        """The rules to the nearest better state, better than where the rank is the `least`, if that is given."""
        planner = self.planner
        ranks = self._ranks(start)
        least = ranks if least is None else least
        parents: dict[int, tuple[int, int] | None] = {start: None}
        queue = [(start, ranks)]
        for place, (state, ranks) in enumerate(queue):
            if place >= most:
                break
            for rule in planner.enabled(state):
                keep, bits = planner.writes[rule]
                after = state & keep | bits
                if after not in parents:
                    parents[after] = (state, rule)
                    there = self._ranks_after(ranks, state, rule)
                    if self._is_better(after, there, least, rule):
                        return path_to(parents, after)
                    queue.append((after, there))
        return None

    def _by_what_is_new(
        self, start: int, state: State, rules: frozenset[int] | None, most: int, clock: Clock
    ) -> list[int] | None:
        """Breadth-first, by these rules alone if any are given, where a fact meets another for the first time."""
        planner = self.planner
        met = [0] * planner.facts.number
        parents: dict[int, tuple[int, int] | None] = {start: None}
        least = self._ranks(start)
        queue = [(start, planner.facts.of(state), least)]
        for place, (before, facts, ranks) in enumerate(queue):
            if place >= most:
                break
            if place % 100 == 0:
                clock.check()
            for rule in planner.enabled(before):
                if rules is not None and rule not in rules:
                    continue
                keep, bits = planner.writes[rule]
                after = before & keep | bits
                if after in parents:
                    continue
                kept, made, written = planner.facts.after[rule]
                there = facts & kept | made
                new = [fact for fact in written if there & ~met[fact]]
                if new:
                    for fact in new:
                        met[fact] |= there
                    parents[after] = before, rule
                    then = self._ranks_after(ranks, before, rule)
                    if self._is_better(after, then, least, rule):
                        return path_to(parents, after)
                    queue.append((after, there, then))
        return None

    def _towards(self, start: int, state: State, clock: Clock) -> list[int] | None:
        """To where some rule fires that would help, or something is better, with few states for each."""
        found = self._to_one_of(self._firing(start), start, FEW_EXPANDED, clock)
        if found is None:
            clearings = [self.planner.aim(expr) for expr in self._clearings(state)]
            found = self._to_one_of(clearings, start, FEW_EXPANDED, clock)
        self._goes_towards = found is not None
        return found

    def _all_the_way(self, start: int, clock: Clock) -> list[int] | None:
        """The same with more, and to the goal itself."""
        found = self._to_one_of(self._firing(start), start, MORE_EXPANDED, clock)
        for narrow, most in ((True, NARROW_EXPANDED), (False, LAST_EXPANDED)):
            found = found or self._guided(start, self.planner.aim(self.goal), most, narrow, clock)
        return found

    def _firing(self, start: int) -> list[RelaxedGoal]:
        return [self.planner.aim(self.planner.machine.rules[at].guard) for at in self._helpful(start)]

    def _to_one_of(self, aims: Sequence[RelaxedGoal], start: int, most: int, clock: Clock) -> list[int] | None:
        """To the first of these aims that is reached with so many states, those that seem nearest first."""
        places = self.planner.packing.places(start)
        far = {aim.node: (plan.size, aim) for aim in aims if (plan := aim.plan(places)) is not None}
        for node in sorted(far, key=lambda node: (far[node][0], node))[:MOST_TRIED]:
            found = self._guided(start, far[node][1], most, False, clock)
            if found is not None:
                return found
        return None

    def _helpful(self, start: int) -> list[int]:
        """The rules that would lower the rank, could they only fire."""
        planner = self.planner
        least = self._ranks(start)
        found = []
        for at, (keep, bits) in enumerate(planner.writes):
            mask, wanted = planner.pinned[at]
            if start & mask == wanted and self._ranks(start & keep | bits) < least:
                found.append(at)
        return found

    def _clearings(self, state: State) -> list[Expr]:
        """For each variable that weighs something here: that it weigh nothing."""
        positions = self.planner.machine.positions
        found = []
        for component in self.rank:
            weights: dict[str, dict[object, int]] = {}
            for name, value, weight in component:
                weights.setdefault(name, {})[value] = weight
            for name, own in weights.items():
                if own.get(state[positions[name]], 0):
                    found.append(one_of(name, [x for x in self.planner.machine.domains[name] if not own.get(x, 0)]))
        return found

    def _guided(self, start: int, aim: RelaxedGoal, most: int, narrow: bool, clock: Clock) -> list[int] | None:
        planner = self.planner
        found = None if narrow else self._followed(start, aim, clock)
        if found is not None:
            return found
        ranks = {start: self._ranks(start)}

        def successors(state: int, first: Set[int], _: Container[int]) -> Iterator[tuple[int, int, bool]]:
            for rule in planner.enabled(state):
                if not narrow or rule in first:
                    keep, bits = planner.writes[rule]
                    yield rule, state & keep | bits, rule in first

        def is_better(state: int, rule: int, after: int) -> bool:
            ranks[after] = self._ranks_after(ranks[state], state, rule)
            return self._is_better(after, ranks[after], ranks[start], rule)

        found = best_first(planner.packing, start, aim, successors, is_better, most, clock)
        if found is None:
            clock.check()
        return found

    def _followed(self, start: int, aim: RelaxedGoal, clock: Clock) -> list[int] | None:
        """The rules of relaxed plans, as far as they can fire one after the other; None where that leads nowhere.

        Of a unit that goes through the length of the hold such a plan says each step.  A rule after which another one
        may not fire any more waits for that.
        """
        planner, relaxation, packing = self.planner, aim.relaxation, self.planner.packing
        least = ranks = self._ranks(start)
        state, fired, met = start, list[int](), {start}
        waiting: list[int] = []
        replans = MOST_FOLLOWED
        relaxation.put_all(packing.places(start))
        while True:
            if relaxation.is_so(aim.node):
                last = self._near(state, 1, least)
                return None if last is None else [*fired, *last]
            rule = self._harmless([at for at in waiting if relaxation.is_so(relaxation.guard(at))], state, relaxation)
            if rule is None:
                clock.check()
                plan = relaxation.plan_here(aim.node) if replans else None
                if plan is None:
                    return None
                waiting, replans = sorted(plan.rules), replans - 1
                continue
            waiting.remove(rule)
            keep, bits = planner.writes[rule]
            ranks = self._ranks_after(ranks, state, rule)
            before, state = state, state & keep | bits
            if state in met:
                return None
            met.add(state)
            fired.append(rule)
            relaxation.put(packing.changes(before, state))
            if self._is_better(state, ranks, least):
                return fired

    def _harmless(self, ready: Sequence[int], state: int, relaxation: DeleteRelaxation) -> int | None:
        """One of the rules that may fire, after which all others of them still may; the last, where none is so."""
        packing = self.planner.packing
        for rule in ready[:-1]:
            keep, bits = self.planner.writes[rule]
            after = state & keep | bits
            relaxation.put(packing.changes(state, after))
            is_harmless = all(relaxation.is_so(relaxation.guard(other)) for other in ready if other != rule)
            relaxation.put(packing.changes(after, state))
            if is_harmless:
                return rule
        return ready[-1] if ready else None

    def _run(self, start: int, rules: Sequence[int], enabled: dict[int, list[int]]) -> int | None:
        """The state after these rules; None where one is not `enabled`, per state what was found to be so."""
        state = start
        for rule in rules:
            if state not in enabled:
                enabled[state] = self.planner.enabled(state)
            if rule not in enabled[state]:
                return None
            keep, bits = self.planner.writes[rule]
            state = state & keep | bits
        return state

    def _spare(self, start: int, rules: Sequence[int]) -> tuple[str, ...]:
        """The run without the rules that it can do without."""
        least = self._ranks(start)
        enabled: dict[int, list[int]] = {}

        def helps(fewer: Sequence[int]) -> bool:
            end = self._run(start, fewer, enabled)
            return end is not None and bool(fewer) and self._is_better(end, self._ranks(end), least)

        return self._named(without_spare(tuple(rules), helps))

    def _named(self, rules: Sequence[int]) -> tuple[str, ...]:
        return tuple(self.planner.names[rule] for rule in rules)

    def _fired(self, start: int, names: Sequence[str]) -> int:
        """The state after these rules, which are enabled in turn."""
        state = start
        for name in names:
            keep, bits = self.planner.writes[self.planner.number[name]]
            state = state & keep | bits
        return state


def is_count(component: Component) -> bool:
    """The component says of how many variables something is so."""
    return len(component) > 1 and all(weight == 1 for _, _, weight in component)
