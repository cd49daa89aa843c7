"""SAT solvers behind one small interface, so that no engine knows which one it uses.

Literals are non-zero integers as in the DIMACS format: variable `n` or its negation `-n`.

References (from memory)
  N. Eén, N. Sörensson: An extensible SAT-solver. SAT 2003. (solving under assumptions, final conflict as core)
  G. Audemard, L. Simon: Predicting learnt clauses quality in modern SAT solvers. IJCAI 2009.
  A. Ignatiev, A. Morgado, J. Marques-Silva: PySAT: a Python toolkit for prototyping with SAT oracles. SAT 2018.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from typing import Any, Protocol, TypeAlias

from interlock.prove.engine import Clock, OutOfTime

CONFLICTS_PER_SLICE = 2_000
"""How many conflicts pass before the clock is looked at."""

SOON = 600
"""So many literals are propagated at most where only what is soon refuted is of interest."""

SIMPLIFYING = 3
"""Rounds in which clauses are simplified."""

FOREVER = Clock(None)


class SatSolver(Protocol):
    """An incremental SAT solver."""

    def add(self, clause: Sequence[int]) -> None:
        """Adds a clause for good."""

    def solve(self, assumptions: Sequence[int] = (), clock: Clock = FOREVER) -> bool:
        """Is there a model in which the assumptions hold?  Raises OutOfTime."""

    def soon_refutes(self, assumptions: Sequence[int]) -> bool:
        """Are the assumptions refuted by little work?  After True there is a core; False says nothing."""

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

    def soon_refutes(self, assumptions: Sequence[int]) -> bool:
        # to find a model may take ten times as long, as that gives every variable a value
        self._inner.prop_budget(SOON)
        try:
            return self._inner.solve_limited(assumptions, expect_interrupt=True) is False
        finally:
            self._inner.prop_budget(-1)

    def prefer(self, literals: Sequence[int]) -> None:
        """Models are from now on looked for near to where these literals are true."""
        self._inner.set_phases(literals)

    def model(self) -> Sequence[int]:
        found: Sequence[int] = self._inner.get_model()
        return found

    def core(self) -> Sequence[int]:
        return self._inner.get_core() or ()

    def close(self) -> None:
        self._outer.delete()


def light_solver() -> PySat:
    """The solver for very many small queries under assumptions."""
    return PySat("m22")


def deep_solver() -> SatSolver:
    """The solver for few large queries."""
    return PySat("g3")


def add_all(solver: SatSolver, clauses: Iterable[Sequence[int]]) -> None:
    """Adds the clauses in their order."""
    for clause in clauses:
        solver.add(clause)


def simplified(clauses: Sequence[Sequence[int]], kept: Iterable[int]) -> Sequence[Sequence[int]]:
    """Fewer clauses that leave the kept variables the same values together; others may be gone from them.

    What follows from clauses is used, and variables that are not kept are resolved away (N. Eén, A. Biere: Effective
    preprocessing in SAT through variable and clause elimination. SAT 2005; from memory).
    """
    from pysat.process import Processor

    processor = Processor(bootstrap_with=clauses)
    try:
        # what is switched off here keeps no more than that there is a model
        processed = processor.process(SIMPLIFYING, block=False, cover=False, condition=False, freeze=sorted(kept))
        found: Sequence[Sequence[int]] = processed.clauses
        return found
    finally:
        processor.delete()
