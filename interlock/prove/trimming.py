"""The part of an invariant that a set of questions needs.

Mined invariants say many true things that nothing rests on.  Starting from what excludes the targets, a clause is
kept when the proof of a kept clause used it; what a proof used is the final conflict of its query.

Reference (from memory)
  E. Ghassabani, A. Gacek, M. Whalen: Efficient generation of inductive validity cores for safety properties. FSE 2016.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Sequence

from interlock.kernel.machine import support_of
from interlock.prove.encoding import TRUTH
from interlock.prove.engine import Clock
from interlock.prove.local import Cube, LocalRules
from interlock.prove.solvers import SolverFactory, add_all


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


class Trimmer:
    """Queries that must have no model, each with the cubes that its refutation used; cubes are named by place.

    `kept`, in the order in which they were found to be of use; `queries`: (the cube that the query keeps out, None for
    a target; what has no model); `used`, per query.
    """

    def __init__(self, rules: LocalRules, cubes: Sequence[Cube], clock: Clock, make_solver: SolverFactory) -> None:
        self.rules = rules
        self.cubes = cubes
        self.clock = clock
        self.solver = make_solver()
        encoding = rules.encoding
        add_all(self.solver, encoding.clauses)
        self.solver.add([TRUTH, encoding.top])
        self.first = encoding.top + 1
        """The literal that switches cube 0 on; the others follow."""
        for at, cube in enumerate(cubes):
            self.solver.add([-(self.first + at), *(-literal for literal in cube)])
        names = encoding.variable_of
        self.names = [frozenset(names[abs(literal)] for literal in cube) for cube in cubes]
        self.naming: dict[str, list[int]] = {}
        for at, own in enumerate(self.names):
            for name in sorted(own):
                self.naming.setdefault(name, []).append(at)
        machine = rules.machine
        self.region = [support_of(machine, rule.guard) | {name for name, _ in rule.update} for rule in machine.rules]
        self.near: dict[int, list[int]] = {}
        self.kept: dict[int, None] = {}
        self.queries: list[tuple[int | None, list[int]]] = []
        self.used: list[set[int]] = []

    def run(self, targets: Iterable[int]) -> None:
        """Finds what the targets need."""
        names = self.rules.encoding.variable_of
        regions = [(target, frozenset(names[fact] for fact in self._facts_below(target))) for target in set(targets)]
        for target, region in sorted(regions, key=lambda one: (len(one[1]), one[0])):
            self._use(None, [target], self._within(region))
        waiting = deque(self.kept)
        while waiting:
            at = waiting.popleft()
            cube = self.cubes[at]
            for rule in self.rules.entering(cube):
                written = self.rules.written(rule, cube)
                if written is None:
                    continue
                rest = [literal for literal in cube if literal not in written]
                waiting.extend(self._use(at, [self.rules.guards[rule], *rest], self._around(rule, at)))

    def refute(self, query: Sequence[int], context: Iterable[int]) -> set[int] | None:
        """Which of these cubes, kept out, refute the query; None where they do not."""
        first = self.first
        if self.solver.solve([*query, *(first + at for at in context)], self.clock):
            return None
        return {literal - first for literal in self.solver.core() if first <= literal < first + len(self.cubes)}

    def _use(self, owner: int | None, query: list[int], near: Sequence[int]) -> list[int]:
        """Keeps what refutes the query, of what is kept already if that does; gives what was not kept before."""
        kept = self.kept
        # what is assumed first refutes first, if it does; to ask about that alone would cost a model where it does not
        ordered = [at for at in near if at in kept]
        ordered += [at for at in near if at not in kept]
        for context in (ordered, range(len(self.cubes))):
            core = self.refute(query, context)
            if core is not None:
                if not core <= kept.keys():
                    # what is assumed the other way round often does with less
                    core = self.refute(query, sorted(core, key=lambda at: (at not in kept, -at))) or core
                fresh = sorted(core - kept.keys())
                kept.update(dict.fromkeys(fresh))
                self.queries.append((owner, query))
                self.used.append(core)
                return fresh
        raise AssertionError("the cubes are not inductive together")

    def _around(self, rule: int, at: int) -> list[int]:
        """Cubes about nothing but what the rule and the cube name."""
        if rule not in self.near:
            self.near[rule] = self._within(self.region[rule])
        extra = self.names[at] - self.region[rule]
        if not extra:
            return self.near[rule]
        region = self.region[rule] | extra
        more = {other for name in extra for other in self.naming[name] if self.names[other] <= region}
        return [*self.near[rule], *sorted(more)]

    def _within(self, region: frozenset[str]) -> list[int]:
        inside = {at for name in region for at in self.naming.get(name, ()) if self.names[at] <= region}
        return sorted(inside)

    def _facts_below(self, literal: int) -> set[int]:
        """The SAT variables of facts on which a gate depends."""
        encoding = self.rules.encoding
        found: set[int] = set()
        seen: set[int] = set()
        stack = [abs(literal)]
        while stack:
            atom = stack.pop()
            if atom in seen or atom == TRUTH:
                continue
            seen.add(atom)
            if atom in encoding.variable_of:
                found.add(atom)
            else:
                stack.extend(abs(part) for part in encoding.parts[atom])
        return found
