"""The delete relaxation of a machine, in which a variable keeps every value that it once had: costs there, and plans.

The machine's expressions are one graph of facts, conjunctions and alternatives.  A state is put on the graph by what
has changed since the state before: what is so there is found again only where that matters.  What a target costs
(additive cost: a conjunction costs the sum of its parts, a rule one more than its guard) is then worked out of the
rules that lie behind it alone, as few levels of them as will do.

References, from memory:
  B. Bonet, H. Geffner, "Planning as heuristic search", Artificial Intelligence 129, 2001 (additive cost).
  J. Hoffmann, B. Nebel, "The FF planning system: fast plan generation through heuristic search", JAIR 14, 2001
  (plan size of the relaxed problem, rules that help).
  W. F. Dowling, J. H. Gallier, "Linear-time algorithms for testing the satisfiability of propositional Horn
  formulae", Journal of Logic Programming 1, 1984 (counting what is still missing).
"""

from __future__ import annotations

from collections.abc import Collection, Generator, Iterable, Iterator, Mapping, Sequence, Set
from functools import cached_property
from heapq import heappop, heappush
from itertools import compress, count
from operator import ne
from typing import TypeAlias

from interlock.diagnostics.frozen import frozen
from interlock.kernel.expressions import And, Const, Expr, Is, Not, Or, Ref, Value, each, fold
from interlock.kernel.machine import Machine

NEVER = 1 << 1_000
"""The cost of what cannot be so.

Costs add up: where two parts must both go the same way, they double with each step of it."""
FIRST_LEVELS = 4
"""So many levels of rules behind a target are looked at first; then twice as many, and so on."""

_Opened: TypeAlias = tuple[int, int]
"""(rule, fact that it makes so)."""


@frozen
class RelaxedPlan:
    """The rules that a plan for the relaxed machine fires, by place, and those of them that it can fire first."""

    rules: Set[int]
    first: Set[int]

    @property
    def size(self) -> int:
        """How many rules it fires: an estimate of the steps to the goal."""
        return len(self.rules)


class DeleteRelaxation:
    """The relaxed machine of one machine; a state is put on it, and asked of it what things cost from there.

    Nodes are numbers, those of the parts of an expression smaller than its own.  Where `rules` (places, ascending) are
    given only those can fire.
    """

    def __init__(self, machine: Machine, targets: Sequence[Expr] = (), rules: Sequence[int] | None = None) -> None:
        self.machine = machine
        self._rules = range(len(machine.rules)) if rules is None else rules
        self._children: list[Sequence[int]] = []
        self._every: list[bool] = []
        """Per node whether it takes all of its children, or one."""
        self._users: list[list[int]] = []
        self._lack: list[int] = []
        """Per node how many more of its children must be so for it to be so in the state put; none is 0 or less."""
        self._others: dict[tuple[str, Value], int] = {}
        self._signals: dict[tuple[str, bool], int] = {}
        self._truth = self._node((), True)
        self._falsity = self._node((), False)
        self._any = self._node((), False)
        """Stands for any of some targets, while these are asked about."""
        self._facts = {(v.name, value): self._node((), False) for v in machine.variables for value in v.domain}
        self._fact_of = {node: fact for fact, node in self._facts.items()}
        self._places = [[self._facts[v.name, value] for value in v.domain] for v in machine.variables]
        self._here = [-1] * len(machine.variables)
        """The place of every variable's value in its domain; -1 before a state is put."""
        self._givers: list[list[int]] = [[] for _ in self._children]
        """Per fact the rules that make it so."""
        for number in self._rules:
            for name, value in machine.rules[number].update:
                self._givers[self._facts[name, value]].append(number)
        self._guards: list[int | None] = [None] * len(machine.rules)
        """Per rule the node of its guard, once it was asked for."""
        self.targets = [self.goal(target) for target in targets]

    def goal(self, expr: Expr) -> int:
        """The node that is reached when the expression can be true."""
        return self._expr(expr, True)

    def guard(self, rule: int) -> int:
        """The node that is reached when the guard of the rule can be true."""
        node = self._guards[rule]
        if node is None:
            node = self._guards[rule] = self._expr(self.machine.rules[rule].guard, True)
        return node

    def all_of(self, nodes: Sequence[int]) -> int:
        """The node that is reached when all of these are."""
        parts = tuple(dict.fromkeys(nodes))
        if len(parts) == 1:
            return parts[0]
        return self._node(parts, True) if parts else self._truth

    def _any_of(self, nodes: Sequence[int]) -> int:
        parts = tuple(dict.fromkeys(nodes))
        if len(parts) == 1:
            return parts[0]
        return self._node(parts, False) if parts else self._falsity

    def _node(self, children: Sequence[int], every: bool) -> int:
        number = len(self._children)
        so = sum(self._lack[child] <= 0 for child in children)
        self._children.append(children)
        self._every.append(every)
        self._users.append([])
        self._lack.append((len(children) if every else 1) - so)
        for child in children:
            self._users[child].append(number)
        return number

    def _expr(self, expr: Expr, wanted: bool) -> int:
        return fold(self._node_of, (expr, wanted))

    def _node_of(self, asked: tuple[Expr, bool]) -> Generator[tuple[Expr, bool], int, int]:
        expr, wanted = asked
        match expr:
            case Const(value):
                return self._truth if value is wanted else self._falsity
            case Not(arg):
                return (yield arg, not wanted)
            case Is(name, value):
                return self._facts[name, value] if wanted else self._other(name, value)
            case Ref(signal):
                if (signal, wanted) not in self._signals:
                    self._signals[signal, wanted] = yield self.machine.definitions[signal], wanted
                return self._signals[signal, wanted]
            case And(args) | Or(args):
                parts: list[int] = yield from each((arg, wanted) for arg in args)
                return self.all_of(parts) if isinstance(expr, And) == wanted else self._any_of(parts)

    def _other(self, name: str, value: Value) -> int:
        if (name, value) not in self._others:
            rest = [self._facts[name, other] for other in self.machine.domains[name] if other != value]
            self._others[name, value] = self._any_of(rest)
        return self._others[name, value]

    def put(self, changes: Iterable[tuple[int, int]]) -> list[int]:
        """Changes the state put: (place of the variable, place of its value in its domain).

        Gives the nodes that came to be so, in no particular order; some may not be so any more in the end.
        """
        lack, users, here = self._lack, self._users, self._here
        on: list[int] = []
        off: list[int] = []
        for at, place in changes:
            facts = self._places[at]
            if here[at] >= 0:
                off.append(facts[here[at]])
                lack[facts[here[at]]] = 1
            here[at] = place
            on.append(facts[place])
            lack[facts[place]] = 0
        # The lists grow while they are gone through.
        for node in on:
            for user in users[node]:
                lack[user] -= 1
                if lack[user] == 0:
                    on.append(user)
        for node in off:
            for user in users[node]:
                lack[user] += 1
                if lack[user] == 1:
                    off.append(user)
        return on

    def put_all(self, places: Sequence[int]) -> None:
        """Puts the state with these values."""
        self.put([(at, places[at]) for at in compress(count(), map(ne, self._here, places))])

    def is_so(self, node: int) -> bool:
        """The node is reached in the state put, without any rule."""
        return self._lack[node] <= 0

    def enabled(self) -> list[int]:
        """The rules that may fire in the state put, in order."""
        lack = self._lack
        return [rule for rule, guard in self._guarded if lack[guard] <= 0]

    @cached_property
    def _guarded(self) -> list[tuple[int, int]]:
        """The rules that can fire, each with the node of its guard."""
        return [(rule, self.guard(rule)) for rule in self._rules]

    def plan(self, places: Sequence[int], target: int) -> RelaxedPlan | None:
        """A plan from the state with these values; None where the target is out of reach."""
        self.put_all(places)
        return self.plan_here(target)

    def plan_here(self, target: int, banned: Set[int] = frozenset()) -> RelaxedPlan | None:
        """The same from the state put, without the rules that are banned."""
        if self._lack[target] <= 0:
            return RelaxedPlan(frozenset(), frozenset())
        known = self._costs_here(target, banned)
        return None if known is None else self._trace_back(target, known[1])

    def nearest_here(self, targets: Collection[int], banned: Set[int] = frozenset()) -> RelaxedPlan | None:
        """A plan for that of these targets which costs the least; none of them is so in the state put."""
        known = self._costs_here(self._any, banned, targets)
        return None if known is None else self._trace_back(known[1][self._any], known[1])

    def milestones_here(self, target: int, banned: Set[int] = frozenset()) -> list[tuple[str, Value]]:
        """The facts that such a plan brings about, the last first; none where there is no plan."""
        known = None if self._lack[target] <= 0 else self._costs_here(target, banned)
        if known is None:
            return []
        cost, support = known
        seen = {target}
        found: list[int] = []
        stack = [target]
        while stack:
            node = stack.pop()
            if node in self._fact_of:
                found.append(node)
            for below in self.behind(node, support):
                if below not in seen and self._lack[below] > 0:
                    seen.add(below)
                    stack.append(below)
        return [self._fact_of[node] for node in sorted(found, key=lambda node: (-cost[node], node))]

    def _costs_here(
        self, target: int, banned: Set[int], any_of: Collection[int] = ()
    ) -> tuple[dict[int, int], dict[int, int]] | None:
        """What a plan for the target goes by: costs and supports (see `_forward`); None where it is out of reach.

        Where `any_of` has some the target stands for these.
        """
        uses: dict[int, list[int]] = {target: [], **{one: [target] for one in any_of}}
        opens: dict[int, list[_Opened]] = {}
        sources: list[_Opened] = []
        pending = list(any_of) or [target]
        levels, most = 0, FIRST_LEVELS
        while True:
            while pending and levels < most:
                pending = self._one_level_back(pending, uses, opens, sources, banned)
                levels += 1
            cost, support = self._forward(uses, opens, sources, target)
            if target in cost:
                return cost, support
            if not pending:
                return None
            most *= 2

    def _one_level_back(
        self,
        nodes: list[int],
        uses: dict[int, list[int]],
        opens: dict[int, list[_Opened]],
        sources: list[_Opened],
        banned: Set[int],
    ) -> list[int]:
        """Adds what lies behind the nodes up to the guards of rules, which it gives; nothing that is so already."""
        lack, children, givers, guards = self._lack, self._children, self._givers, self._guards
        nearest: list[int] = []
        # The list grows while it is gone through.
        for node in nodes:
            below = children[node]
            if not below:
                nearest.append(node)
            for child in below:
                if lack[child] > 0:
                    if child in uses:
                        uses[child].append(node)
                    else:
                        uses[child] = [node]
                        nodes.append(child)
        behind: list[int] = []
        for fact in nearest:
            closed: list[_Opened] = []
            # no fact: falsity has no rule behind it
            for rule in givers[fact]:
                if rule in banned:
                    continue
                guard = guards[rule]
                if guard is None:
                    guard = self.guard(rule)
                if lack[guard] <= 0:
                    sources.append((rule, fact))
                    break
                closed.append((rule, guard))
            else:
                for rule, guard in closed:
                    if guard in opens:
                        opens[guard].append((rule, fact))
                    else:
                        opens[guard] = [(rule, fact)]
                        if guard not in uses:
                            uses[guard] = []
                            behind.append(guard)
        return behind

    def _forward(
        self,
        uses: Mapping[int, Sequence[int]] | Sequence[Sequence[int]],
        opens: Mapping[int, Sequence[_Opened]],
        sources: Iterable[_Opened],
        target: int,
    ) -> tuple[dict[int, int], dict[int, int]]:
        """What is not so costs, as far as it is not dearer than the target, and by what: a child, or a fact's rule."""
        lack, every = self._lack, self._every
        cost: dict[int, int] = {}
        support: dict[int, int] = {}
        missing: dict[int, int] = {}
        total: dict[int, int] = {}
        waiting: dict[int, list[int]] = {1: []}
        for rule, fact in sources:
            if fact not in cost:
                cost[fact] = 1
                support[fact] = rule
                waiting[1].append(fact)
        # Nodes by what they cost; it is known for good when it is first known.
        prices = [1]
        while prices and cost.get(target, NEVER) > prices[0]:
            price = heappop(prices)
            queue = waiting.pop(price)
            for node in queue:
                for user in uses[node]:
                    if user in cost or lack[user] <= 0:
                        continue
                    if every[user]:
                        left = missing.get(user, lack[user]) - 1
                        missing[user] = left
                        reached = total[user] = total.get(user, 0) + price
                        if left:
                            continue
                    else:
                        reached = price
                        support[user] = node
                    cost[user] = reached
                    if reached == price:
                        queue.append(user)
                    elif reached in waiting:
                        waiting[reached].append(user)
                    else:
                        waiting[reached] = [user]
                        heappush(prices, reached)
                for rule, fact in opens.get(node, ()):
                    if fact not in cost:
                        cost[fact] = price + 1
                        support[fact] = rule
                        if price + 1 in waiting:
                            waiting[price + 1].append(fact)
                        else:
                            waiting[price + 1] = [fact]
                            heappush(prices, price + 1)
        return cost, support

    def _trace_back(self, target: int, support: Mapping[int, int]) -> RelaxedPlan:
        lack, children, every = self._lack, self._children, self._every
        fired: set[int] = set()
        first: set[int] = set()
        seen = {target}
        stack = [target]
        while stack:
            node = stack.pop()
            if every[node]:
                below = [child for child in children[node] if lack[child] > 0 and child not in seen]
                seen.update(below)
                stack.extend(below)
                continue
            behind = support[node]
            if not children[node]:
                fired.add(behind)
                behind = self.guard(behind)
                if lack[behind] <= 0:
                    first.add(support[node])
                    continue
            if behind not in seen:
                seen.add(behind)
                stack.append(behind)
        return RelaxedPlan(fired, first)

    def survey(self) -> RelaxationCosts:
        """What everything costs from the state put."""
        lack = self._lack
        opens: dict[int, list[_Opened]] = {}
        sources: list[_Opened] = []
        for number in self._rules:
            guard, update = self.guard(number), self.machine.rules[number].update
            given = [(number, fact) for name, value in update if lack[fact := self._facts[name, value]] > 0]
            if lack[guard] <= 0:
                sources += given
            else:
                opens.setdefault(guard, []).extend(given)
        cost, support = self._forward(self._users, opens, sources, self._falsity)
        return RelaxationCosts(
            self, [0 if lack[node] <= 0 else cost.get(node, NEVER) for node in range(len(lack))], support
        )

    def complete(self, cost: list[int], support: dict[int, int]) -> None:
        """Adds what nodes cost that were made since."""
        for node in range(len(cost), len(self._children)):
            children = self._children[node]
            if self._every[node]:
                cost.append(min(NEVER, sum(cost[child] for child in children)))
            else:
                support[node] = min(children, key=lambda child: cost[child])
                cost.append(cost[support[node]])

    def fact(self, node: int) -> tuple[str, Value] | None:
        """The fact that the node stands for, where it does."""
        return self._fact_of.get(node)

    def behind(self, node: int, support: Mapping[int, int]) -> Sequence[int]:
        """The nodes that a plan for this one goes by, next to it."""
        if self._every[node]:
            return self._children[node]
        return (support[node],) if self._children[node] else (self.guard(support[node]),)


@frozen
class RelaxedGoal:
    """A goal in a delete relaxation, by its node."""

    relaxation: DeleteRelaxation
    node: int

    def plan(self, places: Sequence[int]) -> RelaxedPlan | None:
        """A plan from the state with these values; None where the goal is out of reach."""
        return self.relaxation.plan(places, self.node)


class RelaxationCosts:
    """Costs from one state to every node of the relaxed machine, those made later included."""

    def __init__(self, relaxed: DeleteRelaxation, cost: list[int], support: dict[int, int]) -> None:
        self._relaxed = relaxed
        self._cost = cost
        self._support = support

    def cost(self, node: int) -> int:
        """What the node costs; NEVER where no rules lead to it."""
        if node >= len(self._cost):
            self._relaxed.complete(self._cost, self._support)
        return self._cost[node]

    def milestones(self, target: int) -> Iterator[tuple[str, Value]]:
        """The facts that a plan for the relaxed machine brings about, the last first; none where there is no plan."""
        if not 0 < self.cost(target) < NEVER:
            return
        seen = {target}
        waiting = [(-self._cost[target], target)]
        while waiting:
            _, node = heappop(waiting)
            fact = self._relaxed.fact(node)
            if fact is not None:
                yield fact
            for below in self._relaxed.behind(node, self._support):
                if below not in seen and self._cost[below] > 0:
                    seen.add(below)
                    heappush(waiting, (-self._cost[below], below))

    def steps(self, target: int) -> int:
        """How many facts a plan for the relaxed machine brings about."""
        return sum(1 for _ in self.milestones(target))
