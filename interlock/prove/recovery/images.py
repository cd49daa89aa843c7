"""A case carried over to like places: what is done about one row is, as a rule, what is to be done about the next.

Two rules stand in like places where their guards and updates are the same but for the variables that they name.
Only ever a guess: whoever takes an image up asks whether it keeps its word.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterator, Mapping

from interlock.kernel.expressions import Expr, Is, Not
from interlock.kernel.machine import Machine
from interlock.kernel.recovery import Entry
from interlock.prove.invariants.likeness import Nodes

MOST_NAMED = 40
"""What speaks of more variables is the same in like places, or they are none."""
LONGEST = 12
"""Runs of more rules are not carried over: they seldom are the same in two places."""
MOST_IMAGES = 64
"""Of one case so many are guessed."""


class Images:
    """The rules of a machine by their shapes."""

    def __init__(self, machine: Machine) -> None:
        self._nodes = nodes = Nodes(machine)
        self._domains = {v.name: v.domain for v in machine.variables}
        self._rules = [rule.name for rule in machine.rules]
        self._number = {name: at for at, name in enumerate(self._rules)}
        guards = [nodes.of(rule.guard) for rule in machine.rules]
        numbers: dict[Hashable, int] = {}
        self._kind: list[int] = []
        """Per expression the same number for what is the same but for the variables and the order of its parts."""
        for (kind, name, place), children in zip(nodes.label, nodes.children, strict=True):
            own = (self._domains[name], place) if name else (kind, place)
            key = *own, tuple(sorted([self._kind[child] for child in children]))
            self._kind.append(numbers.setdefault(key, len(numbers)))
        self._named: list[tuple[str, ...]] = []
        """Per rule the variables in the order in which it names them."""
        self._shape: list[Hashable] = []
        self._like: dict[Hashable, list[int]] = {}
        for at, rule in enumerate(machine.rules):
            names: dict[str, int] = {}
            guard = self._shape_of(guards[at], names)
            update = tuple(
                (names.setdefault(name, len(names)), self._domains[name], value) for name, value in rule.update
            )
            shape = rule.actor, guard, update
            self._named.append(tuple(names))
            self._shape.append(shape)
            self._like.setdefault(shape, []).append(at)

    def _shape_of(self, root: int, names: dict[str, int]) -> Hashable:
        """The expression with variables by number; what speaks of too many is taken as it stands."""
        nodes = self._nodes
        found: list[Hashable] = []
        seen: dict[int, int] = {}
        waiting = [root]
        while waiting:
            node = waiting.pop()
            if node in seen:
                found.append(seen[node])
                continue
            seen[node] = len(seen)
            kind, name, place = nodes.label[node]
            if kind == "is":
                found.append((names.setdefault(name, len(names)), self._domains[name], place))
            elif len(nodes.support[node]) > MOST_NAMED and node != root:
                found.append(("whole", node))
            else:
                found.append((kind, place, len(nodes.children[node])))
                waiting += sorted(reversed(nodes.children[node]), key=self._kind.__getitem__)
        return tuple(found)

    def like(self, rule: int) -> list[int]:
        """The rules in like places, by number, this one among them."""
        return self._like[self._shape[rule]]

    def of(self, entry: Entry) -> Iterator[Entry]:
        """The case in like places, none twice."""
        if len(entry.rules) > LONGEST:
            return
        rules = [self._number[name] for name in entry.rules]
        met = {entry}
        for place, rule in enumerate(rules):
            for other in self.like(rule):
                moved = self._carried({}, rule, other) if other != rule else None
                image = None if moved is None else self._image(entry, rules, place, moved)
                if image is not None and image not in met:
                    met.add(image)
                    yield image
                    if len(met) > MOST_IMAGES:
                        return

    def _carried(self, moved: Mapping[str, str], rule: int, other: int) -> dict[str, str] | None:
        """What becomes of variables where this rule becomes the other one; None where that does not fit."""
        found = dict(moved)
        for one, two in zip(self._named[rule], self._named[other], strict=True):
            if found.setdefault(one, two) != two:
                return None
        return found if len(set(found.values())) == len(found) else None

    def _image(self, entry: Entry, rules: list[int], place: int, moved: dict[str, str]) -> Entry | None:
        """The case with the rule at that place where `moved` has it; of the others each the first that fits."""
        names: list[str] = []
        first = self._carried_first(rules[place], moved)
        if first is None:
            return None
        for at, rule in enumerate(rules):
            if at == place:
                names.append(self._rules[first])
                continue
            for other in (rule, *self.like(rule)):
                further = self._carried(moved, rule, other)
                if further is not None:
                    moved = further
                    names.append(self._rules[other])
                    break
            else:
                return None
        when: list[Expr] = []
        there = set(moved.values())
        for fact in entry.when:
            said = fact.arg if isinstance(fact, Not) else fact
            if not isinstance(said, Is):
                return None
            name = moved.get(said.variable, said.variable)
            if said.variable not in moved and name in there:
                return None
            own = Is(name, said.value)
            when.append(Not(own) if isinstance(fact, Not) else own)
        return Entry(tuple(when), tuple(names), entry.into)

    def _carried_first(self, rule: int, moved: Mapping[str, str]) -> int | None:
        wanted = tuple(moved[name] for name in self._named[rule])
        return next((o for o in self.like(rule) if self._named[o] == wanted), None)
