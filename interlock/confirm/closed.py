"""Whether a set of states, given as a decision diagram, is closed: a second look that makes no diagram of its own.

Shares with the engines nothing but the meaning of a step.  Two nodes are followed down together, where a state is and
where the step leads, with what is left of the guard once the values above are known.
"""

from __future__ import annotations

from collections.abc import Generator, Mapping, Sequence
from time import monotonic
from typing import TypeAlias

from interlock.confirm.smtlib import GivenUp
from interlock.kernel.claims import Diagram
from interlock.kernel.expressions import FALSE, TRUE, Expr, Is, Ref, fold, rebuilt
from interlock.kernel.machine import Machine, support_of

NONE, EVERY = 0, 1
Place: TypeAlias = tuple[int, int, int, Expr]
"""Depth, node where the state is, node where the state after is, what is left of the condition."""


def faults_of(machine: Machine, diagram: Diagram, targets: Sequence[Expr], deadline: float | None) -> list[str]:
    """Per target, in words, why the set does not show that it is never reached; empty where it does.

    Raises GivenUp past the deadline, which is on the monotonic clock.
    """
    if fault := _misfit(machine, diagram):
        return [f"the diagram is ill-formed: {fault}"] * len(targets)
    closed = _Closed(machine, diagram, deadline)
    fault = closed.fault_of_start() or closed.fault_of_steps()
    return [fault or closed.fault_of_target(target) for target in targets]


def _misfit(machine: Machine, diagram: Diagram) -> str:
    """What keeps the diagram from being one about the machine; empty when it is."""
    if unknown := sorted(set(diagram.order) - machine.domains.keys()):
        return f"no variable {unknown[0]!r}"
    if len(set(diagram.order)) < len(diagram.order):
        return "a variable has two levels"
    depths = {EVERY: len(diagram.order)}
    for at, kids in enumerate(diagram.nodes, 2):
        below = {depths.get(kid, 0) for kid in kids if kid != NONE}
        depths[at] = depth = min(below, default=0) - 1
        if len(below) != 1 or depth < 0 or len(kids) != len(machine.domains[diagram.order[depth]]):
            return f"node {at} does not fit the variables"
    return "" if diagram.root == NONE or depths.get(diagram.root) == 0 else "the root is not about the first variable"


class _Closed:
    """One diagram, asked about one machine; both fit."""

    def __init__(self, machine: Machine, diagram: Diagram, deadline: float | None) -> None:
        self.machine = machine
        self.order = diagram.order
        self.deadline = deadline
        self.kids = [(), (), *diagram.nodes]
        self.root = diagram.root
        self.depth_of = {name: depth for depth, name in enumerate(diagram.order)}
        depths = {EVERY: len(self.order)}
        self.at_depth: list[list[int]] = [[] for _ in (*self.order, "")]
        for node in range(2, len(self.kids)):
            depths[node] = depths[max(self.kids[node])] - 1
            self.at_depth[depths[node]].append(node)
        # of equal expressions one, so that it need not be found out again and again that they are equal
        self._same: dict[Expr, Expr] = {}
        self._rests: dict[tuple[str, int], dict[Expr, Expr]] = {}

    def fault_of_start(self) -> str:
        """Whether some initial state is not in the set, in words."""
        box = EVERY
        for name in reversed(self.order):
            variable = self.machine.variables[self.machine.positions[name]]
            self.kids.append(tuple(box if value in variable.init else NONE for value in variable.domain))
            box = len(self.kids) - 1
        is_in = self._is_within(0, box, self.root, self.machine.start, {})
        return "" if is_in else "an initial state is not in the set"

    def fault_of_steps(self) -> str:
        """The rules that lead out of the set, in words."""
        leaving = []
        for rule in self.machine.rules:
            writes = {self.depth_of[n]: self.machine.domains[n].index(v) for n, v in rule.update if n in self.depth_of}
            if not writes:
                continue
            touched = [self.depth_of[n] for n in support_of(self.machine, rule.guard) if n in self.depth_of]
            top = min([*writes, *touched])
            # above that, state and state after go the same way
            if not all(self._is_within(top, node, node, rule.guard, writes) for node in self.at_depth[top]):
                leaving.append(rule.name)
        more = f" (and {len(leaving) - 1} more)" if len(leaving) > 1 else ""
        return f"rule {leaving[0]!r} leads out of the set{more}" if leaving else ""

    def fault_of_target(self, target: Expr) -> str:
        """Whether some state of the set satisfies the target, in words."""
        return "" if self._is_within(0, self.root, NONE, target, {}) else "a state of the set is in the target"

    def _is_within(self, depth: int, node: int, after: int, condition: Expr, writes: Mapping[int, int]) -> bool:
        """From every state below `node` in which the condition is true the writes lead to one below `after`."""
        known: dict[Place, bool] = {}
        lowest = max(writes, default=-1)

        def step(place: Place) -> Generator[Place, bool, bool]:
            depth, node, after, condition = place
            if node == NONE or condition == FALSE or (node == after and depth > lowest):
                return True
            if depth == len(self.order):
                return after == EVERY
            if place not in known:
                self._look()
                known[place] = True
                following = self.kids[after] if after != NONE else (NONE,) * len(self.kids[node])
                for value, kid in enumerate(self.kids[node]):
                    if kid != NONE:
                        rest = self._rest(condition, self.order[depth], value)
                        if not (yield depth + 1, kid, following[writes.get(depth, value)], rest):
                            known[place] = False
                            break
            return known[place]

        return fold(step, (depth, node, after, condition))

    def _look(self) -> None:
        if self.deadline is not None and monotonic() > self.deadline:
            raise GivenUp("out of time")

    def _rest(self, condition: Expr, name: str, place: int) -> Expr:
        """What is left of the condition once the variable has the value at this place."""
        value = self.machine.domains[name][place]
        known = self._rests.setdefault((name, place), {})

        def step(expr: Expr) -> Generator[Expr, Expr, Expr]:
            if expr in known:
                return known[expr]
            if isinstance(expr, Is):
                made: Expr = expr if expr.variable != name else TRUE if expr.value == value else FALSE
            elif isinstance(expr, Ref):
                made = yield self.machine.definitions[expr.signal]
            else:
                made = yield from rebuilt(expr)
            known[expr] = made = self._same.setdefault(made, made)
            return made

        return fold(step, condition)
