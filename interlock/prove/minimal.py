"""The part of an invariant from which no clause can be left out.

A clause is surely needed where something is refuted only with its help that must be refuted whatever else is left out:
a target, or what would break a clause that is surely needed.  Such clauses need not be assumed any more.

Reference (from memory)
  A. Belov, I. Lynce, J. Marques-Silva: Towards efficient MUS extraction. AI Communications 25, 2012.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import count

from interlock.prove.engine import Clock
from interlock.prove.local import Cube, LocalRules
from interlock.prove.solvers import SolverFactory, add_all
from interlock.prove.trimming import Trimmer

BLOCK = 32
"""So many clauses are assumed by one literal."""


def minimise(
    rules: LocalRules, cubes: Sequence[Cube], targets: Sequence[int], clock: Clock, make_solver: SolverFactory
) -> list[Cube]:
    """Those of the cubes that are left when one after the other is dropped that can be.

    The cubes must be inductive together and exclude each target (a literal); so are and do those that are left, and
    without any single one of them that would no longer be so.  Raises AssertionError where they are not or do not.
    """
    trimmer = Trimmer(rules, cubes, clock, make_solver)
    try:
        trimmer.run(targets)
        left = _Minimiser(trimmer)
        left.run()
    finally:
        trimmer.solver.close()
    return [cubes[at] for at in sorted(left.alive)]


class _Minimiser:
    def __init__(self, trimmer: Trimmer) -> None:
        self.trimmer = trimmer
        self.solver = trimmer.solver
        self.queries = trimmer.queries
        self.used = trimmer.used
        order = list(trimmer.kept)
        self.alive = set(order)
        self.sure: set[int] = set()
        """Clauses that can never be left out; facts of the solver."""
        self.users: dict[int, set[int]] = {at: set() for at in order}
        for number, core in enumerate(self.used):
            for at in core:
                self.users[at].add(number)
        self._owned: dict[int | None, list[int]] = {}
        for number, (owner, _) in enumerate(self.queries):
            self._owned.setdefault(owner, []).append(number)
        self._fresh = count(trimmer.first + len(trimmer.cubes))
        self._blocks = [order[at : at + BLOCK] for at in range(0, len(order), BLOCK)]
        self._block_of = {at: number for number, block in enumerate(self._blocks) for at in block}
        self._acts = [self._act(block) for block in self._blocks]

    def run(self) -> None:
        """Drops clauses until none can be dropped."""
        pending = True
        while pending:
            pending = False
            # what is nearest to the targets first: what it alone needs goes with it
            for at in list(self.trimmer.kept):
                if at in self.alive and at not in self.sure and self._drop(at):
                    pending = True
                    self._drop_unreached()

    def _drop(self, at: int) -> bool:
        """Drops the clause if what it helped to refute is refuted without it."""
        cores: dict[int, set[int]] = {}
        for number in sorted(self.users[at]):
            owner = self.queries[number][0]
            if owner == at or (owner is not None and owner not in self.alive):
                continue
            core = self._core_without(number, at)
            if core is None:
                if owner is None or owner in self.sure:
                    self.sure.add(at)
                    self._leave_block(at)
                    self.solver.add([self.trimmer.first + at])
                return False
            cores[number] = core
        self.alive.discard(at)
        self._leave_block(at)
        for number, core in cores.items():
            for other in self.used[number]:
                self.users[other].discard(number)
            for other in core:
                self.users[other].add(number)
            self.used[number] = core
        return True

    def _core_without(self, number: int, at: int) -> set[int] | None:
        """What refutes the query without the clause, beside what is surely needed; None where nothing does."""
        first = self.trimmer.first
        query = self.queries[number][1]
        own = self._block_of[at]
        acts = {act: block for block, act in enumerate(self._acts) if block != own and self._blocks[block]}
        rest = [first + other for other in self._blocks[own] if other != at]
        if self.solver.solve([*query, *acts, *rest], self.trimmer.clock):
            return None
        blocks = {acts.get(literal, own) for literal in self.solver.core() if literal >= first}
        return self.trimmer.refute(query, [o for block in sorted(blocks) for o in self._blocks[block] if o != at])

    def _act(self, block: Sequence[int]) -> int:
        act = next(self._fresh)
        add_all(self.solver, [[-act, self.trimmer.first + at] for at in block])
        return act

    def _leave_block(self, at: int) -> None:
        number = self._block_of[at]
        self._blocks[number].remove(at)
        self.solver.add([-self._acts[number]])
        self._acts[number] = self._act(self._blocks[number])

    def _drop_unreached(self) -> None:
        """Drops clauses that only each other need."""
        reached: set[int] = set(self.sure)
        waiting: list[int | None] = [None, *sorted(self.sure)]
        while waiting:
            for number in self._owned.get(waiting.pop(), ()):
                fresh = (self.used[number] & self.alive) - reached
                reached |= fresh
                waiting.extend(sorted(fresh))
        for at in sorted(self.alive - reached):
            self.alive.discard(at)
            self._leave_block(at)
