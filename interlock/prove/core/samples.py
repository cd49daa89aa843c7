"""Reachable states, by the facts that are so in them: what no true invariant may exclude."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from itertools import repeat

from interlock.kernel.claims import Trace
from interlock.kernel.evaluator import State
from interlock.kernel.expressions import Value
from interlock.prove.core.encoding import TRUTH, Encoding

MOST_SAMPLES = 6_000
"""More states teach little and cost a bit in every mask."""


def bits_of(column: Sequence[Value], domain: Sequence[Value]) -> Mapping[Value, int]:
    """Per value of the domain a number with a bit for each entry of the column that is this value, the first lowest."""
    found: dict[Value, int] = {}
    for first in range(0, len(domain), 255):
        # a byte for each entry, 0 for the values of other turns
        numbers = {value: at for at, value in enumerate(domain[first : first + 255], 1)}
        entries = bytes(map(numbers.get, reversed(column), repeat(0)))
        for value, at in numbers.items():
            found[value] = int(entries.translate(b"0" * at + b"1" + b"0" * (255 - at)) or b"0", 2)
    return found


class Samples:
    """`masks[literal]`: one bit per state, set where the literal of a fact is true (negative ones from the end)."""

    def __init__(
        self,
        encoding: Encoding,
        states: Sequence[State],
        run_to: Callable[[State], Trace],
        most: int = MOST_SAMPLES,
    ) -> None:
        self.encoding = encoding
        self.most = most
        self.run_to = run_to
        """Gives a run to a sample."""
        self.states: list[State] = []
        self.masks = [0] * (2 * encoding.facts_top + 2)
        self.size = 0
        self.add(states)

    def add(self, states: Sequence[State]) -> None:
        """Adds reachable states, up to `most` in all."""
        states = states[: self.most - self.size]
        every = (1 << len(states)) - 1
        shift = self.size
        self.masks[TRUTH] |= every << shift
        columns: Iterable[tuple[Value, ...]] = zip(*states, strict=True)
        lanes, masks = every << shift, self.masks
        for variable, column in zip(self.encoding.machine.variables, columns, strict=False):
            if column.count(column[0]) == len(column):
                # as nearly all are where few states are added
                for literal, value in self.encoding.values[variable.name]:
                    if literal != TRUTH:
                        masks[literal if value == column[0] else -literal] |= lanes
                continue
            bits = bits_of(column, variable.domain)
            for literal, value in self.encoding.values[variable.name]:
                if literal != TRUTH:
                    mask = bits[value] << shift
                    masks[literal] |= mask
                    masks[-literal] |= lanes ^ mask
        self.size += len(states)
        self.states.extend(states)

    def within(self, cube: Iterable[int]) -> int:
        """The states in which all of the literals hold."""
        found = self.masks[TRUTH]
        for literal in cube:
            found &= self.masks[literal]
            if not found:
                break
        return found

    def run_into(self, cube: Iterable[int]) -> Trace | None:
        """A run to some sample in which all of the literals hold; None where there is no such sample."""
        found = self.within(cube)
        return self.run_to(self.states[(found & -found).bit_length() - 1]) if found else None
