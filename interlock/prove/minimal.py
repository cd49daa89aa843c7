"""The part of an invariant from which no clause can be left out."""

from __future__ import annotations

from collections.abc import Sequence

from interlock.prove.encoding import TRUTH
from interlock.prove.engine import Clock
from interlock.prove.local import Cube, LocalRules
from interlock.prove.solvers import SolverFactory, add_all


def minimise(
    rules: LocalRules, cubes: Sequence[Cube], targets: Sequence[int], clock: Clock, make_solver: SolverFactory
) -> list[Cube]:
    """Those of the cubes that are left when one after the other is dropped that can be.

    The cubes must be inductive together and exclude each target; so are and do those that are left, and without any
    single one of them that would no longer be so.
    """
    left = _Minimiser(rules, cubes, targets, clock, make_solver)
    try:
        left.run()
    finally:
        left.solver.close()
    return [cubes[at] for at in sorted(left.alive)]


class _Minimiser:
    """Queries that must have no model, each with the clauses that its refutation used."""

    def __init__(
        self, rules: LocalRules, cubes: Sequence[Cube], targets: Sequence[int], clock: Clock, make: SolverFactory
    ) -> None:
        self.clock = clock
        self.cubes = cubes
        self.solver = make()
        add_all(self.solver, rules.encoding.clauses)
        self.solver.add([TRUTH, rules.encoding.top])
        self.first = rules.encoding.top + 1
        for at, cube in enumerate(cubes):
            self.solver.add([-(self.first + at), *(-literal for literal in cube)])
        self.alive = set(range(len(cubes)))
        self.queries: list[tuple[int | None, list[int]]] = [(None, [target]) for target in targets]
        """(the clause that the query keeps true, None for a target; what has no model)"""
        for at, cube in enumerate(cubes):
            for rule in rules.entering(cube):
                written = rules.written(rule, cube)
                if written is not None:
                    rest = [literal for literal in cube if literal not in written]
                    self.queries.append((at, [rules.guards[rule], *rest]))
        self.used: list[set[int]] = []
        self.users: list[set[int]] = [set() for _ in cubes]
        for number in range(len(self.queries)):
            core = self._core(number, self.alive)
            if core is None:
                raise AssertionError("the cubes are not inductive together")
            self.used.append(core)
            for at in core:
                self.users[at].add(number)

    def run(self) -> None:
        """Drops clauses until none can be dropped."""
        pending = True
        while pending:
            pending = self._drop_unreached()
            for at in sorted(self.alive, key=lambda at: (len(self.users[at]), -len(self.cubes[at]), at)):
                pending = (at in self.alive and self._drop(at)) or pending

    def _core(self, number: int, alive: set[int]) -> set[int] | None:
        if self.solver.solve([*self.queries[number][1], *(self.first + at for at in sorted(alive))], self.clock):
            return None
        return {literal - self.first for literal in self.solver.core() if literal >= self.first}

    def _drop(self, at: int) -> bool:
        """Drops the clause if what it helped to refute is refuted without it."""
        rest = self.alive - {at}
        cores: dict[int, set[int]] = {}
        for number in sorted(self.users[at]):
            owner = self.queries[number][0]
            if owner == at or (owner is not None and owner not in rest):
                continue
            core = self._core(number, rest)
            if core is None:
                return False
            cores[number] = core
        self.alive = rest
        for number, core in cores.items():
            for other in self.used[number]:
                self.users[other].discard(number)
            for other in core:
                self.users[other].add(number)
            self.used[number] = core
        return True

    def _drop_unreached(self) -> bool:
        """Drops clauses that only each other need."""
        own: dict[int | None, list[int]] = {}
        for number, (owner, _) in enumerate(self.queries):
            own.setdefault(owner, []).append(number)
        reached: set[int] = set()
        waiting: list[int | None] = [None]
        while waiting:
            for number in own.get(waiting.pop(), ()):
                fresh = (self.used[number] & self.alive) - reached
                reached |= fresh
                waiting.extend(sorted(fresh))
        dropped = len(reached) < len(self.alive)
        self.alive = reached
        return dropped
