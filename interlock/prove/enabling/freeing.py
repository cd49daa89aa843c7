"""Which options a certificate can do without.

An option that is true makes more possible; the obligations of a certificate say what must stay impossible.  Each is
refuted with the options assumed false, and the core of that says which of them had to be.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence

from interlock.kernel.claims import Certificate
from interlock.kernel.expressions import Const, Expr, Is, Not, Or
from interlock.kernel.machine import Machine
from interlock.prove.core.local import LocalRules
from interlock.prove.core.polarity import PolaritySolver
from interlock.prove.core.solvers import SolverFactory
from interlock.prove.engine import Clock


class Freeing:
    """One machine, one target, many certificates."""

    def __init__(
        self, machine: Machine, target: Expr, options: Sequence[str], clock: Clock, make_solver: SolverFactory
    ) -> None:
        self.rules = LocalRules(machine)
        self.clock = clock
        self.make_solver = make_solver
        encoding = self.rules.encoding
        self.target = encoding.gate(target)
        self.start = encoding.gate(machine.start)
        self.off = {name: encoding.literals[name, False] for name in options}
        self.begun = [
            [encoding.literals[variable.name, value] for value in variable.init]
            for variable in machine.variables
            if variable.name not in self.off and len(variable.init) < len(variable.domain)
        ]

    def free(self, certificate: Certificate, true: Collection[str]) -> frozenset[str] | None:
        """Options, those of `true` among them, with any of which the certificate still proves the target unreachable.

        The others must be false.  None where it proves nothing even with no option but those of `true`, or is not
        made of plain clauses, inductive by themselves.
        """
        encoding = self.rules.encoding
        cubes = []
        for clause in certificate.clauses:
            parts = clause.args if isinstance(clause, Or) else (clause,)
            if certificate.k > 1 or not all(isinstance(p.arg if isinstance(p, Not) else p, Is | Const) for p in parts):
                return None
            cubes.append(tuple(sorted(-encoding.gate(part) for part in parts)))
        asked = [[self.start, *cube] for cube in cubes]
        begin = _Needing(self, asked, self.begun, true)
        if not begin.run(frozenset()):
            return None
        asked = [[self.target]]
        for cube in cubes:
            for rule in self.rules.entering(cube):
                written = self.rules.written(rule, cube)
                if written is not None:
                    asked.append([self.rules.guards[rule], *(one for one in cube if one not in written)])
        step = _Needing(self, asked, [[-literal for literal in cube] for cube in cubes], true)
        if not step.run(begin.needed):
            return None
        return frozenset(self.off) - step.needed


class _Needing:
    """Queries that have no model while the right options are false."""

    def __init__(
        self, freeing: Freeing, queries: Sequence[Sequence[int]], known: Sequence[Sequence[int]], true: Collection[str]
    ) -> None:
        self.freeing = freeing
        self.queries = queries
        self.known = known
        self.offs = {literal: name for name, literal in freeing.off.items() if name not in true}
        self.needed: frozenset[str] = frozenset()

    def run(self, needed: frozenset[str]) -> bool:
        """Adds to what is needed already what these queries need; False where all of it does not do."""
        freeing = self.freeing
        solver = PolaritySolver(freeing.rules.encoding, freeing.make_solver())
        try:
            for clause in self.known:
                solver.add(clause)
            for query in self.queries:
                said = solver.said(query)
                literals = {freeing.off[name] for name in needed}
                if not solver.solve([*said, *sorted(literals)], freeing.clock):
                    continue
                rest = [literal for literal in sorted(self.offs) if literal not in literals]
                if solver.solve([*said, *sorted(literals), *rest], freeing.clock):
                    return False
                core = [literal for literal in solver.core() if literal in self.offs and literal not in literals]
                for literal in list(core):
                    fewer = [other for other in core if other != literal]
                    if not solver.solve([*said, *sorted(literals), *fewer], freeing.clock):
                        core = fewer
                needed |= {self.offs[literal] for literal in core}
            self.needed = needed
            return True
        finally:
            solver.close()
