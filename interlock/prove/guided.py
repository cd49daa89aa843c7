"""Guided search: finds long runs to targets that exist; says nothing about those that do not.

Best-first search over states.  The distance to a target is estimated on a relaxed machine in which a variable keeps
every value that it once had: the size of a plan for the relaxed machine, traced back from the target along the cheapest
supporters (additive cost).  Rules that such a plan would fire first are tried first.

References, from memory:
  B. Bonet, H. Geffner, "Planning as heuristic search", Artificial Intelligence 129, 2001 (additive cost).
  J. Hoffmann, B. Nebel, "The FF planning system: fast plan generation through heuristic search", JAIR 14, 2001
  (plan size of the relaxed problem, rules that help).
  M. Helmert, "The Fast Downward planning system", JAIR 26, 2006 (late evaluation, a second queue for helping rules).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from heapq import heappop, heappush
from itertools import islice

from interlock.kernel.claims import Claim, Limits, Progress, Refuted, Report, Trace, Unknown, silent
from interlock.kernel.evaluator import evaluate, initial_states
from interlock.kernel.expressions import And, Const, Expr, Is, Not, Ref, Value, conj
from interlock.kernel.machine import Machine, Question
from interlock.prove.compiled import Packing, compile_enabled, compile_hits
from interlock.prove.engine import NO_LIMITS, Clock, clock_of

NAME = "guided"
MOST_EXPANDED = 4_000
"""How many states one target may expand before the search gives it up."""

MOST_STARTS = 64
"""How many initial states are tried as starts."""

_NEVER = 1 << 40


def guided(
    machine: Machine, questions: Sequence[Question], limits: Limits = NO_LIMITS, report: Report = silent
) -> tuple[Claim, ...]:
    """Runs to as many targets as it can find; Unknown for all others, whether they are reachable or not.

    A run is seldom the shortest and never claimed to be.  Every state met on the way to one target is looked at for
    all others.  `limits.states` bounds the states held for one target.
    """
    found = search(machine, questions, limits, report, clock_of(limits))
    return tuple(
        Refuted(q.id, NAME, found[q.id], False)
        if q.id in found
        else Unknown(q.id, NAME, "guided search found no run", -1)
        for q in questions
    )


def search(
    machine: Machine,
    questions: Sequence[Question],
    limits: Limits,
    report: Report,
    clock: Clock,
    most_expanded: int = MOST_EXPANDED,
) -> dict[str, Trace]:
    """The runs that guided search finds, by question id; `most_expanded` states are expanded for each at the most."""
    hunt = _Hunt(machine, questions, limits, clock)
    for number, question in enumerate(questions):
        if clock.is_over():
            break
        report(Progress(NAME, "looking for runs", number, len(questions)))
        if question.id not in hunt.found:
            hunt.pursue(number, most_expanded)
    return hunt.found


@dataclass(slots=True)
class _Graph:
    """Facts, conjunctions and alternatives of the relaxed machine, as numbered nodes.

    A node with `needs` n is reached when n of its children are; `users` lists, per node, those that it is a child of.
    Rules are conjunctions that cost one and give facts.
    """

    needs: list[int] = field(default_factory=list)
    users: list[list[int]] = field(default_factory=list)
    children: list[list[int]] = field(default_factory=list)
    cost: list[int] = field(default_factory=list)
    gives: dict[int, list[int]] = field(default_factory=dict)
    rule_of: dict[int, int] = field(default_factory=dict)

    def node(self, children: Iterable[int], needs: int, cost: int = 0) -> int:
        number = len(self.needs)
        listed = list(dict.fromkeys(children))
        self.needs.append(min(needs, len(listed)))
        self.users.append([])
        self.children.append(listed)
        self.cost.append(cost)
        for child in listed:
            self.users[child].append(number)
        return number


class _Relaxed:
    """The relaxed machine of one machine and its targets."""

    def __init__(self, machine: Machine, targets: Sequence[Expr]) -> None:
        self._machine = machine
        self._graph = _Graph()
        self._facts: dict[tuple[str, Value], int] = {}
        self._others: dict[tuple[str, Value], int] = {}
        self._signals: dict[tuple[str, bool], int] = {}
        graph = self._graph
        self.truth = graph.node((), 0)
        self._falsity = graph.node((), 0)
        graph.needs[self._falsity] = 1
        for variable in machine.variables:
            for value in variable.domain:
                self._facts[variable.name, value] = graph.node((), 0)
                graph.needs[self._facts[variable.name, value]] = 1
        for number, rule in enumerate(machine.rules):
            node = graph.node((self._expr(rule.guard, True),), 1, 1)
            graph.rule_of[node] = number
            graph.gives[node] = [self._facts[name, value] for name, value in rule.update]
        self.targets = [self.goal(target) for target in targets]
        self._places = [
            [self._facts[variable.name, value] for value in variable.domain] for variable in machine.variables
        ]

    def goal(self, expr: Expr) -> int:
        """The node that is reached when the expression can be true."""
        return self._expr(expr, True)

    def _expr(self, expr: Expr, wanted: bool) -> int:
        if isinstance(expr, Const):
            return self.truth if expr.value is wanted else self._falsity
        if isinstance(expr, Not):
            return self._expr(expr.arg, not wanted)
        if isinstance(expr, Is):
            return self._facts[expr.variable, expr.value] if wanted else self._other(expr)
        if isinstance(expr, Ref):
            key = (expr.signal, wanted)
            if key not in self._signals:
                self._signals[key] = self._expr(self._machine.definitions[expr.signal], wanted)
            return self._signals[key]
        parts = [self._expr(arg, wanted) for arg in expr.args]
        if len(set(parts)) == 1:
            return parts[0]
        every = isinstance(expr, And) == wanted
        return self._graph.node(parts, len(set(parts)) if every else 1)

    def _other(self, fact: Is) -> int:
        key = (fact.variable, fact.value)
        if key not in self._others:
            rest = [v for v in self._machine.domains[fact.variable] if v != fact.value]
            facts = [self._facts[fact.variable, value] for value in rest]
            self._others[key] = facts[0] if len(facts) == 1 else self._graph.node(facts, 1)
            if not facts:
                self._graph.needs[self._others[key]] = 1
        return self._others[key]

    def estimate(self, places: Sequence[int], target: int) -> tuple[int, set[int]]:
        """(plan size, rules that it fires first) from the state with these values; (_NEVER, none) if unreachable."""
        graph = self._graph
        cost = [_NEVER] * len(graph.needs)
        total = [0] * len(graph.needs)
        missing = graph.needs.copy()
        support: dict[int, int] = {}
        heap: list[tuple[int, int]] = []
        start = [self.truth, *(self._places[at][place] for at, place in enumerate(places))]
        for node in start:
            cost[node] = 0
            heappush(heap, (0, node))
        users, gives, own = graph.users, graph.gives, graph.cost
        while heap:
            price, node = heappop(heap)
            if price > cost[node]:
                continue
            if node == target:
                break
            for given in gives.get(node, ()):
                if price < cost[given]:
                    cost[given] = price
                    support[given] = node
                    heappush(heap, (price, given))
            for user in users[node]:
                left = missing[user]
                if left <= 0:
                    continue
                missing[user] = left - 1
                total[user] += price
                if left == 1:
                    reached = total[user] if graph.needs[user] > 1 else price
                    reached += own[user]
                    if reached < cost[user]:
                        cost[user] = reached
                        support[user] = node
                        heappush(heap, (reached, user))
        if cost[target] >= _NEVER:
            return _NEVER, set()
        return self._trace_back(target, cost, support)

    def _trace_back(self, target: int, cost: Sequence[int], support: Mapping[int, int]) -> tuple[int, set[int]]:
        graph = self._graph
        fired: set[int] = set()
        first: set[int] = set()
        seen: set[int] = set()
        stack = [target]
        while stack:
            node = stack.pop()
            if node in seen or cost[node] == 0:
                continue
            seen.add(node)
            if node in graph.rule_of:
                fired.add(graph.rule_of[node])
                if cost[node] == 1:
                    first.add(graph.rule_of[node])
                stack.extend(graph.children[node])
            elif graph.needs[node] > 1:
                stack.extend(graph.children[node])
            elif node in support:
                stack.append(support[node])
        return len(fired), first


class _Hunt:
    """What is known of one machine while its targets are pursued."""

    def __init__(self, machine: Machine, questions: Sequence[Question], limits: Limits, clock: Clock) -> None:
        self._machine = machine
        self._questions = questions
        self._clock = clock
        self._most = limits.states or 1_000_000
        self._packing = Packing(machine)
        self._enabled = compile_enabled(self._packing)
        self._writes = [self._packing.writes(rule) for rule in machine.rules]
        self._relaxed = _Relaxed(machine, [q.target for q in questions])
        self._open = {number: q.target for number, q in enumerate(questions)}
        self._hits = compile_hits(self._packing, self._open)
        self._places = [{value: at for at, value in enumerate(v.domain)} for v in machine.variables]
        self._starts = [self._packing.pack(state) for state in islice(initial_states(machine), MOST_STARTS)]
        self.found: dict[str, Trace] = {}

    def pursue(self, number: int, most_expanded: int = MOST_EXPANDED) -> None:
        """Searches for one target; whatever other targets are met on the way count as well.

        What of the target is not so at the start is pursued by itself first: the rest may have to be undone on the way
        and done again, which the estimate, blind to undoing, does not see.
        """
        parents: dict[int, tuple[int, int] | None] = dict.fromkeys(self._starts)
        self._look(self._starts, parents)
        if number not in self._open or not self._starts:
            return
        parts = _conjuncts(self._questions[number].target, self._machine)
        before = self._packing.unpack(self._starts[0])
        false = [part for part in parts if not evaluate(self._machine, part, before)]
        sources = self._starts
        if len(false) < len(parts):
            reached = self._run(sources, conj(*false), self._relaxed.goal(conj(*false)), parents, most_expanded, number)
            if reached is None or number not in self._open:
                return
            sources = [reached]
        self._run(sources, None, self._relaxed.targets[number], parents, most_expanded, number)

    def _run(
        self,
        sources: Sequence[int],
        aim: Expr | None,
        node: int,
        parents: dict[int, tuple[int, int] | None],
        most_expanded: int,
        number: int,
    ) -> int | None:
        """Searches from the sources until `aim` (None: the question itself) is met; gives the state that meets it."""
        meets = None if aim is None else compile_hits(self._packing, {0: aim})
        helping: list[tuple[int, int, int]] = []
        others: list[tuple[int, int, int]] = []
        for order, state in enumerate(sources):
            heappush(others, (0, order, state))
        order = len(sources)
        if meets is not None and (hit := meets(sources)):
            return hit[0]
        expanded: set[int] = set()
        reached = set(sources)
        turns = 0
        while (helping or others) and number in self._open and len(expanded) < most_expanded:
            if self._clock.is_over() or len(parents) > self._most:
                return None
            turns += 1
            queue = helping if helping and (turns % 4 or not others) else others
            _, _, state = heappop(queue)
            if state in expanded:
                continue
            expanded.add(state)
            guess, first = self._relaxed.estimate(self._values(state), node)
            if guess >= _NEVER:
                continue
            fresh = []
            for rule in self._enabled(state):
                keep, bits = self._writes[rule]
                after = state & keep | bits
                if after in reached:
                    continue
                reached.add(after)
                parents.setdefault(after, (state, rule))
                fresh.append(after)
                heappush(helping if rule in first else others, (guess, order, after))
                order += 1
            self._look(fresh, parents)
            if meets is not None and (hit := meets(fresh)):
                return hit[0]
        return None

    def _values(self, state: int) -> list[int]:
        return [places[value] for places, value in zip(self._places, self._packing.unpack(state), strict=True)]

    def _look(self, states: list[int], parents: Mapping[int, tuple[int, int] | None]) -> None:
        for number, state in self._hits(states).items():
            if number in self._open:
                del self._open[number]
                self.found[self._questions[number].id] = self._trace(state, parents)

    def _trace(self, state: int, parents: Mapping[int, tuple[int, int] | None]) -> Trace:
        rules: list[str] = []
        states = [self._packing.unpack(state)]
        while (step := parents[state]) is not None:
            state, rule = step
            rules.append(self._machine.rules[rule].name)
            states.append(self._packing.unpack(state))
        return Trace(tuple(reversed(rules)), tuple(reversed(states)))


def _conjuncts(target: Expr, machine: Machine) -> list[Expr]:
    """The parts of a conjunction, signals that name conjunctions opened."""
    parts: list[Expr] = []
    stack = [target]
    while stack:
        expr = stack.pop()
        if isinstance(expr, Ref) and isinstance(machine.definitions[expr.signal], And):
            stack.append(machine.definitions[expr.signal])
        elif isinstance(expr, And):
            stack.extend(reversed(expr.args))
        else:
            parts.append(expr)
    return parts
