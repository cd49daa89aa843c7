"""Reachable states, by the facts that are so in them: what no true invariant may exclude."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence

from interlock.kernel.claims import Trace
from interlock.kernel.evaluator import State
from interlock.prove.core.encoding import TRUTH, Encoding

MOST_SAMPLES = 6_000
"""More states teach little and cost a bit in every mask."""


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
        columns: Iterable[tuple[object, ...]] = zip(*states, strict=True)
        for variable, column in zip(self.encoding.machine.variables, columns, strict=False):
            for literal, value in self.encoding.values[variable.name]:
                if literal != TRUTH:
                    mask = int("".join(["1" if met == value else "0" for met in reversed(column)]), 2)
                    self.masks[literal] |= mask << shift
                    self.masks[-literal] |= (every ^ mask) << shift
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
