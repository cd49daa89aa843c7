"""What is known of one place said of others like it: guesses, each of which is asked about like any other clause.

Variables are alike where their values are, and related alike where some rule or part of a target says the same of both;
how the rest of that rule reads does not matter, since rows differ in what stands beside them.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import TypeAlias

from interlock.kernel.expressions import Expr
from interlock.prove.core.encoding import TRUTH, Encoding
from interlock.prove.core.local import Cube
from interlock.prove.invariants.likeness import Likeness

MOST_LIKE = 50
"""So many cubes are thought of that are like one."""
MOST_TRIED = 1_000
"""So many beginnings of a renaming are followed for one cube: of long ones there are very many."""
LARGEST_PART = 4
"""Parts of rules and targets that speak of no more variables relate all of them: a failure to what it overrides."""

Said: TypeAlias = tuple[int, int]
"""What something says of two variables, each by its number in `Likeness`."""
Renaming: TypeAlias = Mapping[str, str]


class Likes:
    """Cubes like others, in the encoding of a machine."""

    def __init__(self, encoding: Encoding, targets: Iterable[Expr]) -> None:
        self.encoding = encoding
        likeness = Likeness(encoding.machine, targets)
        self._sort = likeness.variable
        self._said: dict[str, dict[str, frozenset[Said]]] = {}
        """Per variable and other variable what is said of both."""
        self._pairs: dict[Said, list[tuple[str, str]]] = {}
        """The same the other way round."""
        for (one, other), how in [*likeness.relations.items(), *likeness.close(LARGEST_PART).items()]:
            said = frozenset((a, b) for _, a, b in how if a and b)
            back = frozenset((b, a) for a, b in said)
            for near, far, ways in ((one, other, said), (other, one, back)) if said else ():
                more = ways - self._said.get(near, {}).get(far, frozenset())
                self._said.setdefault(near, {})[far] = self._said.get(near, {}).get(far, frozenset()) | ways
                for way in sorted(more):
                    self._pairs.setdefault(way, []).append((near, far))

    def of(self, cube: Cube) -> list[Cube]:
        """Cubes like this one, without itself: none where it speaks of one variable, or of unrelated ones first."""
        names = self._in_order(cube)
        found: dict[Cube, None] = {}
        for renaming in self._renamings(names):
            if len(found) >= MOST_LIKE:
                break
            found[tuple(sorted(self._renamed(literal, renaming) for literal in cube))] = None
        found.pop(cube, None)
        return list(found)

    def _renamed(self, literal: int, renaming: Renaming) -> int:
        if abs(literal) == TRUTH:
            return literal
        name = self.encoding.variable_of[abs(literal)]
        values, others = self.encoding.values[name], self.encoding.values[renaming[name]]
        return next(
            other if own == literal else -other
            for (own, _), (other, _) in zip(values, others, strict=True)
            if abs(own) == abs(literal)
        )

    def _in_order(self, cube: Cube) -> list[str]:
        """The variables, those that are said together with the fewest first, each behind one that it is said with."""
        left = sorted({self.encoding.variable_of[abs(literal)] for literal in cube if abs(literal) != TRUTH})
        left.sort(key=lambda name: len(self._said.get(name, ())))
        ordered: list[str] = []
        while left:
            near = (name for name in left if any(name in self._said.get(one, ()) for one in ordered))
            ordered.append(next(near, left[0]))
            left.remove(ordered[-1])
        return ordered

    def _renamings(self, names: Sequence[str]) -> Iterator[Renaming]:
        """Names alike for these, related alike; what is related to none before it keeps its own."""
        if len(names) < 2 or names[1] not in self._said.get(names[0], ()):
            return
        rarest = min(sorted(self._said[names[0]][names[1]]), key=lambda way: len(self._pairs[way]))
        waiting = [{names[0]: one, names[1]: other} for one, other in reversed(self._pairs[rarest])]
        for _ in range(MOST_TRIED):
            if not waiting:
                break
            renaming = waiting.pop()
            if any(self._sort[name] != self._sort[other] for name, other in renaming.items()):
                continue
            if len(renaming) == len(names):
                yield renaming
                continue
            name = names[len(renaming)]
            waiting += [{**renaming, name: other} for other in self._candidates(name, renaming)]

    def _candidates(self, name: str, renaming: Renaming) -> list[str]:
        """The names that are related to what others became as this one is to those."""
        found: list[str] | None = None
        for one, instead in renaming.items():
            if (ways := self._said[one].get(name)) is not None:
                there = self._said[instead]
                like = {other for other, own in there.items() if not ways.isdisjoint(own)}
                found = [other for other in (sorted(like) if found is None else found) if other in like]
        taken = set(renaming.values())
        return [other for other in ([name] if found is None else found) if other not in taken]
