"""Which clauses of a certificate some of the questions that it serves need."""

from __future__ import annotations

from collections.abc import Sequence

from interlock.kernel.claims import Certificate
from interlock.kernel.expressions import Expr
from interlock.kernel.machine import Machine
from interlock.prove.certificates.minimising import minimise
from interlock.prove.core.local import Cube, LocalRules
from interlock.prove.core.solvers import FOREVER, light_solver


def needed_clauses(machine: Machine, certificate: Certificate, targets: Sequence[Expr]) -> tuple[Expr, ...]:
    """Clauses of the certificate that suffice for these targets, none of which can be left out, in its order.

    All of them where the certificate is not a set of plain clauses that is inductive by itself (k above 1).
    """
    rules = LocalRules(machine)
    cubes: list[Cube] = []
    clause_of: dict[Cube, Expr] = {}
    for clause in certificate.clauses:
        cube = rules.cube(clause)
        if certificate.k > 1 or cube is None:
            return certificate.clauses
        cubes.append(cube)
        clause_of[cube] = clause
    literals = [rules.encoding.gate(target) for target in targets]
    needed = minimise(rules, cubes, literals, FOREVER, light_solver)
    return tuple(clause_of[cube] for cube in needed)
