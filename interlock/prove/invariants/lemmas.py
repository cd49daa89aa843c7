"""What one engine found out about a machine, for the next that is asked about the same, or about one much like it."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import field

from interlock.diagnostics.frozen import frozen
from interlock.kernel.expressions import Expr
from interlock.kernel.recovery import Entry
from interlock.prove.core.local import Cube, LocalRules
from interlock.prove.core.polarity import PolaritySolver
from interlock.prove.core.solvers import SolverFactory, add_all
from interlock.prove.engine import Clock


@frozen
class Remembered:
    """What is in `Lemmas` at the end of a call."""

    clauses: tuple[Expr, ...] = ()
    cases: Mapping[str, tuple[Entry, ...]] = field(default_factory=dict)
    measures: Mapping[str, int] = field(default_factory=dict)


def nothing() -> None:
    """For whoever waits for nothing."""


class Lemmas:
    """Clauses of facts that are taken to hold in every reachable state, and the cases of ways back.

    Advice, never evidence: whoever takes up clauses keeps those that are inductive together in the machine that it asks
    about, and of cases those that keep their word there.  `clauses` are the last that were kept; `cases` those of each
    stage, by what `recovery.stage_name` calls it; `measures` says by which heuristic, by its place, each question about
    ways back was answered.  What was `remembered` of an earlier call, perhaps of another machine, is kept apart.
    """

    def __init__(self, remembered: Remembered | None = None) -> None:
        self.remembered = remembered
        self.clauses: tuple[Expr, ...] = () if remembered is None else remembered.clauses
        self.cases: dict[str, tuple[Entry, ...]] = {}
        self.measures: dict[str, int] = {}
        self.cut_short = False
        """The call that kept the clauses ran out of time: the next about the same goes on from there."""
        self.when_settled: Callable[[], None] = nothing
        """Done once the clauses are kept that will be kept at the end, while what rests on them is still at work."""
        self.awaiting: Callable[[], None] = nothing
        """Done before the clauses are taken up: waits for them where they are still being found."""

    def found(self) -> Remembered:
        """What there is to be remembered now."""
        return Remembered(self.clauses, self.cases, self.measures)

    def take_over(self, found: Remembered) -> None:
        """What another process found that began with this."""
        self.clauses, self.cases, self.measures = found.clauses, dict(found.cases), dict(found.measures)

    def keep(self, rules: LocalRules, cubes: Iterable[Cube]) -> None:
        """Takes the place of what was kept before."""
        self.clauses = tuple(rules.clause(cube) for cube in cubes)

    def taken_up(self, rules: LocalRules, clock: Clock, make_solver: SolverFactory) -> list[Cube]:
        """The cubes that stay away for good, of those that the clauses keep out.  Raises OutOfTime."""
        self.awaiting()
        cubes = [cube for clause in self.clauses if (cube := rules.cube(clause)) is not None]
        return inductive_part(rules, cubes, clock, make_solver)


def inductive_part(rules: LocalRules, cubes: Sequence[Cube], clock: Clock, make_solver: SolverFactory) -> list[Cube]:
    """The most of the cubes that no initial state lies in and no rule leads into while all of them are kept out.

    In their order.  Raises OutOfTime.
    """
    solver = PolaritySolver(rules.encoding, make_solver())
    try:
        for clause in rules.encoding.initial_clauses():
            # of several literals each is a fact
            add_all(solver, [[part] for part in solver.parts(clause[0])] if len(clause) == 1 else [clause])
        kept = [cube for cube in cubes if not solver.solve(cube, clock)]
    finally:
        solver.close()
    before: list[Cube] = []
    while len(before) != len(kept):
        before = kept
        solver = PolaritySolver(rules.encoding, make_solver())
        add_all(solver, [[-literal for literal in cube] for cube in before])
        try:
            kept = [cube for cube in before if not _is_entered(rules, solver, cube, clock)]
        finally:
            solver.close()
    return kept


def _is_entered(rules: LocalRules, solver: PolaritySolver, cube: Cube, clock: Clock) -> bool:
    for rule in rules.entering(cube):
        written = rules.written(rule, cube)
        if written is not None:
            rest = [literal for literal in cube if literal not in written]
            if solver.solve(solver.said([rules.guards[rule], *rest]), clock):
                return True
    return False
