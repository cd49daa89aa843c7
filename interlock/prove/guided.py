"""Guided search: finds long runs to targets that exist; says nothing about those that do not.

Best-first search over states.  The distance to a target is estimated on a relaxed machine in which a variable keeps
every value that it once had: the size of a plan for the relaxed machine, traced back from the target along the cheapest
supporters (additive cost).  Rules that such a plan would fire first are tried first.

Targets are pursued farthest first, so that nearer ones are met on the way, and each search begins where an earlier one
has already been: in the state that is farthest along the relaxed plan for the new target.

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
from interlock.kernel.evaluator import State, evaluate, initial_states
from interlock.kernel.expressions import And, Const, Expr, Is, Not, Ref, Value, conj
from interlock.kernel.machine import Machine, Question
from interlock.prove.compiled import Packing, compile_enabled, compile_hits
from interlock.prove.engine import NO_LIMITS, Clock, clock_of

NAME = "guided"
MOST_EXPANDED = 4_000
"""How many states one target may expand before the search gives it up."""

MOST_STARTS = 64
"""How many initial states are tried as starts."""
NEARBY_EXPANDED = 40
"""How many states are expanded from where an earlier search has been, and for each step estimated this many more: """
NEARBY_PER_STEP = 3
EXPANDED_PER_STEP = 8
"""How many states may be expanded for each step that a target seems to be away, where that is more."""
COVER_EXPANDED = 12
"""How many states are expanded, and for each step estimated one more, to see a rule fire that has not yet."""

_NEVER = 1 << 1_000
"""Costs add up: where two parts must both go the same way, they double with each step of it."""


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
    hunt = Hunt(machine, questions, limits, clock)
    hunt.run(range(len(questions)), most_expanded, report)
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


class Relaxed:
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
        self.guards: list[int] = []
        """Per rule the node that is reached when its guard can be true."""
        for number, rule in enumerate(machine.rules):
            self.guards.append(self._expr(rule.guard, True))
            node = graph.node((self.guards[-1],), 1, 1)
            graph.rule_of[node] = number
            graph.gives[node] = [self._facts[name, value] for name, value in rule.update]
        self.targets = [self.goal(target) for target in targets]
        self._fact_of = {node: fact for fact, node in self._facts.items()}
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
        found = self.plan(places, target)
        return (_NEVER, set()) if found is None else (len(found[0]), found[1])

    def plan(self, places: Sequence[int], target: int) -> tuple[set[int], set[int]] | None:
        """The rules that a plan for the relaxed machine fires, and those of them that it can fire first."""
        cost, support = self._costs(places, target)
        return None if cost[target] >= _NEVER else self.trace_back(target, cost, support)[:2]

    def survey(self, places: Sequence[int]) -> Survey:
        """What everything costs from the state with these values."""
        return Survey(self, *self._costs(places, self._falsity))

    def _costs(self, places: Sequence[int], target: int) -> tuple[list[int], dict[int, int]]:
        """What every node costs that is not dearer than the target, and what supports it."""
        graph = self._graph
        cost = [_NEVER] * len(graph.needs)
        total = [0] * len(graph.needs)
        missing = graph.needs.copy()
        support: dict[int, int] = {}
        start = [self.truth, *(self._places[at][place] for at, place in enumerate(places))]
        for node in start:
            cost[node] = 0
        # Nodes by what they cost; a node is met again where it became cheaper meanwhile.
        waiting: dict[int, list[int]] = {0: start}
        users, gives, own, needs = graph.users, graph.gives, graph.cost, graph.needs
        prices = [0]
        while prices and cost[target] > prices[0]:
            price = heappop(prices)
            queue = waiting[price]
            for node in queue:
                if price > cost[node]:
                    continue
                for given in gives.get(node, ()):
                    if price < cost[given]:
                        cost[given] = price
                        support[given] = node
                        queue.append(given)
                for user in users[node]:
                    left = missing[user]
                    if left <= 0:
                        continue
                    missing[user] = left - 1
                    total[user] += price
                    if left == 1:
                        reached = (total[user] if needs[user] > 1 else price) + own[user]
                        if reached < cost[user]:
                            cost[user] = reached
                            support[user] = node
                            if reached not in waiting:
                                waiting[reached] = []
                                heappush(prices, reached)
                            waiting[reached].append(user)
        return cost, support

    def fact(self, node: int) -> tuple[str, Value] | None:
        """The fact that the node stands for, where it does."""
        return self._fact_of.get(node)

    def trace_back(
        self, target: int, cost: Sequence[int], support: Mapping[int, int]
    ) -> tuple[set[int], set[int], set[int]]:
        """The rules of the plan, those of them that cost no more than one step, and every node that it needs."""
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
        return fired, first, seen


@dataclass(frozen=True, slots=True)
class Survey:
    """Costs from one state to every node of the relaxed machine."""

    relaxed: Relaxed
    cost: Sequence[int]
    support: Mapping[int, int]

    def milestones(self, target: int) -> list[tuple[str, Value]]:
        """The facts that a plan for the relaxed machine brings about, the last first; none where there is no plan."""
        if self.cost[target] >= _NEVER:
            return []
        needed = self.relaxed.trace_back(target, self.cost, self.support)[2]
        facts = ((node, self.relaxed.fact(node)) for node in sorted(needed, key=lambda node: (-self.cost[node], node)))
        return [fact for _, fact in facts if fact is not None]


class Hunt:
    """What is known of one machine while its targets are pursued.

    `found` holds runs by question id.  Every state that was met is kept with the step that led to it first.
    """

    def __init__(self, machine: Machine, questions: Sequence[Question], limits: Limits, clock: Clock) -> None:
        self._machine = machine
        self._questions = questions
        self._clock = clock
        self._most = limits.states or 1_000_000
        self._packing = Packing(machine)
        self._enabled = compile_enabled(self._packing)
        self._writes = [self._packing.writes(rule) for rule in machine.rules]
        self._relaxed = Relaxed(machine, [q.target for q in questions])
        self._open = {number: q.target for number, q in enumerate(questions)}
        self._hits = compile_hits(self._packing, self._open)
        self._starts = [self._packing.pack(state) for state in islice(initial_states(machine), MOST_STARTS)]
        self._parents: dict[int, tuple[int, int] | None] = dict.fromkeys(self._starts)
        self._depths = dict.fromkeys(self._starts, 0)
        self._visited: list[int] = list(self._starts)
        """States that a search went through, in the order in which it did: where later ones may begin."""
        self.found: dict[str, Trace] = {}
        self._survey = self._relaxed.survey(self._values(self._starts[0])) if self._starts else None
        self._look(self._starts)

    def run(self, numbers: Iterable[int], most_expanded: int, report: Report) -> None:
        """Pursues these questions, by place, the farthest first; ends early, without a word, when time is over."""
        if self._survey is None:
            return
        places = self._values(self._starts[0])
        far = {number: self._survey.cost[self._relaxed.targets[number]] for number in numbers if number in self._open}
        for done, number in enumerate(sorted(far, key=lambda number: (-far[number], number))):
            if self._clock.is_over():
                break
            report(Progress(NAME, "looking for runs", done, len(far)))
            if number in self._open and far[number] < _NEVER:
                steps, _ = self._relaxed.estimate(places, self._relaxed.targets[number])
                self.pursue(number, max(most_expanded, min(EXPANDED_PER_STEP * steps, MOST_EXPANDED)))

    def cover(self, report: Report) -> None:
        """Goes where rules fire that make something so which was not so yet, as far as that is soon done.

        A rule that was tried in vain is not hoped for on the way to others.
        """
        if self._survey is None:
            return
        rules = self._machine.rules
        fired = {step[1] for step in self._parents.values() if step is not None}
        seen = {fact for at in fired for fact in rules[at].update}
        first = self._packing.unpack(self._starts[0])
        seen.update((variable.name, value) for variable, value in zip(self._machine.variables, first, strict=True))
        far = {at: self._survey.cost[node] for at, node in enumerate(self._relaxed.guards) if at not in fired}
        failed: set[int] = set()
        for done, at in enumerate(sorted(far, key=lambda at: (far[at], at))):
            if self._clock.is_over():
                return
            if far[at] >= _NEVER or all(fact in seen for fact in rules[at].update):
                continue
            report(Progress(NAME, "rules that have not fired yet", done, len(far)))
            goal = self._relaxed.guards[at]
            near = self._nearest(goal)
            plan = self._relaxed.plan(self._values(near), goal)
            if plan is None or not failed.isdisjoint(plan[0]):
                failed.add(at)
                continue
            before = len(self._parents)
            steps = min(len(plan[0]), COVER_EXPANDED)
            reached = self._run([near], True, goal, COVER_EXPANDED + steps, None)
            if reached is None:
                failed.add(at)
            else:
                self._visited.extend(after for _, after in self._expand(reached, set()))
            for step in islice(self._parents.values(), before, None):
                if step is not None:
                    seen.update(rules[step[1]].update)

    def states(self, most: int) -> list[State]:
        """Up to so many reachable states: first those that searches went through, then others, spread evenly."""
        chosen = dict.fromkeys(reversed(self._visited))
        step = max(1, -(-len(self._parents) // max(1, most - len(chosen))))
        chosen.update(dict.fromkeys(islice(self._parents, 0, None, step)))
        return [self._packing.unpack(state) for state in islice(chosen, most)]

    def pursue(self, number: int, most_expanded: int = MOST_EXPANDED) -> None:
        """Searches for one target; whatever other targets are met on the way count as well.

        What of the target is not so at the start is pursued by itself first: the rest may have to be undone on the way
        and done again, which the estimate, blind to undoing, does not see.
        """
        parts = _conjuncts(self._questions[number].target, self._machine)
        before = self._packing.unpack(self._starts[0])
        false = [part for part in parts if not evaluate(self._machine, part, before)]
        whole = self._relaxed.targets[number]
        halves = len(false) < len(parts)
        node = self._relaxed.goal(conj(*false)) if halves else whole
        nearby = self._nearest(node)
        for sources, most in (([nearby], min(most_expanded, self._few(nearby, node))), (self._starts, most_expanded)):
            if sources is not self._starts and nearby in self._starts:
                continue
            reached = self._run(sources, halves, node, most, number)
            if halves and reached is not None and number in self._open:
                self._run([reached], False, whole, most, number)
            if number not in self._open:
                return

    def _nearest(self, node: int) -> int:
        """The visited state that is farthest along the relaxed plan from the start to the target."""
        near = self._visited
        for name, value in self._milestones(node):
            mask, bits = self._packing.fact(name, value)
            near = [state for state in near if state & mask == bits] or near
            if len(near) == 1:
                break
        return min(near, key=lambda state: self._depths[state])

    def _milestones(self, node: int) -> list[tuple[str, Value]]:
        survey = self._survey
        if survey is None or node >= len(survey.cost):
            # A goal that was made since: everything has to be asked again.
            survey = self._survey = self._relaxed.survey(self._values(self._starts[0]))
        return survey.milestones(node)

    def _few(self, state: int, node: int) -> int:
        guess, _ = self._relaxed.estimate(self._values(state), node)
        return NEARBY_EXPANDED + NEARBY_PER_STEP * guess

    def _run(
        self, sources: Sequence[int], partial: bool, node: int, most_expanded: int, number: int | None
    ) -> int | None:
        """Searches from the sources until the question is met or, where it is `partial`, what the node stands for.

        Without a question (None) only the node counts.  Gives the state in which that is so.
        """
        helping: list[tuple[int, int, int]] = []
        others: list[tuple[int, int, int]] = []
        for order, state in enumerate(sources):
            heappush(others, (0, order, state))
        order = len(sources)
        most_held = len(self._parents) + self._most
        expanded: set[int] = set()
        reached = set(sources)
        turns = 0
        while (helping or others) and (number is None or number in self._open) and len(expanded) < most_expanded:
            if self._clock.is_over() or len(self._parents) > most_held:
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
            self._visited.append(state)
            if partial and guess == 0:
                # A relaxed plan without a step: what it is a plan for is so.
                return state
            fresh = self._expand(state, reached)
            for rule, after in fresh:
                heappush(helping if rule in first else others, (guess, order, after))
                order += 1
            self._look([after for _, after in fresh])
        return None

    def _expand(self, state: int, reached: set[int]) -> list[tuple[int, int]]:
        """(rule, state) for every step to a state not yet in `reached`; they are added to it."""
        parents, depths = self._parents, self._depths
        fresh = []
        for rule in self._enabled(state):
            keep, bits = self._writes[rule]
            after = state & keep | bits
            if after in reached:
                continue
            reached.add(after)
            if after not in parents:
                parents[after] = (state, rule)
                depths[after] = depths[state] + 1
            fresh.append((rule, after))
        return fresh

    def _values(self, state: int) -> list[int]:
        return self._packing.places(state)

    def _look(self, states: list[int]) -> None:
        for number, state in self._hits(states).items():
            if number in self._open:
                del self._open[number]
                self.found[self._questions[number].id] = self._trace(state)
                self._visited.append(state)

    def lead(self, state: State) -> Trace:
        """A run to a state that was met."""
        return self._trace(self._packing.pack(state))

    def _trace(self, state: int) -> Trace:
        rules: list[str] = []
        states = [self._packing.unpack(state)]
        while (step := self._parents[state]) is not None:
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
