"""What is so in very many packed states at once: per fact one number with a bit for each state.

Whatever an expression is made of is one operation on such numbers, for some thousand states as quick as for one.
"""

from __future__ import annotations

from collections.abc import Callable, Generator, Hashable, Iterable, Iterator, Mapping, Sequence
from typing import Any, TypeVar

import numpy as np

from interlock.kernel.expressions import Expr, Is
from interlock.prove.core.packing import Packing
from interlock.prove.core.straight import StraightLine

Key = TypeVar("Key", bound=Hashable)
Found = TypeVar("Found")


class Planes:
    """Expressions of one machine, asked of packed states."""

    def __init__(self, packing: Packing, exprs: Sequence[Expr]) -> None:
        self._packing = packing
        self._count = len(exprs)
        lines = _Lines(packing)
        lines.weigh(exprs)
        for at, expr in enumerate(exprs):
            name = lines.name_of(expr)
            if name != "False":
                lines.give(at, name)
        scope: dict[str, Any] = {}
        # The source is made of integers, operators and names of our own: no name or value of the machine gets into it.
        exec("\n".join(lines.source()), scope)  # noqa: S102
        self._truths: Callable[[Sequence[int], int], Iterator[tuple[int, int]]] = scope["truths"]
        self._facts: Mapping[tuple[int, int], int] = lines.facts
        self._of: dict[int, list[tuple[int, int]]] = {}
        """Per variable, by place, the places of its values that are asked for, each with the number of that fact."""
        for (variable, value), number in self._facts.items():
            self._of.setdefault(variable, []).append((value, number))
        self._base = 0
        self._so = [place == 0 for _, place in self._facts]
        """Per fact whether it is so in the state `base`."""

    def __call__(self, states: Sequence[int]) -> list[int]:
        """Per state the expressions that are true in it: a bit for each, the first of them lowest."""
        if not states:
            return []
        width = len(states) + 7 >> 3
        full = (1 << len(states)) - 1
        rows = bytearray(width * self._count)
        for at, plane in self._truths(self._planes(states), full):
            rows[at * width : (at + 1) * width] = (full if plane is True else plane).to_bytes(width, "little")
        bits = np.frombuffer(bytes(rows), np.uint8).reshape(self._count, width)
        turned = np.unpackbits(bits, axis=1, count=len(states), bitorder="little").T
        packed = np.packbits(turned, axis=1, bitorder="little")
        return [int.from_bytes(row.tobytes(), "little") for row in packed]

    def _planes(self, states: Sequence[int]) -> list[int]:
        """Per fact that is asked for the states in which it is so."""
        first, full = states[0], (1 << len(states)) - 1
        here = self._packing.places(first)
        for variable, place in self._packing.changes(self._base, first):
            for other, fact in self._of.get(variable, ()):
                self._so[fact] = other == place
        self._base = first
        planes = list(map((0, full).__getitem__, self._so))
        moved: dict[tuple[int, int], bytearray] = {}
        size = len(states) + 7 >> 3
        for at, state in enumerate(states):
            if state != first:
                for change in self._packing.changes(first, state):
                    if change not in moved:
                        moved[change] = bytearray(size)
                    moved[change][at >> 3] |= 1 << (at & 7)
        for (variable, place), row in moved.items():
            away = int.from_bytes(row, "little")
            there, left = self._facts.get((variable, place)), self._facts.get((variable, here[variable]))
            if there is not None:
                planes[there] = away
            if left is not None:
                planes[left] ^= away
        return planes


class Known:
    """What is so in packed states, as `Planes` gives it: each is worked out once, many together.

    Beyond `most` states all are forgotten before the next are followed `together`.
    """

    def __init__(self, planes: Planes, most: int) -> None:
        self._planes = planes
        self._most = most
        self._known: dict[int, int] = {}

    def learn(self, states: Iterable[int]) -> None:
        """Works out what is so in all of these at once."""
        fresh = [state for state in dict.fromkeys(states) if state not in self._known]
        self._known.update(zip(fresh, self._planes(fresh), strict=True))

    def __call__(self, state: int) -> int:
        """A bit for each expression that is true there."""
        if state not in self._known:
            self.learn((state,))
        return self._known[state]

    def together(self, walks: Mapping[Key, Generator[Iterable[int], None, Found]]) -> dict[Key, Found]:
        """What each of the walks comes to; each yields the states of which it asks next, and they go step by step."""
        if len(self._known) > self._most:
            self._known.clear()
        found: dict[Key, Found] = {}
        walking = dict(walks)
        while walking:
            asked: list[int] = []
            for key, walk in list(walking.items()):
                try:
                    asked += next(walk)
                except StopIteration as end:
                    found[key] = end.value
                    del walking[key]
            self.learn(asked)
        return found


class _Lines(StraightLine):
    """One number per distinct part of the expressions."""

    negated = "full ^ {}"

    def __init__(self, packing: Packing) -> None:
        super().__init__(packing.machine)
        self.facts: dict[tuple[int, int], int] = {}
        """The facts, by the places of variable and value, in the order of their numbers."""
        self._variables = {one.name: (at, one.domain) for at, one in enumerate(packing.machine.variables)}

    def fact(self, fact: Is) -> str:
        """The states in which it is so."""
        variable, domain = self._variables[fact.variable]
        if len(domain) == 1:
            return "True"
        number = self.facts.setdefault((variable, domain.index(fact.value)), len(self.facts))
        return self.line(fact, f"facts[{number}]", ())

    def source(self) -> Iterator[str]:
        """The text of a generator function."""
        yield "def truths(facts, full):"
        yield " if False: yield"
        yield from self.body()
