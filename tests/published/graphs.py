"""The reachable states as a graph, built with the reference evaluator alone: slow, and owing nothing to an engine."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass

import networkx as nx

from interlock.kernel.evaluator import State, evaluate, initial_states, successors
from interlock.kernel.expressions import Expr
from interlock.kernel.machine import Machine


@dataclass(frozen=True, slots=True)
class Reach:
    """Every reachable state with its depth, and every step as a rule firing (`steps` counts firings, not pairs)."""

    machine: Machine
    depth: dict[State, int]
    graph: nx.MultiDiGraph[State]

    @property
    def states(self) -> int:
        """How many reachable states."""
        return len(self.depth)

    @property
    def steps(self) -> int:
        """How many rule firings from reachable states."""
        return int(self.graph.number_of_edges())

    @property
    def dead(self) -> tuple[State, ...]:
        """Reachable states without a step."""
        return tuple(state for state in self.depth if self.graph.out_degree(state) == 0)

    @property
    def profile(self) -> tuple[int, ...]:
        """How many states at each depth, from 0."""
        depths = list(self.depth.values())
        return tuple(depths.count(level) for level in range(max(depths) + 1))

    def satisfying(self, target: Expr) -> list[State]:
        """Reachable states that satisfy the target."""
        return [state for state in self.depth if evaluate(self.machine, target, state)]

    def shortest(self, target: Expr) -> int | None:
        """The fewest steps to the target; None where it is unreachable."""
        return min((self.depth[state] for state in self.satisfying(target)), default=None)

    def shortest_runs(self, target: Expr) -> int:
        """How many runs of the fewest steps lead to the target, told apart by their states."""
        fewest = self.shortest(target)
        runs: dict[State, int] = {}
        # nearest first, as the states were found
        for state, depth in self.depth.items():
            nearer = [before for before in self.graph.predecessors(state) if self.depth[before] == depth - 1]
            runs[state] = sum(runs[before] for before in nearer) if depth else 1
        return sum(runs[state] for state in self.satisfying(target) if self.depth[state] == fewest)


def explore(machine: Machine) -> Reach:
    """Every reachable state, breadth first."""
    depth: dict[State, int] = {}
    graph: nx.MultiDiGraph[State] = nx.MultiDiGraph()
    for level, state in _levels(machine, None):
        depth[state] = level
        graph.add_node(state)
        for rule, after in successors(machine, state):
            graph.add_edge(state, after, key=rule.name)
    return Reach(machine, depth, graph)


def levels(machine: Machine, deepest: int) -> list[set[State]]:
    """The states at each depth up to `deepest`."""
    found: list[set[State]] = [set() for _ in range(deepest + 1)]
    for level, state in _levels(machine, deepest):
        found[level].add(state)
    return found


def _levels(machine: Machine, deepest: int | None) -> Iterator[tuple[int, State]]:
    depth = dict.fromkeys(initial_states(machine), 0)
    waiting = deque(depth)
    while waiting:
        state = waiting.popleft()
        yield depth[state], state
        if deepest is not None and depth[state] == deepest:
            continue
        for _, after in successors(machine, state):
            if after not in depth:
                depth[after] = depth[state] + 1
                waiting.append(after)
