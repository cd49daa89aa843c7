"""Which variables, rules and pairs of variables stand in like places, as far as a few steps around them show.

Only ever a hint: what is known of one place is guessed of those like it, and whatever is guessed is asked about.

References (from memory)
  B. Weisfeiler, A. Leman: The reduction of a graph to canonical form and the algebra which appears therein. 1968.
  C. N. Ip, D. L. Dill: Better verification through symmetry. Formal Methods in System Design 9, 1996.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Mapping, Sequence
from itertools import combinations
from typing import TypeAlias

from interlock.diagnostics.frozen import frozen
from interlock.kernel.expressions import And, Expr, Is, Leaf, Not, Or, Ref
from interlock.kernel.machine import Machine
from interlock.prove.core.trees import bottom_up

ROUNDS = 0
"""How often variables look at the rules around them."""
LARGEST_GROUP = 16
"""What speaks of more variables is taken apart before its variables are paired."""
MOST_PAIRS = 60_000
"""Pairs are left out, variables with the most neighbours first, when there would be more."""


Relation: TypeAlias = tuple[int, int, int]
"""How a rule or part of a target, by its number, speaks of two variables: what it says of the one and of the other."""


@frozen
class PairKind:
    """Pairs of variables, each named in the same order, that are related alike; `mirrored`: both ways round."""

    pairs: tuple[tuple[str, str], ...]
    mirrored: bool


class Nodes:
    """The expressions of a machine, equal ones once: children come before their parents, signals are looked through."""

    def __init__(self, machine: Machine) -> None:
        self.place = {v.name: {value: at for at, value in enumerate(v.domain)} for v in machine.variables}
        self.label: list[tuple[str, str, int]] = []
        self.children: list[tuple[int, ...]] = []
        self.support: list[frozenset[str]] = []
        self._known: dict[tuple[Hashable, ...], int] = {}
        self._signals: dict[str, int] = {}
        for signal in machine.signals_in_order:
            self._signals[signal.name] = self.of(signal.definition)

    def of(self, expr: Expr) -> int:
        """The number of the expression."""
        return bottom_up(expr, self._leaf, self._joined)

    def _leaf(self, expr: Leaf) -> int:
        if isinstance(expr, Ref):
            return self._signals[expr.signal]
        if isinstance(expr, Is):
            return self._number(("is", expr.variable, self.place[expr.variable][expr.value]), ())
        return self._number(("const", "", int(expr.value)), ())

    def _joined(self, expr: Not | And | Or, parts: list[int]) -> int:
        word = "not" if isinstance(expr, Not) else "and" if isinstance(expr, And) else "or"
        return self._number((word, "", 0), tuple(parts))

    def _number(self, label: tuple[str, str, int], children: tuple[int, ...]) -> int:
        key = (label, children)
        found = self._known.get(key)
        if found is None:
            found = self._known[key] = len(self.label)
            self.label.append(label)
            self.children.append(children)
            own = frozenset((label[1],)) if label[0] == "is" else frozenset()
            self.support.append(own.union(*(self.support[child] for child in children)))
        return found

    def facts(self, node: int) -> list[tuple[str, int]]:
        """What the expression, as a conjunction, says of facts: (variable, place of the value, or -1 - place)."""
        found = []
        parts = self.children[node] if self.label[node][0] == "and" else (node,)
        for part in parts:
            kind, name, place = self.label[part]
            if kind == "is":
                found.append((name, place))
            elif kind == "not" and self.label[self.children[part][0]][0] == "is":
                _, name, place = self.label[self.children[part][0]]
                found.append((name, -1 - place))
        return found


class Likeness:
    """`variable` and `rule`: the same number for what is alike; `pairs`: variables that a rule or target relates."""

    def __init__(self, machine: Machine, targets: Iterable[Expr], rounds: int = ROUNDS) -> None:
        self.machine = machine
        self._nodes = nodes = Nodes(machine)
        self._guards = [nodes.of(rule.guard) for rule in machine.rules]
        self._targets = sorted({nodes.of(target) for target in targets})
        self.reads = [nodes.support[guard] for guard in self._guards]
        """Per rule the variables that its guard depends on."""
        self._updates = [
            tuple((name, nodes.place[name][value]) for name, value in rule.update) for rule in machine.rules
        ]
        self._numbers: dict[Hashable, int] = {}
        number = self._number
        self.variable = {v.name: number((v.domain, v.init)) for v in machine.variables}
        self._colours: list[int] = []
        self.rule: list[int] = []
        self._colour()
        for _ in range(rounds):
            self._look_around()
            self._colour()
        self.relations: dict[tuple[str, str], set[Relation]] = {}
        """How two variables, in the order of their names, are related."""
        self.pairs = self._pair_kinds()

    def close(self, most: int) -> dict[tuple[str, str], set[Relation]]:
        """Variables that stand together in a part of some rule or target that speaks of at most so many, and how.

        What each is to the part is where it stands in it; `relations` knows the largest parts alone, and what they say
        at once.
        """
        found: dict[tuple[str, str], set[Relation]] = {}
        nodes = self._nodes
        for node, names in enumerate(nodes.support):
            if not 1 < len(names) <= most:
                continue
            stands: dict[str, list[Hashable]] = {}
            stack: list[tuple[int, tuple[str, ...]]] = [(node, ())]
            while stack:
                at, way = stack.pop()
                kind, name, place = nodes.label[at]
                if kind == "is":
                    stands.setdefault(name, []).append((way, place))
                stack += [(child, (*way, kind)) for child in nodes.children[at]]
            roles = {name: self._number(("stands", tuple(sorted(own, key=repr)))) for name, own in stands.items()}
            for one, other in combinations(sorted(roles), 2):
                found.setdefault((one, other), set()).add((self._colours[node], roles[one], roles[other]))
        return found

    def _number(self, key: Hashable) -> int:
        return self._numbers.setdefault(key, len(self._numbers))

    def _colour(self) -> None:
        """Numbers expressions and rules by what they say of the variables, these by their numbers."""
        number, nodes, colours = self._number, self._nodes, []
        for (kind, name, place), children in zip(nodes.label, nodes.children, strict=True):
            if kind == "is":
                colours.append(number((kind, self.variable[name], place)))
            else:
                colours.append(number((kind, place, tuple(sorted([colours[child] for child in children])))))
        self._colours = colours
        self.rule = [
            number(
                (rule.actor, colours[guard], tuple(sorted([(self.variable[name], place) for name, place in update])))
            )
            for rule, guard, update in zip(self.machine.rules, self._guards, self._updates, strict=True)
        ]

    def _look_around(self) -> None:
        """Numbers variables anew, by where they stand in what rules and targets."""
        number, nodes, colours = self._number, self._nodes, self._colours
        above: list[set[int]] = [set() for _ in nodes.label]
        written: dict[str, set[tuple[int, int]]] = {v.name: set() for v in self.machine.variables}
        for rule, guard, update in zip(self.rule, self._guards, self._updates, strict=True):
            above[guard].add(number(("guard", rule)))
            for name, place in update:
                written[name].add((rule, place))
        for target in self._targets:
            above[target].add(number(("target",)))
        stated: dict[str, list[tuple[int, int]]] = {v.name: [] for v in self.machine.variables}
        for node in range(len(nodes.label) - 1, -1, -1):
            if not above[node]:
                continue
            kind, name, place = nodes.label[node]
            context = number((tuple(sorted(above[node])), colours[node]))
            if kind == "is":
                stated[name].append((place, context))
            for child in nodes.children[node]:
                above[child].add(context)
        self.variable = {
            name: number((old, tuple(sorted(stated[name])), tuple(sorted(written[name]))))
            for name, old in self.variable.items()
        }

    def _pair_kinds(self) -> list[PairKind]:
        """Pairs of variables that some rule or target brings together, by how."""
        number, nodes = self._number, self._nodes
        related = self.relations

        def relate(label: int, names: Iterable[str], roles: Mapping[str, int]) -> None:
            ordered = sorted(names)
            for one, other in combinations(ordered, 2):
                related.setdefault((one, other), set()).add((label, roles.get(one, 0), roles.get(other, 0)))

        parts: set[int] = set()
        for rule, guard, update in zip(self.rule, self._guards, self._updates, strict=True):
            read = nodes.support[guard]
            stated: dict[str, list[tuple[int, int]]] = {}
            for name, place in nodes.facts(guard):
                stated.setdefault(name, []).append((0, place))
            for name, place in update:
                stated.setdefault(name, []).append((1, place))
            roles = {name: number(("role", tuple(sorted(own)))) for name, own in stated.items()}
            region = read.union(name for name, _ in update)
            if len(region) <= LARGEST_GROUP:
                relate(rule, region, roles)
                continue
            # What concerns the whole of the machine would pair everything with everything.
            parts.update(self._small_parts(guard))
            for name, _ in update:
                for other in sorted(region - {name}):
                    relate(rule, (name, other), roles)
        for target in self._targets:
            parts.update(self._small_parts(target))
        for part in sorted(parts):
            stated = {}
            for name, place in nodes.facts(part):
                stated.setdefault(name, []).append((0, place))
            roles = {name: number(("role", tuple(sorted(own)))) for name, own in stated.items()}
            names = nodes.support[part]
            if len(names) > LARGEST_GROUP:
                names = frozenset(stated)
            relate(self._colours[part], names, roles)
        return self._by_kind(_fewest(related))

    def _small_parts(self, node: int) -> list[int]:
        """The largest parts of the expression that do not speak of too many, and conjunctions whose facts do not."""
        nodes = self._nodes
        found = []
        stack = [node]
        seen: set[int] = set()
        while stack:
            at = stack.pop()
            if at in seen:
                continue
            seen.add(at)
            if len(nodes.support[at]) <= LARGEST_GROUP:
                found.append(at)
                continue
            stack.extend(nodes.children[at])
            if len({name for name, _ in nodes.facts(at)}) <= LARGEST_GROUP:
                found.append(at)
        return found

    def _by_kind(self, related: Mapping[tuple[str, str], set[Relation]]) -> list[PairKind]:
        kinds: dict[tuple[Hashable, bool], list[tuple[str, str]]] = {}
        for (one, other), how in related.items():
            there = (self.variable[one], self.variable[other], tuple(sorted(how)))
            back = (self.variable[other], self.variable[one], tuple(sorted((c, b, a) for c, a, b in how)))
            if there <= back:
                kinds.setdefault((there, there == back), []).append((one, other))
            else:
                kinds.setdefault((back, False), []).append((other, one))
        return [PairKind(tuple(pairs), mirrored) for (_, mirrored), pairs in kinds.items()]


def _fewest(
    related: Mapping[tuple[str, str], set[Relation]],
) -> Mapping[tuple[str, str], set[Relation]]:
    """The pairs in order, those of the busiest variables left out where there are too many."""
    pairs: Sequence[tuple[str, str]] = sorted(related)
    if len(pairs) > MOST_PAIRS:
        degree: dict[str, int] = {}
        for pair in pairs:
            for name in pair:
                degree[name] = degree.get(name, 0) + 1
        pairs = sorted(pairs, key=lambda pair: (max(degree[pair[0]], degree[pair[1]]), pair))[:MOST_PAIRS]
    return {pair: related[pair] for pair in pairs}
