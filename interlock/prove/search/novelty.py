"""States in which facts meet that did not meet before: a broad sample of what can be reached.

Breadth-first over those states alone in which two facts meet for the first time.  What takes few things at a time is
among them, however many steps it takes.

Reference, from memory:
  N. Lipovetzky, H. Geffner, "Width and serialization of classical planning problems", ECAI 2012.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from itertools import compress, count, islice

from interlock.kernel.evaluator import State
from interlock.kernel.expressions import Value
from interlock.kernel.machine import Machine
from interlock.prove.core.packing import Packing, compile_enabled


class Novelty:
    """Looks for new states of one machine; states are packed, `step` gives the one that a rule leads to."""

    def __init__(self, machine: Machine, packing: Packing, step: Callable[[int, int], int]) -> None:
        self._step = step
        self._enabled = compile_enabled(packing)
        self._bits: dict[tuple[str, Value], int] = {}
        for variable in machine.variables:
            for value in variable.domain:
                self._bits[variable.name, value] = 1 << len(self._bits)
        whole = {v.name: sum(self._bits[v.name, value] for value in v.domain) for v in machine.variables}
        self._names = [variable.name for variable in machine.variables]
        self._after = [
            (
                ~sum(whole[name] for name, _ in rule.update),
                sum(self._bits[fact] for fact in rule.update),
                [self._bits[fact].bit_length() - 1 for fact in rule.update],
            )
            for rule in machine.rules
        ]
        """Per rule the facts that it keeps, those that it makes, and the places of the latter."""
        self._met = [0] * len(self._bits)
        """Per fact, those that were so when it was made so."""

    def facts(self, state: State) -> int:
        """The facts of a state, a bit for each."""
        return sum(self._bits[fact] for fact in zip(self._names, state, strict=True))

    def spread(self, begun: Iterable[tuple[int, int]], most: int) -> Iterator[int]:
        """States in which facts meet for the first time, from those `begun` with (state, its facts).

        Expands so many states.
        """
        waiting = list(begun)
        for _, facts in waiting:
            for place in compress(count(), map(int, reversed(f"{facts:b}"))):
                self._met[place] |= facts
        # the list grows while it is gone through
        for state, facts in islice(waiting, most):
            fresh = self._beside(state, facts)
            waiting += fresh
            yield from (state for state, _ in fresh)

    def _beside(self, state: int, facts: int) -> list[tuple[int, int]]:
        met = self._met
        found = []
        for rule in self._enabled(state):
            keep, made, places = self._after[rule]
            now = facts & keep | made
            new = [place for place in places if now & ~met[place]]
            if new:
                for place in new:
                    met[place] |= now
                found.append((self._step(state, rule), now))
        return found
