"""All reachable states as one decision diagram, by saturation."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Sequence

from interlock.kernel.claims import Diagram, Trace
from interlock.kernel.evaluator import State
from interlock.kernel.expressions import And, Expr, Or, Ref
from interlock.kernel.machine import Machine
from interlock.prove.diagrams.conditions import FALSE, TRUE, Conditions
from interlock.prove.diagrams.forest import ALL, EMPTY, Forest, Work
from interlock.prove.diagrams.relations import Event, Relations, levels_of

TOGETHER = 16
"""So many conditions, neighbours in the order of levels, are one before states are restricted to them."""


class Reached:
    """The reachable states of a machine, its variables in the given order, the lowest level first.

    Everything raises OutOfTime, or Exhausted where more work would be needed than was allowed.  Call within
    `deep_enough`.
    """

    def __init__(self, machine: Machine, order: Sequence[str], work: Work) -> None:
        self.machine = machine
        self.order = order
        self.forest = forest = Forest(work)
        level_of = levels_of(order)
        self.sizes = [1, *(len(machine.domains[name]) for name in order)]
        self.conditions = Conditions(machine, level_of, work)
        self._restricted: dict[tuple[int, int], int] = {}
        self._apart: set[tuple[int, int]] = set()
        self._both: dict[tuple[int, int], int] = {}
        self.events: Sequence[Event] = Relations(machine, forest, self.conditions, self.sizes).events()
        for event in self.events:
            height = forest.heights[event.relation]
            forest.events.setdefault(height, []).append(forest.moves[event.relation])
        self.initial = self.meeting(self._boxed(), machine.start)
        self.states = EMPTY

    def _boxed(self) -> int:
        """Every combination of initial values."""
        inits = {variable.name: variable.init for variable in self.machine.variables}
        states = ALL
        for name in self.order:
            states = self.forest.node(
                [states if value in inits[name] else EMPTY for value in self.machine.domains[name]]
            )
        return states

    def reach(self) -> None:
        """Finds `states`."""
        self.states = self.forest.saturate(self.initial)

    def meeting(self, states: int, target: Expr) -> int:
        """Those of the states that satisfy the target; it is taken apart, so that no diagram of all of it is made."""
        while isinstance(target, Ref):
            target = self.machine.definitions[target.signal]
        if isinstance(target, Or):
            found = EMPTY
            for arg in target.args:
                found = self.forest.union(found, self._meeting_all(states, arg))
            return found
        return self._meeting_all(states, target)

    def _meeting_all(self, states: int, target: Expr) -> int:
        parts = [self.conditions.of(arg) for arg in (target.args if isinstance(target, And) else (target,))]
        parts.sort(key=lambda one: (self.conditions.levels[one], one))
        for first in range(0, len(parts), TOGETHER):
            states = self.restricted(states, self.conditions.joined(True, parts[first : first + TOGETHER]))
        return states

    def restricted(self, states: int, condition: int) -> int:
        """Those of the states in which the condition is true."""
        if condition == TRUE or not states:
            return states
        if condition == FALSE:
            return EMPTY
        key = states, condition
        found = self._restricted.get(key)
        if found is None:
            self.forest.work.look()
            kids = self.forest.kids[states]
            rest = self.conditions.below(condition, self.forest.levels[states])
            pairs = zip(kids, rest if len(rest) == len(kids) else rest * len(kids), strict=True)
            found = self._restricted[key] = self.forest.node([self.restricted(kid, left) for kid, left in pairs])
        return found

    def meet(self, one: int, other: int) -> bool:
        """The two sets have a state in common."""
        if not (one and other):
            return False
        if one == other:
            return True
        key = one, other
        if key in self._apart:
            return False
        self.forest.work.look()
        for a, b in zip(self.forest.kids[one], self.forest.kids[other], strict=True):
            if a and b and self.meet(a, b):
                return True
        self._apart.add(key)
        return False

    def some(self, states: int, condition: int, fixed: Sequence[int | None]) -> list[int] | None:
        """Some state of the set, as places, the lowest level first, in which the condition is true.

        `fixed`, likewise, has the places that are given.
        """
        failed: set[tuple[int, int]] = set()
        path: list[int] = []

        def search(states: int, condition: int) -> bool:
            if not states or condition == FALSE:
                return False
            if states == ALL:
                return True
            key = states, condition
            if key in failed:
                return False
            self.forest.work.look()
            level = self.forest.levels[states]
            kids, rest = self.forest.kids[states], self.conditions.below(condition, level)
            wanted = fixed[level - 1]
            for place in range(len(kids)) if wanted is None else (wanted,):
                path.append(place)
                if search(kids[place], rest[place if len(rest) > 1 else 0]):
                    return True
                path.pop()
            failed.add(key)
            return False

        return path[::-1] if search(states, condition) else None

    def run_to(self, goal: int) -> Trace:
        """A run to a state of the goal, which is reachable; not the shortest, but one of few rounds.

        Sets grow by one event after the other; each is kept, and the way back goes through the earliest.
        """
        forest = self.forest
        grown = [self.initial]
        by: list[Event] = []
        while not self.meet(grown[-1], goal):
            known = len(grown)
            for event in self.events:
                after = forest.union(grown[-1], forest.image(grown[-1], event.relation))
                if after != grown[-1]:
                    grown.append(after)
                    by.append(event)
                    if self.meet(after, goal):
                        break
            if len(grown) == known:
                raise AssertionError("a goal that meets the reachable states is never met")
        path = [self._one_of(self._common(grown[-1], goal))]
        rules: list[str] = []
        while (at := self._first(grown, path[-1])) > 0:
            rule, before = self._before(grown[at - 1], by[at - 1], path[-1])
            rules.append(rule)
            path.append(before)
        return Trace(tuple(reversed(rules)), tuple(self._unpacked(places) for places in reversed(path)))

    def _first(self, grown: Sequence[int], places: Sequence[int]) -> int:
        """Which of the sets, each of which has all states of those before it, has the state first."""
        return bisect_left(grown, True, key=lambda states: self.forest.holds(states, places))

    def _one_of(self, states: int) -> list[int]:
        found = self.some(states, TRUE, [None] * len(self.order))
        if found is None:
            raise AssertionError("a set that is not empty has no state")
        return found

    def _before(self, states: int, event: Event, after: Sequence[int]) -> tuple[str, list[int]]:
        """A rule of the event and a state of the set from which it leads to the state after."""
        level_of = self.conditions.level_of
        for rule, condition in event.rules:
            written = {level_of[name] - 1: self.machine.domains[name].index(value) for name, value in rule.update}
            if all(after[at] == place for at, place in written.items()):
                fixed = [None if at in written else place for at, place in enumerate(after)]
                if (before := self.some(states, condition, fixed)) is not None:
                    return rule.name, before
        raise AssertionError("a state that an event led to has none before it")

    def count(self) -> int:
        """How many states can be reached."""
        return self.forest.count(self.states)

    def diagram(self) -> Diagram:
        """The reachable states as evidence."""
        number = {EMPTY: EMPTY, ALL: ALL}
        nodes = []
        for node in self.forest.below(self.states):
            number[node] = len(number)
            nodes.append(tuple(number[kid] for kid in self.forest.kids[node]))
        return Diagram(tuple(reversed(self.order)), tuple(nodes), number[self.states])

    def _common(self, one: int, other: int) -> int:
        """The states of both sets."""
        if one == other or not (one and other):
            return one if one == other else EMPTY
        key = one, other
        if key not in self._both:
            self.forest.work.look()
            pairs = zip(self.forest.kids[one], self.forest.kids[other], strict=True)
            self._both[key] = self.forest.node([self._common(a, b) for a, b in pairs])
        return self._both[key]

    def _unpacked(self, places: Sequence[int]) -> State:
        level_of = self.conditions.level_of
        return tuple(v.domain[places[level_of[v.name] - 1]] for v in self.machine.variables)
