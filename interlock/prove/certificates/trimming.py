"""The part of an invariant that a set of questions needs.

Mined invariants say many true things that nothing rests on.  Starting from what excludes the targets, a clause is
kept when the proof of a kept clause used it; what a proof used is the final conflict of its query.

Reference (from memory)
  E. Ghassabani, A. Gacek, M. Whalen: Efficient generation of inductive validity cores for safety properties. FSE 2016.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Iterator, Sequence
from itertools import chain

from interlock.prove.core.local import Cube, LocalRules
from interlock.prove.core.polarity import NearSolver, PolaritySolver
from interlock.prove.core.solvers import SolverFactory
from interlock.prove.engine import Clock

LARGEST_REGION = 64
"""A rule about more variables is not refuted with all that is known of them before less was tried."""


def trim(
    rules: LocalRules, cubes: Sequence[Cube], targets: Iterable[int], clock: Clock, make_solver: SolverFactory
) -> list[Cube]:
    """Those of the cubes that suffice: still inductive together, still excluding each target (a literal).

    Raises AssertionError when the cubes as they stand are not inductive or do not exclude a target.
    """
    trimmer = Trimmer(rules, cubes, clock, make_solver)
    try:
        trimmer.run(targets)
        return [cubes[at] for at in sorted(trimmer.kept)]
    finally:
        trimmer.solver.close()


def switched(solver: PolaritySolver, cubes: Sequence[Cube]) -> int:
    """Gives the solver a literal per cube that keeps it out; the first of these literals, the others follow."""
    switches = [solver.new() for _ in cubes]
    for switch, cube in zip(switches, cubes, strict=True):
        solver.add([-switch, *(-literal for literal in cube)])
    return switches[0] if switches else solver.new()


class Trimmer:
    """Queries that must have no model, each with the cubes that its refutation used; cubes are named by place.

    `kept`, in the order in which they were found to be of use; `queries`: (the cube that the query keeps out, None for
    a target; what has no model); `used`, per query.
    """

    def __init__(self, rules: LocalRules, cubes: Sequence[Cube], clock: Clock, make_solver: SolverFactory) -> None:
        self.rules = rules
        self.cubes = cubes
        self.clock = clock
        self.make_solver = make_solver
        self.solver = PolaritySolver(rules.encoding, make_solver())
        self.first = switched(self.solver, cubes)
        names = rules.encoding.variable_of
        self.names = [frozenset(names[abs(literal)] for literal in cube) for cube in cubes]
        self.naming: dict[str, list[int]] = {}
        for at, own in enumerate(self.names):
            for name in sorted(own):
                self.naming.setdefault(name, []).append(at)
        self.rarest: dict[str, list[int]] = {}
        """Each cube once, at that of its names which the fewest cubes have."""
        for at, own in enumerate(self.names):
            if own:
                self.rarest.setdefault(min(sorted(own), key=lambda name: len(self.naming[name])), []).append(at)
        self.lowest: dict[int, list[int]] = {}
        """The cubes by the first of their literals."""
        for at, cube in enumerate(cubes):
            if cube:
                self.lowest.setdefault(cube[0], []).append(at)
        self.near: dict[int, list[int]] = {}
        self.kept: dict[int, None] = {}
        self.queries: list[tuple[int | None, list[int]]] = []
        self.used: list[set[int]] = []

    def run(self, targets: Iterable[int]) -> None:
        """Finds what the targets need."""
        regions = [(target, self.rules.encoding.names_below(target)) for target in set(targets)]
        for target, region in sorted(regions, key=lambda one: (len(one[1]), one[0])):
            self._use(None, [target], [self._within(region)])
        waiting = deque(self.kept)
        while waiting:
            at = waiting.popleft()
            cube = self.cubes[at]
            for rule in self.rules.entering(cube):
                written = self.rules.written(rule, cube)
                if written is None:
                    continue
                rest = [literal for literal in cube if literal not in written]
                waiting.extend(self._use(at, [self.rules.guards[rule], *rest], self._around(rule, at, rest)))

    def refute(self, query: Sequence[int], context: Iterable[int]) -> tuple[list[int], set[int]] | None:
        """What of the query has no model, in literals, and which of these cubes, kept out, see to that; else None."""
        first, solver = self.first, self.solver
        if solver.solve([*solver.said(query), *(first + at for at in context)], self.clock):
            return None
        core = solver.core()
        cubes = {literal - first for literal in core if first <= literal < first + len(self.cubes)}
        return [solver.meant(literal) for literal in core if literal - first not in cubes], cubes

    def _use(self, owner: int | None, query: list[int], nearest: Iterable[Sequence[int]]) -> list[int]:
        """Keeps what refutes the query, of what is kept already if that does; gives what was not kept before.

        `nearest`: what is likely to refute it, to be tried first.
        """
        core = self._plainly(query)
        if core is None:
            core = self._with_less(*self._solved(query, nearest))
        # one by one, as to take away a view of all that is kept would go through all of it
        fresh = sorted(at for at in core if at not in self.kept)
        self.kept.update(dict.fromkeys(fresh))
        self.queries.append((owner, query))
        self.used.append(core)
        return fresh

    def _solved(self, query: Sequence[int], nearest: Iterable[Sequence[int]]) -> tuple[list[int], set[int]]:
        """What of the query is refuted, and by what, says the solver.  Raises AssertionError where nothing is."""
        kept = self.kept
        for near in chain(nearest, [range(len(self.cubes))]):
            # what is assumed first refutes first, if it does: to ask about that alone first may cost a model
            ordered = [at for at in near if at in kept]
            ordered += [at for at in near if at not in kept]
            core = self.refute(query, ordered)
            if core is not None:
                return core
        raise AssertionError("the cubes are not inductive together")

    def _plainly(self, query: Sequence[int]) -> set[int] | None:
        """What refutes the query at a glance: nothing, as a variable would have two values; or a cube that is kept and
        all of whose facts the query names.  None where a solver must be asked.
        """
        facts = self.rules.encoding.variable_of
        said = {literal for literal in self.solver.said(query) if abs(literal) in facts}
        told = [facts[literal] for literal in said if literal > 0]
        if len(set(told)) < len(told) or any(-literal in said for literal in said):
            return set()
        for literal in sorted(said):
            for at in self.lowest.get(literal, ()):
                if at in self.kept and said.issuperset(self.cubes[at]):
                    return {at}
        return None

    def _with_less(self, query: Sequence[int], core: set[int]) -> set[int]:
        """The core without what it can do without of what is not kept yet: that would have to be kept out itself."""
        kept = self.kept
        # one alone was assumed behind the query, so it was hardly named without need
        if core <= kept.keys() or len(core) == 1:
            return core
        # with a solver that knows nothing else: that a part does not suffice takes a model
        solver = NearSolver(self.rules.encoding, self.make_solver())
        said = solver.said(query)
        switches = {at: solver.new() for at in core}
        for at, switch in switches.items():
            solver.add([-switch, *(-solver.fact(literal) for literal in self.cubes[at])])

        def refuting(order: Iterable[int]) -> set[int] | None:
            if solver.solve([*said, *(switches[at] for at in order)], self.clock):
                return None
            used = set(solver.core())
            return {at for at in core if switches[at] in used}

        try:
            # what is assumed the other way round often does with less
            less = refuting(sorted(core, key=lambda at: (at not in kept, -at)))
            core = core if less is None else less
            fresh = sorted((at for at in core if at not in kept), reverse=True)
            for other in fresh if len(fresh) > 1 else ():
                if other in core:
                    less = refuting(sorted(core - {other}, key=lambda at: (at not in kept, at)))
                    core = core if less is None else less
            return core
        finally:
            solver.close()

    def _around(self, rule: int, at: int, rest: Iterable[int]) -> Iterator[Sequence[int]]:
        """Cubes about nothing but what the rule and the cube name; where that is much, first those beside the rest."""
        region = self.rules.region(rule)
        extra = self.names[at] - region
        if len(region) > LARGEST_REGION:
            names = self.rules.encoding.variable_of
            beside = {other for literal in rest for other in self.naming[names[abs(literal)]]}
            region |= extra
            yield sorted(other for other in beside if self.names[other] <= region)
            yield self._within(region)
            return
        if rule not in self.near:
            self.near[rule] = self._within(region)
        near = self.near[rule]
        if extra:
            # what the rule alone names comes first: it refutes what leads into other cubes too
            region |= extra
            beyond = {other for name in extra for other in self.naming[name] if self.names[other] <= region}
            near = [*near, *sorted(beyond)]
        yield near

    def _within(self, region: frozenset[str]) -> list[int]:
        return sorted(at for name in region for at in self.rarest.get(name, ()) if self.names[at] <= region)
