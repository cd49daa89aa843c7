"""All states of a small machine and all steps between them, as the reference evaluator has them."""

from __future__ import annotations

from dataclasses import dataclass

from interlock.kernel.evaluator import State, initial_states, successors
from interlock.kernel.machine import Machine

MOST_STATES = 20_000
"""More are no graph that anybody looks at or reads in."""


@dataclass(frozen=True, slots=True)
class StateGraph:
    """The reachable `states` in the order in which they are met, the first `initial` of them those of the start.

    `steps` are numbers of states with the name of the rule between them; those that change nothing are left out.
    `depth`: only states that so many steps lead to are there (None: all), and only steps between these.
    """

    machine: Machine
    states: tuple[State, ...]
    initial: int
    steps: tuple[tuple[int, str, int], ...]
    depth: int | None


class TooManyStates(Exception):
    """There are more states than a graph may have."""


def state_graph(machine: Machine, depth: int | None = None, most: int = MOST_STATES) -> StateGraph:
    """The reachable states, breadth first.  Raises TooManyStates."""
    numbers: dict[State, int] = {}
    for state in initial_states(machine):
        _number(numbers, state, most)
    initial = len(numbers)
    steps: list[tuple[int, str, int]] = []
    level, far = list(numbers), 0
    while level:
        following: list[State] = []
        for state in level:
            for rule, after in successors(machine, state):
                if after not in numbers:
                    if depth is not None and far == depth:
                        continue
                    _number(numbers, after, most)
                    following.append(after)
                if after != state:
                    steps.append((numbers[state], rule.name, numbers[after]))
        level, far = following, far + 1
    return StateGraph(machine, tuple(numbers), initial, tuple(steps), depth)


def _number(numbers: dict[State, int], state: State, most: int) -> None:
    if len(numbers) >= most:
        raise TooManyStates
    numbers.setdefault(state, len(numbers))
