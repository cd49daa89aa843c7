"""Clauses, and under which sets of failures each of them stays true for good.

That a rule does not break a clause is refuted by a query; what its final conflict names are clauses and failures that
had not struck: the query need not be asked again under any set that touches none of these failures, as long as none of
these clauses is lost.  So nearly all sets are settled by what was asked under the empty one.  Under what is left the
query is asked again, with these failures free; a model that breaks the clause tells of all sets under which it does.

The clauses left under a set are the greatest part of the pool that is inductive when all of the set may strike.

References (from memory)
  C. Flanagan, K. R. M. Leino: Houdini, an annotation assistant for ESC/Java. FME 2001. (greatest inductive part)
  E. Ghassabani, A. Gacek, M. Whalen: Efficient generation of inductive validity cores for safety properties. FSE 2016.
  J. de Kleer: An assumption-based TMS. Artificial Intelligence 28, 1986. (labels: what follows under which assumptions)
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

from interlock.kernel.failures import Reason, Sets, struck_by, without_reason
from interlock.prove.core.encoding import TRUTH
from interlock.prove.core.local import Cube, LocalRules
from interlock.prove.core.polarity import PolaritySolver
from interlock.prove.core.solvers import light_solver
from interlock.prove.engine import Clock


@dataclass(slots=True)
class Obligation:
    """A query that must have no model under as many sets as can be: `query` are literals of the encoding.

    `possible` is the family of sets under which it is asked at all; `given_up` that under which it has a model.
    """

    query: tuple[int, ...]
    possible: int
    reasons: list[Reason] = field(default_factory=list)
    given_up: int = 0


class Pool:
    """The clauses by place (`cubes`, which they keep out), the family of sets under which each is lost, and why not."""

    def __init__(self, rules: LocalRules, failures: Sequence[str], sets: Sets, clock: Clock) -> None:
        self.rules = rules
        self.sets = sets
        self.clock = clock
        encoding = rules.encoding
        self.off = [-encoding.literals[name, True] for name in failures]
        """Per failure that it has not struck."""
        place = {name: at for at, name in enumerate(failures)}
        owners = [struck_by(rule, failures) for rule in rules.machine.rules]
        self._possible = [sets.every if owner is None else sets.having[place[owner]] for owner in owners]
        self.cubes: list[Cube] = []
        self.lost: list[int] = []
        self.kept: list[dict[int, Obligation]] = []
        """Per clause, by the number of a rule that may break it, that it does not."""
        self._users: list[dict[tuple[int, int], None]] = []
        """Per clause the clauses and rules of whose obligations some reason names it."""
        self._solver = PolaritySolver(encoding, light_solver())
        self._switches: list[int] = []
        self._clause_of: dict[int, int] = {}
        self._failure_of = {literal: at for at, literal in enumerate(self.off)}

    def close(self) -> None:
        """Frees the solver."""
        self._solver.close()

    def add(self, cubes: Iterable[Cube], number: int = 0) -> None:
        """Adds clauses that are to hold under the set of that number.

        A cube that is known and holds under the set is left out; one that was lost under it stands twice then, since it
        may hold together with what is new.
        """
        known = {self.cubes[at] for at in self.alive(number)}
        fresh = {cube: len(self.cubes) + place for place, cube in enumerate(sorted(set(cubes) - known))}
        for cube, at in fresh.items():
            switch = self._solver.new()
            self._solver.add([-switch, *(-literal for literal in cube)])
            self.cubes.append(cube)
            self.lost.append(0)
            self.kept.append({})
            self._users.append({})
            self._switches.append(switch)
            self._clause_of[switch] = at
        waiting: dict[tuple[int, int], None] = {}
        for cube, at in fresh.items():
            for rule in self.rules.entering(cube):
                written = self.rules.written(rule, cube)
                if written is not None:
                    query = (self.rules.guards[rule], *(literal for literal in cube if literal not in written))
                    self.kept[at][rule] = Obligation(query, self._possible[rule])
                    waiting[at, rule] = None
        self._work_off(waiting)

    def ask(self, target: int) -> Obligation:
        """A target, a literal of the encoding; `given_up` are the sets under which the clauses do not exclude it."""
        obligation = Obligation((target,), self.sets.every)
        self.ask_again(obligation)
        return obligation

    def ask_again(self, obligation: Obligation) -> None:
        """The same once clauses were added or lost."""
        obligation.given_up = 0
        while missing := without_reason(self.sets, obligation.reasons, self.lost) & ~obligation.given_up:
            model = self._explain(obligation, (missing & -missing).bit_length() - 1)
            if model is not None:
                obligation.given_up |= self._family(model)

    def alive(self, number: int) -> list[int]:
        """The clauses, by place, that are not lost under the set of that number."""
        return [at for at, lost in enumerate(self.lost) if not lost >> number & 1]

    def _work_off(self, waiting: dict[tuple[int, int], None]) -> None:
        while waiting:
            at, rule = next(iter(waiting))
            del waiting[at, rule]
            obligation = self.kept[at][rule]
            before = self.lost[at]
            while (
                missing := obligation.possible
                & without_reason(self.sets, obligation.reasons, self.lost)
                & ~self.lost[at]
            ):
                model = self._explain(obligation, (missing & -missing).bit_length() - 1)
                if model is None:
                    for clause in obligation.reasons[-1].clauses:
                        self._users[clause][at, rule] = None
                else:
                    self.lost[at] |= self._family(model) & obligation.possible
            if self.lost[at] != before:
                waiting.update(self._users[at])

    def _explain(self, obligation: Obligation, number: int) -> Sequence[int] | None:
        """A model of the query under the set of that number; None where there is none, and it has a reason more."""
        members = set(self.sets.members[number])
        query = self._solver.said(obligation.query)
        clauses = [self._switches[at] for at in self.alive(number)]
        # what the query says itself is no reason
        off = [literal for at, literal in enumerate(self.off) if at not in members and literal not in query]
        if self._solve([*query, *clauses, *off]):
            return self._solver.model()
        core = set(self._solver.core())
        # what rests on fewer failures holds under more sets: each is given up that can be, clauses at will
        for literal in [one for one in off if one in core]:
            if literal in core:
                fewer = [one for one in off if one in core and one != literal]
                if not self._solve([*query, *(one for one in clauses if one in core), *fewer]) or not self._solve(
                    [*query, *clauses, *fewer]
                ):
                    core = set(self._solver.core())
        reason = Reason(
            tuple(sorted(self._clause_of[one] for one in core if one in self._clause_of)),
            tuple(sorted(self._failure_of[one] for one in core.intersection(off))),
        )
        obligation.reasons.append(reason)
        return None

    def _solve(self, assumptions: Sequence[int]) -> bool:
        return self._solver.solve(assumptions, self.clock)

    def _family(self, model: Sequence[int]) -> int:
        """The sets under which the model is a state that nothing in the pool speaks against."""
        struck = [at for at, literal in enumerate(self.off) if model[-literal - 1] > 0]
        family = self.sets.above(struck)
        for at, cube in enumerate(self.cubes):
            if not family:
                break
            if all(literal == TRUTH or model[abs(literal) - 1] == literal for literal in cube):
                family &= self.lost[at]
        return family
