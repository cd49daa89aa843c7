"""SAT solvers behind one small interface, so that no engine knows which one it uses.

Literals are non-zero integers as in the DIMACS format: variable `n` or its negation `-n`.

References (from memory)
  N. Eén, N. Sörensson: An extensible SAT-solver. SAT 2003. (solving under assumptions, final conflict as core)
  G. Audemard, L. Simon: Predicting learnt clauses quality in modern SAT solvers. IJCAI 2009.
  A. Ignatiev, A. Morgado, J. Marques-Silva: PySAT: a Python toolkit for prototyping with SAT oracles. SAT 2018.
  L. de Moura, N. Bjørner: Z3: an efficient SMT solver. TACAS 2008.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from typing import Any, Protocol, TypeAlias

from interlock.prove.engine import Clock, OutOfTime

CONFLICTS_PER_SLICE = 2_000
"""How many conflicts pass before the clock is looked at."""

FOREVER = Clock(None)


class SatSolver(Protocol):
    """An incremental SAT solver."""

    def add(self, clause: Sequence[int]) -> None:
        """Adds a clause for good."""

    def solve(self, assumptions: Sequence[int] = (), clock: Clock = FOREVER) -> bool:
        """Is there a model in which the assumptions hold?  Raises OutOfTime."""

    def model(self) -> Sequence[int]:
        """After True: the literal of variable n at place n - 1.  May be shorter than the highest variable added."""

    def core(self) -> Sequence[int]:
        """After False: assumptions which together have no model (none: the clauses alone have none)."""

    def close(self) -> None:
        """Frees what the solver holds; it must not be used again."""


SolverFactory: TypeAlias = Callable[[], SatSolver]


class PySat:
    """One of the solvers of python-sat, by its short name there."""

    def __init__(self, name: str) -> None:
        from pysat.solvers import Solver

        self._outer = Solver(name=name)
        self._inner: Any = self._outer.solver
        self.add: Callable[[Sequence[int]], None] = self._inner.add_clause

    def solve(self, assumptions: Sequence[int] = (), clock: Clock = FOREVER) -> bool:
        # In slices and "expecting an interrupt", because otherwise the library puts its own handler for Ctrl-C in
        # place of Python's and leaves it by a long jump.
        inner = self._inner
        while True:
            if clock.is_over():
                raise OutOfTime
            inner.conf_budget(CONFLICTS_PER_SLICE)
            answer = inner.solve_limited(assumptions, expect_interrupt=True)
            if answer is not None:
                return bool(answer)

    def model(self) -> Sequence[int]:
        found: Sequence[int] = self._inner.get_model()
        return found

    def core(self) -> Sequence[int]:
        return self._inner.get_core() or ()

    def close(self) -> None:
        self._outer.delete()


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


def light_solver() -> SatSolver:
    """The solver for very many small queries under assumptions."""
    return PySat("m22")


def deep_solver() -> SatSolver:
    """The solver for few large queries."""
    return PySat("g3")


def add_all(solver: SatSolver, clauses: Iterable[Sequence[int]]) -> None:
    """Adds the clauses in their order."""
    for clause in clauses:
        solver.add(clause)
