"""A measure of how far a state is from a goal, guessed from the rules alone: a heuristic, never evidence.

What the goal says of variables is pulled apart into the values that are good.  A bad value weighs as much as it takes
steps to be rid of it and of every bad value that these steps write (least fixed point).  The guards of those steps
say which values of other variables would help; those are weighed in the same way, further down, and so on.  Where to
rid one variable of its bad value means to give a bad one to another for a while, the first counts more.

References (from memory)
  D. E. Knuth: A generalization of Dijkstra's algorithm. Information Processing Letters 6, 1977. (the weights)
  J. Hoffmann, J. Porteous, L. Sebastia: Ordered landmarks in planning. JAIR 22, 2004. (which part of a goal first)
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence, Set
from typing import TypeAlias

from interlock.kernel.expressions import And, Const, Expr, Is, Not, Ref, Value, conj
from interlock.kernel.machine import Machine
from interlock.kernel.recovery import Rank
from interlock.prove.recovery.narrowing import Allowed, Narrowing, said_outright
from interlock.prove.recovery.ordering import Condensation
from interlock.prove.search.delete_relaxation import DeleteRelaxation

HOPELESS = 1_000

Fact: TypeAlias = tuple[str, Value]
"""A variable and a value of it."""


def rank_by_distance(machine: Machine, goal: Expr) -> list[tuple[Expr, Rank]]:
    """Stages on the way to the goal, each with its own goal (the last: the whole) and a measure for it."""
    return RankHeuristic(machine).by_distance(goal)


def rank_by_counting(machine: Machine, goal: Expr) -> list[tuple[Expr, Rank]]:
    """The same, where what is handed on from variable to variable is counted first and only then measured.

    Fewer is better, whatever has to be shifted for it.  Among as many fewer on the way are better: each by itself comes
    to rest before anything is shifted that may have to wait for all.  Then the farther is the better: what cannot be
    got rid of yet makes room for what can.
    """
    return RankHeuristic(machine).by_counting(goal)


class RankHeuristic:
    """Both measures of one machine: nearly all that is worked out for one serves the other."""

    def __init__(self, machine: Machine) -> None:
        self.machine = machine
        self._stages: dict[Expr, list[tuple[Expr, Rank, Rank]]] = {}
        self.relaxation = DeleteRelaxation(machine)
        self.guards = [self.relaxation.goal(rule.guard) for rule in machine.rules]
        self.places = {v.name: {value: at for at, value in enumerate(v.domain)} for v in machine.variables}
        self.initial = {v.name: frozenset(v.init) for v in machine.variables}
        self.narrowing = Narrowing(machine)
        self._needs: dict[tuple[int, str, Value], Allowed | None] = {}
        self._company: dict[tuple[str, Value], tuple[tuple[str, Value], ...]] = {}
        self.writers: dict[str, list[int]] = {}
        for at, rule in enumerate(machine.rules):
            for name, _ in rule.update:
                self.writers.setdefault(name, []).append(at)

    def by_distance(self, goal: Expr) -> list[tuple[Expr, Rank]]:
        """As `rank_by_distance`."""
        return [(stage, distance) for stage, distance, _ in self.stages(goal)]

    def by_counting(self, goal: Expr) -> list[tuple[Expr, Rank]]:
        """As `rank_by_counting`."""
        return [(stage, counting) for stage, _, counting in self.stages(goal)]

    def stages(self, goal: Expr) -> list[tuple[Expr, Rank, Rank]]:
        """The stages, each with its own goal and both measures: by distance, by counting first."""
        if goal not in self._stages:
            self._stages[goal] = self._staged(goal)
        return self._stages[goal]

    def jams(self, goal: Expr) -> Iterator[tuple[Fact, Fact]]:
        """Pairs of bad values that are handed on, of which each stops every step that makes the other weigh less.

        Where a state has both, distance leads no further: one of the two has to go farther away first.
        """
        for _, distance, counting in self.stages(goal):
            weights = {(name, value): weight for component in distance for name, value, weight in component}
            handed = {(name, value) for component in counting for name, value, weight in component if weight < 0}
            steps = {fact: self._easing(fact, weights) for fact in handed}
            stopping = {fact: self._asked_away(fact, steps[fact]) & handed for fact in handed}
            for one in sorted(handed, key=repr):
                for two in sorted(stopping[one], key=repr):
                    stops = one in stopping[two] and repr(one) < repr(two)
                    if stops and self._stops(two, one, steps) and self._stops(one, two, steps):
                        yield one, two

    def _easing(self, fact: Fact, weights: Mapping[Fact, int]) -> list[int]:
        """The rules by which the bad value, or what goes with it, comes to weigh less."""
        found = []
        for at in self.writers.get(fact[0], ()):
            update = self.machine.rules[at].update
            needs = None if fact in update else self.needs(at, *fact)
            if needs is not None:
                held = [(name, next(iter(needs[name]))) for name, _ in update if len(needs.get(name, ())) == 1]
                before, after = (sum(weights.get(one, 0) for one in facts) for facts in (held, update))
                if after < max(before, weights[fact]):
                    found.append(at)
        return found

    def _asked_away(self, fact: Fact, steps: Sequence[int]) -> set[Fact]:
        """The values of other variables that no choice of what the guards of all these steps ask for has."""
        found: set[Fact] = set()
        for place, needs in enumerate([self.needs(at, *fact) or {} for at in steps]):
            if place == 0:
                found = {(name, value) for name in needs if name != fact[0] for value in self.machine.domains[name]}
            found = {(name, value) for name, value in found if value not in needs.get(name, (value,))}
        return found

    def _stops(self, one: Fact, other: Fact, steps: Mapping[Fact, Sequence[int]]) -> bool:
        """Where both are so none of these steps of the other one can be taken."""
        both = {name: frozenset({value}) for name, value in (one, other)}
        return all(self.narrowing.forced(self.machine.rules[at].guard, both) is None for at in steps[other])

    def _staged(self, goal: Expr) -> list[tuple[Expr, Rank, Rank]]:
        parts = conjuncts(goal, self.machine)
        allowed: Allowed = {}
        own: list[frozenset[str]] = []
        for part in parts:
            found = self.narrowing.narrow(part, True, allowed)
            if found is None:
                return [(goal, (), ())]
            own.append(frozenset(name for name in found if found[name] != allowed.get(name)))
            allowed = found
        _, best = self.weigh(allowed)
        graph: dict[int, list[int]] = {at: [] for at in range(len(parts))}
        owners = {name: at for at, names in enumerate(own) for name in sorted(names)}
        for (name, value), rule in best.items():
            needs = self.needs(rule, name, value) or {}
            for other, values in needs.items():
                if other != name and other in allowed and values.isdisjoint(allowed[other]):
                    graph[owners[name]].append(owners[other])
        groups = Condensation(graph)
        levels = groups.levels()
        found_stages: list[tuple[Expr, Rank, Rank]] = []
        done: list[Expr] = []
        settled: Allowed = {}
        last = max(levels, default=0)
        for group, members in enumerate(groups.members):
            # What follows from the rest seems to come of itself, once the rest is done.
            if not any(own[at] for at in members):
                levels[group] = last
        for level in sorted(set(levels)):
            members = [at for group, its in enumerate(levels) if its == level for at in groups.members[group]]
            done += [parts[at] for at in sorted(members)]
            fresh = {name: allowed[name] for at in sorted(members) for name in sorted(own[at])}
            found_stages.append((conj(*done), *self.ranks(fresh, settled)))
            settled |= fresh
        return found_stages

    def ranks(self, allowed: Allowed, settled: Allowed) -> tuple[Rank, Rank]:
        """By distance, and by counting first: weights for these variables, then for what helps, in layers.

        Ordered by what disturbs what.  The settled ones are good already and stay so.
        """
        weights: dict[tuple[str, Value], int] = {}
        best: dict[tuple[str, Value], int] = {}
        layer_of: dict[str, int] = {}
        homes = settled | allowed
        fresh = dict(allowed)
        layer = 0
        while fresh:
            layer_of.update(dict.fromkeys(fresh, layer))
            own_weights, own_best = self.weigh(fresh)
            weights |= own_weights
            best |= own_best
            fresh = self.helping(own_best, homes, settled.keys() | layer_of.keys())
            homes |= fresh
            layer += 1
        disturbs = self.disturbances(homes, {name: homes[name] for name in layer_of}, weights, best)
        graph: dict[str, list[str]] = {name: [] for name in sorted(layer_of)}
        for one in sorted(disturbs):
            # What helps comes after what it helps, whatever it disturbs.
            graph[one] += [two for two in sorted(disturbs[one]) if layer_of[one] <= layer_of[two]]
        handed: set[str] = set()
        for (name, _), at in best.items():
            # What is handed on from one variable to another is one sum: it may have to be handed back for a while.
            for other, written in self.machine.rules[at].update:
                if other != name and weights.get((other, written)) and layer_of[other] == layer_of[name]:
                    graph[name].append(other)
                    graph[other].append(name)
                    if layer_of[name] == 0:
                        handed.add(name)
        for one in sorted(disturbs):
            for two in sorted(disturbs[one]):
                if layer_of[one] > layer_of[two] and not _leads(graph, two, one):
                    graph[one].append(two)
        between = self.between({fact for fact, weight in weights.items() if weight})
        groups = Condensation(graph)
        members = [sorted(own) for own in groups.members]
        order = groups.in_order(lambda group: (min(layer_of[name] for name in members[group]), members[group]))
        distance, counting = [], []
        for group in order:
            component = [
                (name, value, weights[name, value])
                for name in members[group]
                for value in self.machine.domains[name]
                if weights.get((name, value))
            ]
            if component:
                distance.append(tuple(component))
            if component and not handed.isdisjoint(members[group]):
                counting.append(tuple((name, value, 1) for name, value, _ in component))
                passing = tuple((name, value, 1) for name, value, _ in component if name in between)
                if passing:
                    counting.append(passing)
                component = [(name, value, -weight) for name, value, weight in component]
            if component:
                counting.append(tuple(component))
        return tuple(distance), tuple(counting)

    def between(self, counted: Set[tuple[str, Value]]) -> Set[str]:
        """The variables in which what is counted is only on its way from one to another, as far as that can be told.

        A step takes a value from variables of one sort and gives it to some of the other; where it comes from nowhere,
        or goes there, it was at rest.
        """
        links: dict[str, set[tuple[str, bool]]] = {name: set() for name, _ in counted}
        """Per variable others, and whether they are of its own sort."""
        told: dict[tuple[str, bool], None] = {}
        """A variable, and whether things rest there; of one that is told both ways nothing is known."""
        for rule in self.machine.rules:
            before, after = said_outright(rule), dict(rule.update)
            taken = {(name, before[name]) for name in after if name in before and (name, before[name]) in counted}
            given = after.items() & counted
            # what goes from counted to counted in one variable, as a control may, is handed on by nobody
            sides = [
                {fact for fact in own if fact[0] not in {name for name, _ in other}}
                for own, other in ((taken, given), (given, taken))
            ]
            for own, other in (sides, sides[::-1]):
                for name, value in own:
                    same, met = ({one for one, its in side if its == value} for side in (own, other))
                    links[name].update([*((one, True) for one in same), *((one, False) for one in met)])
                    if not met:
                        told[name, True] = None
        waiting = list(told)
        while waiting:
            name, rests = waiting.pop()
            fresh = dict.fromkeys((other, rests is is_same) for other, is_same in links[name]).keys() - told.keys()
            told |= dict.fromkeys(fresh)
            waiting += fresh
        return {name for name, rests in told if not rests and (name, True) not in told}

    def needs(self, rule: int, name: str, value: Value) -> Allowed | None:
        """What the guard of the rule asks for where the variable has this value; None where it cannot fire."""
        key = (rule, name, value)
        if key not in self._needs:
            self._needs[key] = self.narrowing.narrow(self.machine.rules[rule].guard, True, {name: frozenset({value})})
        return self._needs[key]

    def weigh(self, allowed: Allowed) -> tuple[dict[tuple[str, Value], int], dict[tuple[str, Value], int]]:
        """Per bad value of these variables its weight, and the rule that is the first step to be rid of it."""
        bad = {
            (name, value): HOPELESS
            for name in sorted(allowed)
            for value in self.machine.domains[name]
            if value not in allowed[name]
        }
        best: dict[tuple[str, Value], int] = {}
        ways: dict[tuple[str, Value], list[tuple[int, int, int]]] = {}
        for name, value in bad:
            ways[name, value] = []
            for at in self.writers.get(name, ()):
                rule = self.machine.rules[at]
                if dict(rule.update)[name] == value:
                    continue
                needs = self.needs(at, name, value)
                if needs is not None:
                    rid = sum(
                        len(needs.get(other, ())) == 1 and (other, next(iter(needs[other]))) in bad
                        for other, _ in rule.update
                    )
                    ways[name, value].append((self.narrowing.effort(needs, {}), at, rid))
        changed = True
        while changed:
            changed = False
            for fact, options in ways.items():
                for _, at, rid in sorted(options):
                    # What the step takes off several bad values at once is shared out between them.
                    cost = -(-(1 + sum(bad.get(written, 0) for written in self.machine.rules[at].update)) // rid)
                    if cost < bad[fact]:
                        bad[fact], best[fact] = cost, at
                        changed = True
        return bad, best

    def helping(self, best: Mapping[tuple[str, Value], int], homes: Allowed, known: Set[str]) -> Allowed:
        """The values of further variables that the guards of these steps ask for.

        Where steps ask for different values of one variable, it had better be as it was at the start; and so had what
        goes only with one of these values.
        """
        wanted: Allowed = {}
        torn: set[str] = set()
        for (name, value), at in best.items():
            guard = self.machine.rules[at].guard
            context = {**{n: v for n, v in homes.items() if n not in known}, **wanted, name: frozenset({value})}
            found = self.narrowing.narrow(guard, True, context)
            if found is None:
                found = self.needs(at, name, value) or {}
            for other, values in found.items():
                if other in known or other == name:
                    continue
                if other in wanted and not values <= wanted[other]:
                    torn.add(other)
                else:
                    wanted[other] = values
        wanted |= {name: self.initial[name] for name in torn}
        # so does what can be so only together with what had better not be, or with different values of one variable
        asked: dict[str, dict[Value, list[str]]] = {}
        for name, values in wanted.items():
            if len(values) == 1 and values.isdisjoint(self.initial[name]):
                for other, value in self.goes_with(name, next(iter(values))):
                    asked.setdefault(other, {}).setdefault(value, []).append(name)
        for other, by_value in asked.items():
            for value, names in by_value.items():
                if len(by_value) > 1 or value not in wanted.get(other, (value,)):
                    wanted |= {name: self.initial[name] for name in names}
        return {name: wanted[name] for name in sorted(wanted)}

    def goes_with(self, name: str, value: Value) -> tuple[tuple[str, Value], ...]:
        """What is so, of other variables, whenever the variable has this value, which it has not at the start.

        Written by every rule that gives it the value, and written over only by rules that take the value away.
        """
        key = name, value
        if key not in self._company:
            rules = [dict(self.machine.rules[at].update) for at in self.writers.get(name, ())]
            giving = [update for update in rules if update[name] == value]
            shared = set[tuple[str, Value]]()
            if giving and value not in self.initial[name]:
                shared = set.intersection(*(set(update.items()) for update in giving)) - {key}
            self._company[key] = tuple(sorted((fact for fact in shared if self._stays(fact, key)), key=str))
        return self._company[key]

    def _stays(self, fact: tuple[str, Value], other: tuple[str, Value]) -> bool:
        """No rule writes the fact over and leaves the other, where both are so."""
        name, value = other
        for at in self.writers[fact[0]]:
            rule = self.machine.rules[at]
            written = dict(rule.update)
            if written[fact[0]] == fact[1] or written.get(name, value) != value:
                continue
            both = {fact[0]: frozenset({fact[1]}), name: frozenset({value})}
            if name in written or self.narrowing.forced(rule.guard, both) is not None:
                return False
        return True

    def disturbances(
        self,
        homes: Allowed,
        ranked: Allowed,
        weights: Mapping[tuple[str, Value], int],
        best: Mapping[tuple[str, Value], int],
    ) -> dict[str, set[str]]:
        """Per variable those which get a bad value on the way to a good one of its own, all else being well."""
        found: dict[str, set[str]] = {}
        home = {name: self._first(name, homes) for name in self.machine.domains}
        for (name, value), at in best.items():
            state = {**home, name: value}
            places = [self.places[v.name][state[v.name]] for v in self.machine.variables]
            plan = self.relaxation.plan(places, self.guards[at])
            fired = [*sorted(plan.rules if plan is not None else ()), at]
            for number in fired:
                for other, written in self.machine.rules[number].update:
                    if other != name and other in ranked and weights.get((other, written)):
                        found.setdefault(name, set()).add(other)
        return found

    def _first(self, name: str, homes: Allowed) -> Value:
        options = homes.get(name, frozenset(self.machine.domains[name]))
        both = [value for value in self.machine.domains[name] if value in options and value in self.initial[name]]
        return both[0] if both else next(value for value in self.machine.domains[name] if value in options)


def _leads(graph: Mapping[str, list[str]], one: str, two: str) -> bool:
    """Some way leads from the one to the other."""
    seen = {one}
    waiting = [one]
    while waiting:
        node = waiting.pop()
        if node == two:
            return True
        fresh = set(graph[node]) - seen
        seen |= fresh
        waiting += fresh
    return False


def conjuncts(goal: Expr, machine: Machine) -> list[Expr]:
    """The parts of a conjunction, signals that name conjunctions and negated alternatives opened."""
    parts: dict[Expr, None] = {}
    stack: list[tuple[Expr, bool]] = [(goal, True)]
    while stack:
        expr, wanted = stack.pop()
        if isinstance(expr, Not):
            stack.append((expr.arg, not wanted))
        elif isinstance(expr, Ref) and _opens(machine, expr, wanted):
            stack.append((machine.definitions[expr.signal], wanted))
        elif not isinstance(expr, Is | Const | Ref) and isinstance(expr, And) == wanted:
            stack.extend((arg, wanted) for arg in reversed(expr.args))
        else:
            parts[expr if wanted else Not(expr)] = None
    return list(parts)


def _opens(machine: Machine, expr: Ref, wanted: bool) -> bool:
    inner: Expr = expr
    while isinstance(inner, Not | Ref):
        if isinstance(inner, Ref):
            inner = machine.definitions[inner.signal]
        else:
            inner, wanted = inner.arg, not wanted
    return not isinstance(inner, Is | Const) and isinstance(inner, And) == wanted
