"""Searches every interleaving of a procedure, and tells how each place in it can end.

A node is a point of the procedure with a state of the hold.  Steps of the procedure, of the plant and of the mechanism
are edges; slips lead from node to node too but are kept apart, so that what comes after a slip is followed once,
however many slips lead there.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass

from interlock.hold.compile.requirements import Instance
from interlock.hold.procedure.binding import Manner
from interlock.kernel.evaluator import State, evaluate, initial_states
from interlock.kernel.expressions import Expr, conj, disj, neg
from interlock.kernel.machine import Actor, Machine, Rule, allowed_by, question_of
from interlock.prove.core.packing import Packing, bits_of, compile_enabled
from interlock.prove.engine import Clock
from interlock.study.procedure.graph import Move, ProcedureGraph, healings, strikes

CHUNK = 256
"""Nodes between two looks at the clock."""


@dataclass(frozen=True, slots=True)
class Hazard:
    """What breaks a requirement: a state in which `bad` is so and, where `steps` is not None, one of them is made."""

    instance: Instance
    bad: Expr
    steps: frozenset[str] | None


def hazards_of(graph: ProcedureGraph) -> tuple[Hazard, ...]:
    """One for every requirement but those that say what can be done, in their order."""
    found = []
    for instance, requirement in zip(graph.bound.compiled.instances, graph.machine.requirements, strict=True):
        if requirement.kind.is_about_work:
            continue
        if requirement.kind.is_about_steps:
            bad = conj(requirement.situation, neg(allowed_by(requirement)))
            found.append(Hazard(instance, bad, requirement.steps))
        else:
            found.append(Hazard(instance, question_of(graph.machine, requirement).target, None))
    return tuple(found)


Edge = tuple[int, int]
"""(node, what): `what` is a place in `ProcedureGraph.moves`, or -1 - a place in `InterleavingSearch.plant`."""
Way = Sequence[tuple[int, int | None]]
"""Nodes, each with what led to it, as in an `Edge`; None at the start."""


Departure = tuple[int, int, int, int]
"""(what, as in an `Edge`; the point and the packed state of the hold to which it leads; the hazards that it is)."""


class TooMuch(Exception):
    """More nodes than allowed."""


def end_of_time(clock: Clock) -> str:
    """Why a search ended by OutOfTime, in words."""
    return "it was stopped" if clock.stop is not None and clock.stop() else "the time was up"


class InterleavingSearch:
    """The graph so far.

    Bits of an outcome: hazard h is bit h; then one bit for each point at which it can come to a stand; then `good` and
    `bad`, for an end with and without the goal.
    """

    def __init__(
        self, graph: ProcedureGraph, hazards: Sequence[Hazard], clock: Clock, *, lost: bool, most_nodes: int = 400_000
    ) -> None:
        self.graph = graph
        self.hazards = tuple(hazards)
        self.clock = clock
        self.most_nodes = most_nodes
        acting = [graph.machine.rule(name) for name in (*graph.plant, *(graph.lost if lost else ()))]
        acting += healings(graph.machine)
        self.failures = list(strikes(graph.machine))
        """The rules by which they strike; that is in `failures_from` only."""
        self.acting = tuple(acting)
        """What acts by itself at any time: the equipment, mechanism, failures that go again."""
        self.plant = [*acting, *self.failures]
        """What acts without people; a failure has its place here so that it can be a step of a way."""
        self.stands = len(self.hazards)
        self.every_hazard = (1 << self.stands) - 1
        self.good = 1 << (self.stands + len(graph.points))
        self.bad = self.good << 1
        self._tests: dict[Expr, int] = {}
        self._plant_tests = [self._test(rule.guard) for rule in acting]
        self._failure_tests = [self._test(rule.guard) for rule in self.failures]
        self._moves: list[list[tuple[int, int, int, int]]] = [[] for _ in graph.points]
        self._slips: list[list[tuple[int, int, int, int]]] = [[] for _ in graph.points]
        for place, move in enumerate(graph.moves):
            guard = -1 if move.rule is None else self._test(graph.machine.rule(move.rule).guard)
            entry = (place, move.dest, guard, self._test(move.when))
            (self._moves if move.slip is None else self._slips)[move.source].append(entry)
        self._bad_tests = [self._test(hazard.bad) for hazard in self.hazards]
        self._goal = self._test(graph.bound.goal)
        self._standing = tuple(at for at, hazard in enumerate(self.hazards) if hazard.steps is None)
        stepping: dict[str, list[int]] = {}
        for at, hazard in enumerate(self.hazards):
            for name in hazard.steps or ():
                stepping.setdefault(name, []).append(at)
        self._stepping = {name: tuple(found) for name, found in stepping.items()}
        self._plant_stepping = [self._stepping.get(rule.name, ()) for rule in self.plant]
        tested = [Rule(f"test {at}", Actor.CREW, expr, ()) for at, expr in enumerate(self._tests)]
        self.packing = Packing(Machine(graph.machine.variables, graph.machine.signals, tuple(tested)))
        self._true = compile_enabled(self.packing)
        self._whole = Machine(graph.machine.variables, graph.machine.signals, ())
        self._writes = {rule.name: self.packing.writes(rule) for rule in graph.machine.rules}
        self._plant_writes = [self._writes[rule.name] for rule in self.plant]
        self._facts: dict[int, frozenset[int]] = {}
        self._plant_steps: dict[int, tuple[tuple[int, int], ...]] = {}
        self._hold_marks: dict[int, int] = {}
        self.first: Sequence[int] = ()
        """The nodes at which the procedure begins, once `begin` was called."""
        self.index: dict[tuple[int, int], int] = {}
        self.point: list[int] = []
        self.hold: list[int] = []
        self.edges: list[list[Edge]] = []
        self.marks: list[int] = []
        """Per node: what is so there and then."""
        self.outcomes: list[int] = []
        """Per node: what can come of it without a slip."""

    def _test(self, expr: Expr) -> int:
        return self._tests.setdefault(expr, len(self._tests))

    def facts(self, hold: int) -> frozenset[int]:
        found = self._facts.get(hold)
        if found is None:
            found = self._facts[hold] = frozenset(self._true(hold))
            marks = self._marks_of(self._standing, found)
            steps = []
            for at, test in enumerate(self._plant_tests):
                if test in found:
                    keep, bits = self._plant_writes[at]
                    steps.append((hold & keep | bits, -1 - at))
                    marks |= self._marks_of(self._plant_stepping[at], found)
            self._hold_marks[hold] = marks
            self._plant_steps[hold] = tuple(steps)
        return found

    def _marks_of(self, hazards: Iterable[int], facts: frozenset[int]) -> int:
        """Those of the hazards of which what is bad is so."""
        return sum(1 << at for at in hazards if self._bad_tests[at] in facts)

    def begin(self) -> None:
        """Finds the nodes at which the procedure begins: `first`."""
        states = map(self.packing.pack, initial_states(self.graph.machine))
        self.first = [self.node(self.graph.starts[0], state) for state in states]

    def node(self, point: int, hold: int) -> int:
        """The node of a point and a packed state of the hold; a new one has no edges before `explore`."""
        key = (point, hold)
        found = self.index.get(key)
        if found is None:
            found = self.index[key] = len(self.point)
            self.point.append(point)
            self.hold.append(hold)
        return found

    def state(self, node: int) -> State:
        """The state of the hold at a node."""
        return self.packing.unpack(self.hold[node])

    def holds(self, state: State, expr: Expr) -> bool:
        """Whether the expression is so in a state of the hold."""
        return evaluate(self._whole, expr, state)

    def broken(self, state: State, rule: str | None) -> tuple[str, ...]:
        """The ids of the requirements that the state breaks, or that making this step in it does."""
        facts = self.facts(self.packing.pack(state))
        made = () if rule is None else self._stepping.get(rule, ())
        return self.hazards_in(self._marks_of((*self._standing, *made), facts))

    def explore(self) -> range:
        """Expands every node that is not expanded yet, and all that they lead to; gives the new ones.

        Raises OutOfTime and TooMuch; the graph must then not be used further.
        """
        first = len(self.edges)
        while len(self.edges) < len(self.point):
            node = len(self.edges)
            if node % CHUNK == 0:
                self.clock.check()
                if node > self.most_nodes:
                    raise TooMuch
            self._expand(node)
        fresh = range(first, len(self.edges))
        self._settle(fresh)
        return fresh

    def _expand(self, node: int) -> None:
        point, hold = self.point[node], self.hold[node]
        facts = self.facts(hold)
        marks = self._hold_marks[hold]
        edges: list[Edge] = []
        for after, what in self._plant_steps[hold]:
            edges.append((self.node(point, after), what))
        for place, dest, guard, when in self._moves[point]:
            if when in facts and (guard < 0 or guard in facts):
                after, more = self._fire(self.graph.moves[place], hold, facts)
                marks |= more
                edges.append((self.node(dest, after), place))
        self.edges.append(edges)
        self.marks.append(marks)
        self.outcomes.append(marks)

    def _fire(self, move: Move, hold: int, facts: frozenset[int]) -> tuple[int, int]:
        """The state of the hold after a move, and the hazards that making it is."""
        if move.rule is None:
            return hold, 0
        keep, bits = self._writes[move.rule]
        return hold & keep | bits, self._marks_of(self._stepping.get(move.rule, ()), facts)

    def slips_from(self, node: int) -> Iterator[tuple[int, int, int]]:
        """(place of the move, node it leads to, hazards that making it is) for every slip that is possible there."""
        for place, point, hold, marks in self.slipping(node):
            yield place, self.node(point, hold), marks

    def failures_from(self, node: int) -> Iterator[tuple[int, int]]:
        """(what happens, node it leads to) for every failure that can strike there."""
        for what, point, hold, _ in self.striking(node):
            yield what, self.node(point, hold)

    def slipping(self, node: int) -> Iterator[Departure]:
        """The same as `slips_from`, without making nodes: point and state of the hold to which each leads."""
        hold = self.hold[node]
        facts = self.facts(hold)
        for place, dest, guard, when in self._slips[self.point[node]]:
            if when in facts and (guard < 0 or guard in facts):
                yield place, dest, *self._fire(self.graph.moves[place], hold, facts)

    def striking(self, node: int) -> Iterator[Departure]:
        """The same of failures."""
        hold = self.hold[node]
        facts = self.facts(hold)
        for at, test in enumerate(self._failure_tests, len(self._plant_tests)):
            if test in facts:
                keep, bits = self._plant_writes[at]
                yield -1 - at, self.point[node], hold & keep | bits, 0

    def _settle(self, fresh: range) -> None:
        """What can come of the new nodes; the others' outcomes are known."""
        before: dict[int, list[int]] = {node: [] for node in fresh}
        leaves: deque[int] = deque()
        free: set[int] = set()
        points = self.graph.points
        done = self.graph.starts[-1]
        for node in fresh:
            point = self.point[node]
            for after, _ in self.edges[node]:
                if after in before:
                    before[after].append(node)
            if point == done:
                out = self._goal in self.facts(self.hold[node])
            else:
                out = any(self.point[after] != point for after, _ in self.edges[node])
            if not out and (not points[point].ends or point == done):
                # a known node at the same point that can leave lets this one leave as well
                out = out or any(
                    after not in before and self.point[after] == point and not self._stands(after)
                    for after, _ in self.edges[node]
                )
            if out:
                free.add(node)
                leaves.append(node)
        while leaves:
            node = leaves.popleft()
            for earlier in before[node]:
                if earlier not in free and self.point[earlier] == self.point[node]:
                    free.add(earlier)
                    leaves.append(earlier)
        for node in fresh:
            point = self.point[node]
            if point == done:
                self.outcomes[node] |= self.good if node in free else self.bad
            elif points[point].stopped or (not points[point].ends and node not in free):
                self.outcomes[node] |= 1 << (self.stands + point)
            self.marks[node] = self.outcomes[node]
        waiting = deque(reversed(fresh))
        queued = set(waiting)
        while waiting:
            node = waiting.popleft()
            queued.discard(node)
            outcome = self.outcomes[node]
            for after, _ in self.edges[node]:
                outcome |= self.outcomes[after]
            if outcome != self.outcomes[node]:
                self.outcomes[node] = outcome
                for earlier in before[node]:
                    if earlier not in queued:
                        queued.add(earlier)
                        waiting.append(earlier)

    def _stands(self, node: int) -> bool:
        return bool(self.marks[node] & (self.bad | 1 << (self.stands + self.point[node])))

    def outcome_of(self, nodes: Iterable[int]) -> int:
        """What can come of some of the nodes without a slip."""
        met = 0
        for node in nodes:
            met |= self.outcomes[node]
        return met

    def hazards_in(self, outcome: int) -> tuple[str, ...]:
        """The ids of the requirements that an outcome breaks, in their order."""
        return tuple(self.hazards[at].instance.requirement.id for at in bits_of(outcome & self.every_hazard))

    def wanted_at(self, node: int) -> Expr:
        """What would have to be so at the node for the procedure to go on."""
        point = self.graph.points[self.point[node]]
        bound = self.graph.bound.actions[point.action]
        if bound.manner in (Manner.CHECK, Manner.WAIT) or point.under_way:
            return bound.until
        return disj(*(self.graph.machine.rule(name).guard for name in bound.rules))

    def path(self, sources: Iterable[int], wanted: int) -> list[tuple[int, int | None]]:
        """The shortest way without slips from one of the nodes to one whose marks have a bit of `wanted`.

        As (node, what led to it); the first has None.  Empty where there is none.
        """
        return self._way(sources, lambda node: bool(self.marks[node] & wanted))

    def way_to(self, sources: Iterable[int], goals: frozenset[int]) -> list[tuple[int, int | None]]:
        """The same to one of these nodes."""
        return self._way(sources, goals.__contains__)

    def way_by(self, steps: Iterable[tuple[int, int, int]], tail: Way) -> list[tuple[int, int | None]]:
        """From the first nodes by one of the steps (from, what, to) onto where the tail begins, and along it."""
        joining = {node: what for node, what, dest in steps if dest == tail[0][0]}
        head = self.way_to(self.first, frozenset(joining))
        return [*head, (tail[0][0], joining[head[-1][0]]), *tail[1:]]

    def _way(self, sources: Iterable[int], is_end: Callable[[int], bool]) -> list[tuple[int, int | None]]:
        parents: dict[int, tuple[int, int] | None] = dict.fromkeys(sources)
        queue = deque(parents)
        while queue:
            node = queue.popleft()
            if is_end(node):
                return _back(parents, node)
            for after, what in self.edges[node]:
                if after not in parents:
                    parents[after] = (node, what)
                    queue.append(after)
        return []

    def closure(self, sources: Iterable[int], barred: int = 0) -> Iterator[int]:
        """Every node that these lead to without a slip, themselves included; nodes below `barred` are left out."""
        seen = {node for node in sources if node >= barred}
        stack = sorted(seen)
        while stack:
            node = stack.pop()
            yield node
            for after, _ in self.edges[node]:
                if after >= barred and after not in seen:
                    seen.add(after)
                    stack.append(after)


def _back(parents: dict[int, tuple[int, int] | None], node: int) -> list[tuple[int, int | None]]:
    found: list[tuple[int, int | None]] = []
    while (step := parents[node]) is not None:
        found.append((node, step[1]))
        node = step[0]
    found.append((node, None))
    return found[::-1]
