"""Rules as relations of a forest; those that touch the same variables are one relation.

A rule that is one case of many (a number counted up, one rule a value) costs nothing once it is joined with the other
cases: what they have in common is one diagram again.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TypeAlias

from interlock.diagnostics.frozen import frozen
from interlock.kernel.machine import Machine, Rule
from interlock.prove.diagrams.conditions import FALSE, TRUE, Conditions
from interlock.prove.diagrams.forest import ALL, EMPTY, Forest, Move

Writes: TypeAlias = tuple[tuple[int, int], ...]
"""(level, place of the value), the highest level first."""


@frozen
class Event:
    """Rules that touch the same variables, with their conditions, as one relation."""

    relation: int
    rules: tuple[tuple[Rule, int], ...]


class Relations:
    """Makes events of the rules of a machine."""

    def __init__(self, machine: Machine, forest: Forest, conditions: Conditions, sizes: Sequence[int]) -> None:
        self.machine = machine
        self.forest = forest
        self.conditions = conditions
        self.sizes = sizes
        self._made: dict[tuple[int, Writes], int] = {}

    def events(self) -> list[Event]:
        """All that the rules do, the lowest first; rules that never fire or change nothing are left out."""
        together: dict[tuple[int, ...], list[tuple[Rule, int, int]]] = {}
        for rule in self.machine.rules:
            guard = self.conditions.of(rule.guard)
            writes = self._writes(rule)
            if guard == FALSE or not writes:
                continue
            touched = self._levels_of(guard) | {level for level, _ in writes}
            relation = self._relation(guard, writes)
            together.setdefault(tuple(sorted(touched, reverse=True)), []).append((rule, guard, relation))
        found = []
        for _, group in sorted(together.items()):
            relation = self._joined([relation for _, _, relation in group])
            found.append(Event(relation, tuple((rule, guard) for rule, guard, _ in group)))
        return found

    def _writes(self, rule: Rule) -> Writes:
        level_of, domains = self.conditions.level_of, self.machine.domains
        return tuple(sorted(((level_of[n], domains[n].index(value)) for n, value in rule.update), reverse=True))

    def _levels_of(self, condition: int) -> set[int]:
        levels, kids = self.conditions.levels, self.conditions.kids
        seen = {condition}
        stack = [condition]
        while stack:
            fresh = set(kids[stack.pop()]) - seen
            seen |= fresh
            stack += fresh
        return {levels[one] for one in seen if one > TRUE}

    def _relation(self, condition: int, writes: Writes) -> int:
        if condition == FALSE:
            return EMPTY
        if condition == TRUE and not writes:
            return ALL
        key = condition, writes
        found = self._made.get(key)
        if found is None:
            written = writes[0][0] if writes else 0
            level = max(self.conditions.levels[condition], written)
            rest = writes[1:] if written == level else writes
            size = self.sizes[level]
            kids = self.conditions.below(condition, level)
            moves: list[Move] = []
            for value, kid in enumerate(kids if len(kids) == size else kids * size):
                below = self._relation(kid, rest)
                if below:
                    moves.append((value, writes[0][1] if written == level else value, below))
            found = self._made[key] = self.forest.relation(level, moves)
        return found

    def _joined(self, relations: Sequence[int]) -> int:
        """The relation of all of them, halves first, so that little is made twice."""
        waiting = list(relations)
        while len(waiting) > 1:
            odd = waiting[-1:] if len(waiting) % 2 else []
            pairs = zip(waiting[::2], waiting[1::2], strict=False)
            waiting = [self.forest.join(one, other, self.sizes) for one, other in pairs] + odd
        return waiting[0]


def levels_of(order: Sequence[str]) -> Mapping[str, int]:
    """The level of each variable; the lowest is 1."""
    return {name: at for at, name in enumerate(order, 1)}
