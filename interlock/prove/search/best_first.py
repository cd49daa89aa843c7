"""Best-first search for a way from one state to a better one: the planner of proofs and of checklists alike.

The states met wait in two queues, both in the order of the size of a plan in the delete relaxation: those that a step
leads to which such a plan begins with, and all others.  Three states of four are taken from the former.

References, from memory:
  J. Hoffmann, B. Nebel, "The FF planning system: fast plan generation through heuristic search", JAIR 14, 2001
  (plan size of the relaxed problem, steps that help).
  M. Helmert, "The Fast Downward planning system", JAIR 26, 2006 (a second queue for what helping steps lead to).
"""

from __future__ import annotations

from collections.abc import Callable, Container, Iterable, Iterator, Set
from heapq import heappop, heappush
from itertools import combinations
from typing import TypeAlias, TypeVar

from interlock.prove.core.packing import Packing
from interlock.prove.engine import Clock
from interlock.prove.search.delete_relaxation import RelaxedGoal

PREFERRED = 4
"""One state of so many is taken from the queue of those that no helping step leads to."""

Step = TypeVar("Step")
Successors: TypeAlias = Callable[[int, Set[int], Container[int]], Iterable[tuple[Step, int, bool]]]
"""From a state, the rules that help and the states met, which may be left out: (step, state after it, does it help)."""


class OpenList:
    """States to be expanded.  Of states that are as good the one put in first comes first."""

    def __init__(self, starts: Iterable[int]) -> None:
        self._helped: list[tuple[int, int, int]] = []
        self._others: list[tuple[int, int, Iterator[int]]] = [(0, 0, iter(starts))]
        self._order = self._turns = 0

    def put_helped(self, estimate: int, state: int) -> None:
        """Adds a state that a helping step leads to."""
        self._order += 1
        heappush(self._helped, (estimate, self._order, state))

    def put_others(self, estimate: int, states: Iterator[int]) -> None:
        """Adds states that other steps lead to; they are asked for one by one, when it is their turn."""
        self._order += 1
        heappush(self._others, (estimate, self._order, states))

    def take(self) -> int | None:
        """The next state; None where none is left."""
        self._turns += 1
        while True:
            if self._helped and (self._turns % PREFERRED or not self._others):
                return heappop(self._helped)[2]
            if not self._others:
                return None
            state = next(self._others[0][2], None)
            if state is not None:
                return state
            heappop(self._others)


def best_first(
    packing: Packing,
    start: int,
    aim: RelaxedGoal,
    successors: Successors[Step],
    is_goal: Callable[[int, Step, int], bool],
    most_expanded: int,
    clock: Clock,
) -> list[Step] | None:
    """The steps from the start to the first goal met, guided towards the aim; `is_goal` is asked of (before, step,
    after) for each state when it is met first.  None where none was found within so many states, or time was over.
    """
    parents: dict[int, tuple[int, Step] | None] = {start: None}
    waiting = OpenList([start])
    for _ in range(most_expanded):
        state = None if clock.is_over() else waiting.take()
        if state is None:
            break
        plan = aim.plan(packing.places(state))
        if plan is None:
            continue
        others: list[int] = []
        for step, after, helps in successors(state, plan.first, parents):
            if after in parents:
                continue
            parents[after] = state, step
            if is_goal(state, step, after):
                return path_to(parents, after)
            if helps:
                waiting.put_helped(plan.size, after)
            else:
                others.append(after)
        waiting.put_others(plan.size, iter(others))
    return None


def path_to(parents: dict[int, tuple[int, Step] | None], state: int) -> list[Step]:
    """The steps that lead to the state, each state being kept with the one before it and the step between them."""
    steps: list[Step] = []
    while (link := parents[state]) is not None:
        state, step = link
        steps.append(step)
    return steps[::-1]


def without_spare(
    steps: tuple[Step, ...], suffices: Callable[[tuple[Step, ...]], bool], together: int = 1
) -> tuple[Step, ...]:
    """The steps without those, up to so many `together`, that they can do without; those at the end go first."""
    gone = 1
    while gone <= together:
        shorter = steps
        for places in combinations(reversed(range(len(steps))), gone):
            fewer = tuple(step for at, step in enumerate(shorter) if at not in places)
            if suffices(fewer):
                shorter = fewer
                if gone > 1:
                    break
        gone = gone + 1 if shorter == steps else 1
        steps = shorter
    return steps
