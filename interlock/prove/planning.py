"""Short runs from one state to a better one: breadth-first at first, then guided (see `guided`)."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from heapq import heappop, heappush

from interlock.kernel.claims import Trace
from interlock.kernel.evaluator import State
from interlock.kernel.expressions import And, Expr, Is, one_of
from interlock.kernel.machine import Machine, Rule
from interlock.kernel.recovery import Rank
from interlock.prove.compiled import Packing, compile_enabled, compile_hits
from interlock.prove.engine import Clock
from interlock.prove.guided import Relaxed

NEAR_EXPANDED = 60
"""States expanded breadth-first, for runs of a step or two."""
FEW_EXPANDED = 30
MORE_EXPANDED = 250
"""States expanded for each rule that would help, or thing that could be better; at first and in the end."""
MOST_TRIED = 24
"""Things that could be better that are tried in a round, those that seem nearest."""
NARROW_EXPANDED = 400
"""States expanded on the way to the whole goal where only rules are fired that a relaxed plan begins with."""
LAST_EXPANDED = 1_500
"""States expanded on the way to the whole goal, where nothing else was found."""
UNREACHABLE = 1 << 40
"""What the relaxed machine gives for what it cannot reach."""


class Planner:
    """Plans in one machine."""

    def __init__(self, machine: Machine) -> None:
        self.machine = machine
        self.packing = Packing(machine)
        self.enabled = compile_enabled(self.packing)
        self.writes = [self.packing.writes(rule) for rule in machine.rules]
        self.pinned = [_pinned(self.packing, rule) for rule in machine.rules]
        """Per rule (mask, bits): what its guard says outright of variables that it writes."""
        self.relaxed = Relaxed(machine, ())
        self.places = [{value: at for at, value in enumerate(v.domain)} for v in machine.variables]
        self.names = [rule.name for rule in machine.rules]
        self.number = {name: at for at, name in enumerate(self.names)}
        self._nodes: dict[Expr, int] = {}

    def step(self, before: Expr, goal: Expr, rank: Rank) -> Step:
        """Plans for one stage: to its goal, or to a smaller rank within what the stage before came to."""
        return Step(self, before, goal, rank)

    def node(self, aim: Expr) -> int:
        """The aim in the relaxed machine."""
        if aim not in self._nodes:
            self._nodes[aim] = self.relaxed.goal(aim)
        return self._nodes[aim]

    def values(self, packed: int) -> list[int]:
        """The state as places in the domains."""
        return [places[x] for places, x in zip(self.places, self.packing.unpack(packed), strict=True)]


class Step:
    """One step towards a goal, however many rules it takes."""

    def __init__(self, planner: Planner, before: Expr, goal: Expr, rank: Rank) -> None:
        self.planner = planner
        self.goal = goal
        self.rank = rank
        packing = planner.packing
        self._hits = compile_hits(packing, {0: goal, 1: before})
        self._weights = [
            [(*packing.fact(name, value), weight) for name, value, weight in component] for component in rank
        ]

    def plan(self, state: State, clock: Clock) -> tuple[str, ...] | None:
        """The rules that lead from the state to a better one, none of them to spare; None where none were found."""
        start = self.planner.packing.pack(state)
        better = self._better_than(start)
        found = self._near(start, better)
        if found is None:
            found = self._towards(start, state, better, clock)
        return None if found is None else self._spare(start, found, better)

    def falls(self, state: State, names: Sequence[str]) -> bool:
        """The rank is smaller after these rules, and what the stage before came to is so again."""
        start = self.planner.packing.pack(state)
        end = self._run(start, [self.planner.number[name] for name in names])
        return end is not None and self._ranks(end) < self._ranks(start) and 1 in self._hits([end])

    def shortest_help(self, trace: Trace) -> tuple[str, ...]:
        """The first part of a run to the goal that leads to a better state."""
        better = self._better_than(self.planner.packing.pack(trace.states[0]))
        for depth, state in enumerate(trace.states):
            if better(self.planner.packing.pack(state)):
                return trace.rules[:depth]
        raise AssertionError("a run to the goal ends in no better state")

    def _ranks(self, packed: int) -> list[int]:
        return [sum(weight for mask, bits, weight in component if packed & mask == bits) for component in self._weights]

    def _better_than(self, start: int) -> Callable[[int], bool]:
        least = self._ranks(start)
        hits, weights = self._hits, self._weights

        def better(packed: int) -> bool:
            for component, most in zip(weights, least, strict=True):
                here = sum(weight for mask, bits, weight in component if packed & mask == bits)
                if here != most:
                    return bool(hits([packed])) if here < most else 0 in hits([packed])
            return 0 in hits([packed])

        return better

    def _near(self, start: int, better: Callable[[int], bool]) -> list[int] | None:
        planner = self.planner
        parents: dict[int, tuple[int, int] | None] = {start: None}
        queue = [start]
        for place, state in enumerate(queue):
            if place >= NEAR_EXPANDED:
                break
            for rule in planner.enabled(state):
                keep, bits = planner.writes[rule]
                after = state & keep | bits
                if after not in parents:
                    parents[after] = (state, rule)
                    if better(after):
                        return _path(parents, after)
                    queue.append(after)
        return None

    def _towards(self, start: int, state: State, better: Callable[[int], bool], clock: Clock) -> list[int] | None:
        planner = self.planner
        places = planner.values(start)
        whole = planner.node(self.goal)
        fired = [planner.node(planner.machine.rules[at].guard) for at in self._helpful(start)]
        cleared = [planner.node(aim) for aim in self._aims(state)]
        for nodes, most in ((fired, FEW_EXPANDED), (cleared, FEW_EXPANDED), (fired, MORE_EXPANDED)):
            guesses = ((planner.relaxed.estimate(places, node)[0], node) for node in dict.fromkeys(nodes))
            for _, node in sorted(guess for guess in guesses if guess[0] < UNREACHABLE)[:MOST_TRIED]:
                found = self._guided(start, node, better, most, False, clock)
                if found is not None:
                    return found
        for narrow, most in ((True, NARROW_EXPANDED), (False, LAST_EXPANDED)):
            found = self._guided(start, whole, better, most, narrow, clock)
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

    def _aims(self, state: State) -> list[Expr]:
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

    def _guided(
        self, start: int, node: int, better: Callable[[int], bool], most: int, narrow: bool, clock: Clock
    ) -> list[int] | None:
        planner = self.planner
        parents: dict[int, tuple[int, int] | None] = {start: None}
        helping: list[tuple[int, int, int]] = []
        others: list[tuple[int, int, int]] = [(0, 0, start)]
        order = turns = expanded = 0
        while (helping or others) and expanded < most:
            clock.check()
            turns += 1
            _, _, state = heappop(helping if helping and (turns % 4 or not others) else others)
            expanded += 1
            plan = planner.relaxed.plan(planner.values(state), node)
            if plan is None:
                continue
            guess, first = len(plan[0]), plan[1]
            for rule in planner.enabled(state):
                if narrow and rule not in first:
                    continue
                keep, bits = planner.writes[rule]
                after = state & keep | bits
                if after in parents:
                    continue
                parents[after] = (state, rule)
                if better(after):
                    return _path(parents, after)
                order += 1
                heappush(helping if rule in first else others, (guess, order, after))
        return None

    def _run(self, start: int, rules: Sequence[int]) -> int | None:
        """The state after these rules; None where one is not enabled."""
        state = start
        for rule in rules:
            if rule not in self.planner.enabled(state):
                return None
            keep, bits = self.planner.writes[rule]
            state = state & keep | bits
        return state

    def _spare(self, start: int, rules: list[int], better: Callable[[int], bool]) -> tuple[str, ...]:
        """The run without the rules that it can do without."""
        at = 0
        while at < len(rules):
            fewer = rules[:at] + rules[at + 1 :]
            end = self._run(start, fewer)
            if end is not None and fewer and better(end):
                rules, at = fewer, 0
            else:
                at += 1
        return tuple(self.planner.names[rule] for rule in rules)


def _pinned(packing: Packing, rule: Rule) -> tuple[int, int]:
    written = {name for name, _ in rule.update}
    mask = bits = 0
    for part in rule.guard.args if isinstance(rule.guard, And) else (rule.guard,):
        if isinstance(part, Is) and part.variable in written:
            field, placed = packing.fact(part.variable, part.value)
            mask, bits = mask | field, bits | placed
    return mask, bits


def _path(parents: dict[int, tuple[int, int] | None], state: int) -> list[int]:
    rules: list[int] = []
    while (step := parents[state]) is not None:
        state, rule = step
        rules.append(rule)
    return rules[::-1]
