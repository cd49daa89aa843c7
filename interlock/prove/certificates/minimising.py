"""The part of an invariant from which no clause can be left out.

A clause is surely needed where something is refuted only with its help that must be refuted whatever else is left out:
a target, or what would break a clause that is surely needed.  Such clauses need not be assumed any more.

Reference (from memory)
  A. Belov, I. Lynce, J. Marques-Silva: Towards efficient MUS extraction. AI Communications 25, 2012.
"""

from __future__ import annotations

from collections.abc import Sequence

from interlock.prove.certificates.trimming import Trimmer, switched
from interlock.prove.core.local import Cube, LocalRules
from interlock.prove.core.polarity import PolaritySolver
from interlock.prove.core.solvers import SolverFactory
from interlock.prove.engine import Clock

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
    finally:
        trimmer.solver.close()
    left = _Minimiser(trimmer, make_solver)
    try:
        left.run()
    finally:
        left.solver.close()
    return [cubes[at] for at in sorted(left.alive)]


class _Minimiser:
    def __init__(self, trimmer: Trimmer, make_solver: SolverFactory) -> None:
        self.trimmer = trimmer
        # what is to be left out is missed for sure where a model says so: it need not speak of what was not kept at all
        self.solver = PolaritySolver(trimmer.rules.encoding, make_solver())
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
        first = switched(self.solver, [trimmer.cubes[at] for at in order])
        self._switch = {at: first + place for place, at in enumerate(order)}
        self._at = {switch: at for at, switch in self._switch.items()}
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
                if at in self.alive and at not in self.sure:
                    lost = self._drop(at)
                    if lost is not None:
                        pending = True
                        self._drop_unreached(lost)

    def _drop(self, at: int) -> set[int] | None:
        """Drops the clause if what it helped to refute is refuted without it; gives those that lost a use by that."""
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
                    self.solver.add([self._switch[at]])
                return None
            cores[number] = core
        self.alive.discard(at)
        self._leave_block(at)
        lost = self._used_by(at)
        for number, core in cores.items():
            lost |= self.used[number] - core
            for other in self.used[number]:
                self.users[other].discard(number)
            for other in core:
                self.users[other].add(number)
            self.used[number] = core
        return lost

    def _core_without(self, number: int, at: int) -> set[int] | None:
        """What refutes the query without the clause, beside what is surely needed; None where nothing does."""
        query = self.solver.said(self.queries[number][1])
        own = self._block_of[at]
        acts = {act: block for block, act in enumerate(self._acts) if block != own and self._blocks[block]}
        rest = [self._switch[other] for other in self._blocks[own] if other != at]
        if self.solver.solve([*query, *acts, *rest], self.trimmer.clock):
            return None
        core = self.solver.core()
        blocks = {own, *(acts[literal] for literal in core if literal in acts)}
        near = [self._switch[other] for block in sorted(blocks) for other in self._blocks[block] if other != at]
        if self.solver.solve([*query, *near], self.trimmer.clock):
            raise AssertionError("what was refuted is not")
        return {self._at[literal] for literal in self.solver.core() if literal in self._at}

    def _act(self, block: Sequence[int]) -> int:
        act = self.solver.new()
        for at in block:
            self.solver.add([-act, self._switch[at]])
        return act

    def _leave_block(self, at: int) -> None:
        number = self._block_of[at]
        self._blocks[number].remove(at)
        self.solver.add([-self._acts[number]])
        self._acts[number] = self._act(self._blocks[number])

    def _used_by(self, at: int) -> set[int]:
        return {other for number in self._owned.get(at, ()) for other in self.used[number]}

    def _drop_unreached(self, lost: set[int]) -> None:
        """Drops clauses that only each other need; `lost` are those that lost a use since this was so of none."""
        gone: set[int] = set()
        waiting = lost & self.alive
        while waiting:
            unreached = self._unreached(waiting.pop(), gone)
            gone |= unreached
            waiting.update(*map(self._used_by, unreached))
            waiting = (waiting & self.alive) - gone
        for at in sorted(gone):
            self.alive.discard(at)
            self._leave_block(at)

    def _unreached(self, at: int, gone: set[int]) -> set[int]:
        """The clause and those that need it, where neither a target nor what is surely needed is among those."""
        found = {at}
        waiting = [at]
        while waiting:
            one = waiting.pop()
            if one in self.sure:
                return set()
            for number in self.users[one]:
                owner = self.queries[number][0]
                if owner is None:
                    return set()
                if owner in self.alive and owner not in gone and owner not in found:
                    found.add(owner)
                    waiting.append(owner)
        return found
