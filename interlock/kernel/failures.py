"""Which sets of failures lead to a target: what that means, and what evidence for it is.

A failure is a Boolean variable that is false at first and that nothing but steps of the actor `failure` write; it
*strikes* by such a step, at any time, and never must.  So with more failures more can happen and nothing less: a set
leads to the target when some run in which no failure outside the set strikes ends there, and then every larger set
does too.  What matters are the smallest such sets.

Why no other set of at most so many failures leads there (`Tolerance`): clauses, each for the sets under which it stays
true for good.  A clause is *lost* under a set where some step may break it: where, of the reasons why that step does
not (`Reason`), every one speaks of a failure of the set or of a clause that is lost under it.  What is not lost by
this rule, applied until nothing more is lost, holds in every state that runs with these failures reach: it does at
first, and each step keeps it, since under a set no other failure can have struck.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property, reduce
from itertools import combinations
from math import comb
from operator import and_, or_
from typing import TypeAlias

from interlock.kernel.claims import Trace
from interlock.kernel.expressions import TRUE, Expr, assign, variables_of
from interlock.kernel.machine import Actor, Machine, Rule
from interlock.kernel.why import Why


class NotFailures(ValueError):
    """Something that steps of the actor `failure` write is no failure as this module has it; the message says what."""


def failures_of(machine: Machine) -> tuple[str, ...]:
    """The failures that a machine speaks of, in the order of its variables.

    Each rule of the actor `failure` strikes or heals exactly one (`struck_by`).  Raises NotFailures.
    """
    booleans = {v.name for v in machine.variables if set(v.domain) == {False, True} and v.init == (False,)}
    others = {name for rule in machine.rules if rule.actor is not Actor.FAILURE for name, _ in rule.update}
    found: set[str] = set()
    for rule in machine.rules:
        if rule.actor is Actor.FAILURE:
            own = [name for name, _ in rule.update if name in booleans and name not in others]
            if not own:
                raise NotFailures(f"rule {rule.name!r} is a failure's and strikes none")
            found.update(own)
    failures = tuple(variable.name for variable in machine.variables if variable.name in found)
    for rule in machine.rules:
        if rule.actor is Actor.FAILURE and len(found.intersection(name for name, _ in rule.update)) > 1:
            raise NotFailures(f"rule {rule.name!r} strikes more than one failure")
    return failures


def struck_by(rule: Rule, failures: Iterable[str]) -> str | None:
    """The failure that a rule strikes or heals; None where it is no failure's."""
    written = {name for name, _ in rule.update}
    return next((name for name in failures if name in written), None) if rule.actor is Actor.FAILURE else None


class Sets:
    """All sets of at most `most` of `count` things, numbered by size.

    A *family* of sets is a number that has a bit for each.
    """

    def __init__(self, count: int, most: int) -> None:
        self.count = count
        self.members = [one for size in range(min(most, count) + 1) for one in combinations(range(count), size)]
        self.every = (1 << len(self.members)) - 1

    @cached_property
    def having(self) -> list[int]:
        """Per thing the family of those that it is in."""
        bits = [bytearray(len(self.members) // 8 + 1) for _ in range(self.count)]
        for at, members in enumerate(self.members):
            for member in members:
                bits[member][at >> 3] |= 1 << (at & 7)
        return [int.from_bytes(row, "little") for row in bits]

    def above(self, members: Iterable[int]) -> int:
        """The family of those that all of these are in."""
        return reduce(and_, (self.having[member] for member in members), self.every)

    def touching(self, members: Iterable[int]) -> int:
        """The family of those that some of these are in."""
        return reduce(or_, (self.having[member] for member in members), 0)

    def within(self, members: Iterable[int]) -> int:
        """The family of those in which nothing but these is."""
        inside = set(members)
        return self.every & ~self.touching(other for other in range(self.count) if other not in inside)


def number_of_sets(count: int, most: int) -> int:
    """How many sets of at most `most` of `count` things there are."""
    return sum(comb(count, size) for size in range(min(most, count) + 1))


@dataclass(frozen=True, slots=True)
class Reason:
    """Why something cannot be so: while these clauses hold and none of these failures (by their places) has struck."""

    clauses: tuple[int, ...]
    failures: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Kept:
    """Why a rule does not lead from a state in which the clause holds to one in which it does not: any of these."""

    clause: int
    rule: str
    reasons: tuple[Reason, ...]


@dataclass(frozen=True, slots=True)
class Tolerance:
    """What stays true whatever of some failures strikes.

    Obligations: no clause names a signal; (start) every clause holds at first; (step) each reason of each of `kept` is
    one.  A rule that may write what a clause speaks of, and is not in `kept` with it, may
    break it unless the rule's own constants make the clause true.
    """

    failures: tuple[str, ...]
    clauses: tuple[Expr, ...]
    kept: tuple[Kept, ...]


@dataclass(frozen=True, slots=True)
class SmallestSets:
    """Claim: these are the smallest sets of failures that lead to the target, of those with at most `most` members.

    `runs` has for each set a run to the target in which its members strike and nothing else does.  `open` are sets of
    which it is not known whether they do.  Every other set does not, unless one of either is within it: by `clear`,
    reasons why the target cannot be so, one of which holds under every such set.  A `most` of -1 claims nothing.
    """

    question: str
    engine: str
    most: int
    sets: tuple[tuple[str, ...], ...]
    runs: tuple[Trace, ...]
    open: tuple[tuple[str, ...], ...]
    clear: tuple[Reason, ...]
    tolerance: Tolerance | None
    reason: str | Why = ""


@dataclass(frozen=True, slots=True)
class KnownSets:
    """Finding: every run was replayed, and that there are no other sets of at most `complete` members was re-checked.

    But for those that the claim calls open.  `complete` is -1 where nothing of the kind is known, and `why` says why
    it is less than what was asked for; `checked_by` what re-checked it.
    """

    question: str
    claim: SmallestSets
    complete: int
    checked_by: str
    why: str


@dataclass(frozen=True, slots=True)
class DisputedSets:
    """Finding: the claim is not borne out by its evidence: a fault of this program."""

    question: str
    what: str


SetsFinding: TypeAlias = KnownSets | DisputedSets


def at_risk(machine: Machine, clauses: Sequence[Expr]) -> list[tuple[int, Rule]]:
    """The clauses, by place, with each rule that may break them: what it writes they speak of and need not make true.

    The clauses name no signals.
    """
    naming: dict[str, list[int]] = {}
    for at, clause in enumerate(clauses):
        for name in sorted(variables_of(clause)):
            naming.setdefault(name, []).append(at)
    found = []
    for rule in machine.rules:
        written = dict(rule.update)
        touched = sorted({at for name in written for at in naming.get(name, ())})
        found += [(at, rule) for at in touched if assign(clauses[at], written) != TRUE]
    return found


def lost_clauses(machine: Machine, sets: Sets, tolerance: Tolerance) -> list[int]:
    """Per clause the family of sets under which it is lost; the reasons given are taken to be reasons."""
    place = {name: at for at, name in enumerate(tolerance.failures)}
    given = {(kept.clause, kept.rule): kept.reasons for kept in tolerance.kept}
    pairs = []
    users: list[list[int]] = [[] for _ in tolerance.clauses]
    for number, (at, rule) in enumerate(at_risk(machine, tolerance.clauses)):
        owner = struck_by(rule, tolerance.failures)
        reasons = given.get((at, rule.name), ())
        # without its failure a failure's rule does not fire
        pairs.append((at, sets.every if owner is None else sets.having[place[owner]], reasons))
        for clause in {clause for reason in reasons for clause in reason.clauses}:
            users[clause].append(number)
    lost = [0] * len(tolerance.clauses)
    waiting = dict.fromkeys(range(len(pairs)))
    while waiting:
        number = next(iter(waiting))
        del waiting[number]
        at, possible, reasons = pairs[number]
        broken = possible & without_reason(sets, reasons, lost)
        if broken & ~lost[at]:
            lost[at] |= broken
            waiting.update(dict.fromkeys(users[at]))
    return lost


def without_reason(sets: Sets, reasons: Iterable[Reason], lost: Sequence[int]) -> int:
    """The family of sets under which none of the reasons holds."""
    family = sets.every
    for reason in reasons:
        if not family:
            break
        family &= reduce(or_, (lost[at] for at in reason.clauses), sets.touching(reason.failures))
    return family


def smallest(sets: Iterable[frozenset[str]]) -> list[frozenset[str]]:
    """Those within which no other is, by size and name."""
    found: list[frozenset[str]] = []
    for one in sorted(set(sets), key=lambda some: (len(some), sorted(some))):
        if not any(other <= one for other in found):
            found.append(one)
    return found


def members_of(sets: Sets, family: int) -> Iterable[tuple[int, ...]]:
    """The sets of a family, by their number."""
    while family:
        low = family & -family
        yield sets.members[low.bit_length() - 1]
        family ^= low
