"""z3 in the place of the SAT solvers that the engines use: what they decide must not depend on the solver.

Reference (from memory)
  L. de Moura, N. Bjørner: Z3: an efficient SMT solver. TACAS 2008.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from interlock.prove.core.solvers import FOREVER
from interlock.prove.engine import Clock, OutOfTime


class Z3Sat:
    """z3 used as a SAT solver: slower, but of another make."""

    def __init__(self) -> None:
        import z3

        self._z3 = z3
        self._solver = z3.SolverFor("QF_FD")
        # Otherwise z3 takes Ctrl-C for itself, answers `unknown`, and nobody hears of it.
        self._solver.set("ctrl_c", False)
        self._atoms: list[Any] = []
        self._answer: Any = None
        self._assumed: dict[str, int] = {}

    def _literal(self, literal: int) -> Any:
        while len(self._atoms) < abs(literal):
            self._atoms.append(self._z3.Bool(f"x{len(self._atoms) + 1}"))
        atom = self._atoms[abs(literal) - 1]
        return atom if literal > 0 else self._z3.Not(atom)

    def add(self, clause: Sequence[int]) -> None:
        self._solver.add(self._z3.Or([self._literal(literal) for literal in clause]))

    def solve(self, assumptions: Sequence[int] = (), clock: Clock = FOREVER) -> bool:
        if clock.is_over():
            raise OutOfTime
        left = clock.milliseconds_left()
        if left is not None:
            self._solver.set("timeout", left)
        given = [self._literal(literal) for literal in assumptions]
        self._assumed = {expr.sexpr(): literal for expr, literal in zip(given, assumptions, strict=True)}
        self._answer = self._solver.check(*given)
        if self._answer == self._z3.unknown:
            raise OutOfTime
        return bool(self._answer == self._z3.sat)

    def soon_refutes(self, assumptions: Sequence[int]) -> bool:
        return not self.solve(assumptions)

    def model(self) -> Sequence[int]:
        found = self._solver.model()
        return [
            at if self._z3.is_true(found.eval(atom, model_completion=True)) else -at
            for at, atom in enumerate(self._atoms, 1)
        ]

    def core(self) -> Sequence[int]:
        return [self._assumed[expr.sexpr()] for expr in self._solver.unsat_core()]

    def close(self) -> None:
        self._atoms.clear()
