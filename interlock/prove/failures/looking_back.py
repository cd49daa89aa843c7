"""Runs to a target that begin where runs are known to lead: backwards from the target, nearest to these states first.

Each cube is a set of states from which a few rules lead to the target.  How far it is from what is known is counted in
facts: so many of it are not so, at least, in each state that is known to be reached.  A cube of which all are so in one
of them gives a run.  Where the nearest lie farther off, one that may be reached without a failure is planned for.
"""

from __future__ import annotations

from collections.abc import Sequence
from heapq import heappop, heappush
from itertools import count

from interlock.kernel.claims import Trace
from interlock.prove.core.local import Cube, LocalRules
from interlock.prove.core.polarity import PolaritySolver
from interlock.prove.core.solvers import add_all, light_solver
from interlock.prove.engine import Clock
from interlock.prove.failures.states import Met, extended
from interlock.prove.frames.frames import Obligation

MOST_LOOKED_AT = 30
"""So many cubes are gone back from, for each target."""
MOST_SHORTLY = 3
"""The same, and ways in too, where little is hoped for."""
MOST_WAYS_IN = 16
"""So many cubes of a target are begun with."""


class LookBack:
    """Looks back from targets through rules under which `cubes` are never entered.

    `strikes` are the numbers of the rules that are not gone back through: the failures strike last in what is known.
    """

    def __init__(
        self, rules: LocalRules, cubes: Sequence[Cube], met: Met, strikes: frozenset[int], clock: Clock
    ) -> None:
        self.rules = rules
        self.met = met
        self.clock = clock
        self._strikes = strikes
        solver = light_solver()
        self._prefer = solver.prefer
        self._solver = PolaritySolver(rules.encoding, solver)
        add_all(self._solver, [[-literal for literal in cube] for cube in cubes])

    def close(self) -> None:
        """Frees the solver."""
        self._solver.close()

    def run_to(self, target: int, shortly: bool = False) -> Trace | None:
        """A run to the target, a literal of the encoding; None: none was found, within a few cubes if `shortly`."""
        ticket = count()
        waiting: list[tuple[int, int, int, Obligation]] = []
        seen: set[Cube] = set()

        def put(step: Obligation, depth: int) -> Trace | None:
            if step.cube in seen:
                return None
            seen.add(step.cube)
            far, near = self.met.nearest(step.cube)
            if not far:
                return self._trace(self.met.run_of(near), step)
            heappush(waiting, (far + depth, far, next(ticket), step))
            return None

        switch = self._solver.new()
        for _ in range(MOST_SHORTLY if shortly else MOST_WAYS_IN):
            if not self._solver.solve([switch, *self._solver.parts(target)], self.clock):
                break
            cube = self._cube([target], ())
            self._solver.add([-switch, *(-literal for literal in cube)])
            found = put(Obligation(cube, -1, None), 0)
            if found is not None:
                return found
        self._solver.add([-switch])
        looked, most = 0, MOST_SHORTLY if shortly else MOST_LOOKED_AT
        while waiting and looked < most:
            depth, far, _, step = heappop(waiting)
            looked += 1
            if self.met.plan_for(step.cube):
                far, near = self.met.nearest(step.cube)
                if not far:
                    return self._trace(self.met.run_of(near), step)
            self._prefer(self.met.literals_of(self.met.nearest(step.cube)[1]))
            for at in self.rules.entering(step.cube):
                written = None if at in self._strikes else self.rules.written(at, step.cube)
                if written is None:
                    continue
                rest = [literal for literal in step.cube if literal not in written]
                guard = self.rules.guards[at]
                if self._solver.solve([*self._solver.parts(guard), *rest], self.clock):
                    found = put(Obligation(self._cube([guard], rest), at, step), depth - far + 1)
                    if found is not None:
                        return found
        return None

    def _cube(self, literals: Sequence[int], rest: Sequence[int]) -> Cube:
        return tuple(sorted(self.rules.justify(literals, self._solver.model()).union(rest)))

    def _trace(self, lead: Trace, step: Obligation) -> Trace:
        machine, fired = self.rules.machine, []
        while step.then is not None:
            fired.append(machine.rules[step.rule])
            step = step.then
        return extended(machine, lead, fired)
