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

from interlock.kernel.failures import Reason, Sets, without_reason
from interlock.prove.core.encoding import TRUTH, Encoding
from interlock.prove.core.local import Cube
from interlock.prove.core.polarity import PolaritySolver
from interlock.prove.core.solvers import light_solver
from interlock.prove.engine import Clock
from interlock.prove.failures.narrowing import Narrowing, mask_of, places_in


@dataclass(slots=True)
class Obligation:
    """A query that must have no model under as many sets as can be: `query` are literals of the encoding.

    `possible` is the family of sets under which it is asked at all, `failures` those that it depends on, as a mask;
    `given_up` is the family of the sets under which it has a model.
    """

    query: tuple[int, ...]
    possible: int
    failures: int
    reasons: list[Reason] = field(default_factory=list)
    given_up: int = 0


class Pool:
    """The clauses by place (`cubes`, which they keep out), the family of sets under which each is lost, and why not."""

    def __init__(self, narrowing: Narrowing, sets: Sets, clock: Clock) -> None:
        self.narrowing = narrowing
        self.rules = rules = narrowing.rules
        self.sets = sets
        self.clock = clock
        encoding = rules.encoding
        self.off = [-literal for literal in narrowing.literals]
        """Per failure that it has not struck."""
        self._named = 0
        """The mask of the failures that clauses name."""
        self.cubes: list[Cube] = []
        self.lost: list[int] = []
        self.kept: list[dict[int, Obligation]] = []
        """Per clause, by the number of a rule that may break it, that it does not."""
        self._users: list[dict[tuple[int, int], None]] = []
        """Per clause the clauses and rules of whose obligations some reason names it."""
        self._solver = _Switched(encoding)
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
        for cube in fresh:
            self._solver.take(cube)
            self.cubes.append(cube)
            self.lost.append(0)
            self.kept.append({})
            self._users.append({})
            self._named |= mask_of(self._failure_of[-abs(one)] for one in cube if -abs(one) in self._failure_of)
        waiting: dict[tuple[int, int], None] = {}
        for cube, at in fresh.items():
            for rule in self.rules.entering(cube):
                written = self.rules.written(rule, cube)
                if written is not None:
                    query = (self.rules.guards[rule], *(literal for literal in cube if literal not in written))
                    owner = self.narrowing.owners[rule]
                    possible = self.sets.every if owner is None else self.sets.having[owner]
                    self.kept[at][rule] = self._obligation(query, possible)
                    waiting[at, rule] = None
        self._work_off(waiting)

    def ask(self, target: int) -> Obligation:
        """A target, a literal of the encoding; `given_up` are the sets under which the clauses do not exclude it."""
        obligation = self._obligation((target,), self.sets.every)
        self.ask_again(obligation, 0)
        return obligation

    def _obligation(self, query: tuple[int, ...], possible: int) -> Obligation:
        failures = 0
        for literal in query:
            failures |= self.narrowing.support(literal)
        return Obligation(query, possible, failures)

    def ask_again(self, obligation: Obligation, kept: int) -> None:
        """The same once clauses were added or lost; the family of sets `kept` stays given up."""
        obligation.given_up &= kept
        if not without_reason(self.sets, obligation.reasons, self.lost) & ~obligation.given_up:
            return
        # in the solver of all rules, what these need is dead weight for one another
        solver = _Switched(self.rules.encoding)
        for cube in self.cubes:
            solver.take(cube)
        while missing := without_reason(self.sets, obligation.reasons, self.lost) & ~obligation.given_up:
            number = (missing & -missing).bit_length() - 1
            obligation.given_up |= self._explain(solver, obligation, number, obligation.given_up)
        solver.close()

    def excludes(self, obligation: Obligation, number: int) -> bool:
        """Whether the clauses that there are now exclude it under the set of that number, which was given up."""
        before = len(obligation.reasons)
        self._explain(self._solver, obligation, number, obligation.given_up)
        for reason in obligation.reasons[before:]:
            obligation.given_up &= without_reason(self.sets, [reason], self.lost)
        return len(obligation.reasons) > before

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
                reasons = len(obligation.reasons)
                number = (missing & -missing).bit_length() - 1
                self.lost[at] |= self._explain(self._solver, obligation, number, self.lost[at]) & obligation.possible
                for reason in obligation.reasons[reasons:]:
                    for clause in reason.clauses:
                        self._users[clause][at, rule] = None
            if self.lost[at] != before:
                waiting.update(self._users[at])

    def _explain(self, solver: _Switched, obligation: Obligation, number: int, known: int) -> int:
        """Asks the query under the set of that number: it has a reason more where it has no model there.

        Gives the family of sets under which models were seen; under those `known` there are some.
        """
        members = mask_of(self.sets.members[number])
        query = solver.said(obligation.query)
        clauses = [solver.switches[at] for at in self.alive(number)]
        relevant = obligation.failures | self._named
        # what the query says itself is no reason
        off = [one for at in places_in(relevant & ~members) if (one := self.off[at]) not in query]
        depends = list(places_in(relevant))
        if solver.solve([*query, *clauses, *off], self.clock):
            return self._family(solver.model(), depends, number)
        core = set(solver.core())
        # what rests on fewer failures holds under more sets: each is given up that can be, clauses at will
        # (the sets of one come second, after the empty one)
        seen, needed = 0, {one for one in off if known >> (1 + self._failure_of[one]) & 1}
        while rest := [one for one in off if one in core and one not in needed]:
            fewer = [one for one in off if one != rest[0]]
            if solver.solve([*query, *clauses, *fewer], self.clock):
                seen |= self._family(solver.model(), depends, number)
                needed.add(rest[0])
            else:
                core, off = set(solver.core()), fewer
        reason = Reason(
            tuple(sorted(solver.place_of[one] for one in core if one in solver.place_of)),
            tuple(sorted(self._failure_of[one] for one in core.intersection(off))),
        )
        obligation.reasons.append(reason)
        return seen

    def _family(self, model: Sequence[int], depends: Sequence[int], number: int) -> int:
        """The sets under which the model is a state that nothing in the pool speaks against.

        It depends on these failures at the most; the clauses alive under the set of that number
        are so in the model.
        """
        family = self.sets.above([at for at in depends if model[-self.off[at] - 1] > 0])
        for cube, lost in zip(self.cubes, self.lost, strict=True):
            if not family:
                break
            if lost >> number & 1 and all(literal == TRUTH or model[abs(literal) - 1] == literal for literal in cube):
                family &= lost
        return family


class _Switched(PolaritySolver):
    """A solver that has a literal for each clause that it takes, which switches it on."""

    def __init__(self, encoding: Encoding) -> None:
        super().__init__(encoding, light_solver())
        self.switches: list[int] = []
        self.place_of: dict[int, int] = {}
        """Per such literal the place of its clause."""

    def take(self, cube: Cube) -> None:
        """The clause that keeps the cube out."""
        switch = self.new()
        self.add([-switch, *(-literal for literal in cube)])
        self.place_of[switch] = len(self.switches)
        self.switches.append(switch)
