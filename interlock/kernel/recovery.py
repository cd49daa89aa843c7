"""From every reachable state the goal can still be brought about: what that means, and what evidence for it is.

No failure is used on the way to the goal: a failure may happen and never must.  Runs to the state from which the goal
is to be reached may contain failures.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TypeAlias

from interlock.kernel.claims import AnyClaim, Certificate, Trace, Unknown
from interlock.kernel.evaluator import State
from interlock.kernel.expressions import Expr, Is, Not, Value
from interlock.kernel.machine import Actor, Machine, Requirement, Variable


@dataclass(frozen=True, slots=True)
class RecoveryQuestion:
    """Does from every reachable state some run without failures lead to a state that satisfies `goal`?"""

    id: str
    goal: Expr


Rank: TypeAlias = tuple[tuple[tuple[str, Value, int], ...], ...]
"""A measure of states: per component the weights of (variable, value); what is not named weighs nothing.

A state's rank is the tuple of its sums, compared from the left.
"""


@dataclass(frozen=True, slots=True)
class Entry:
    """In a state where all of `when` is so, `rules` may fire one after the other.

    Each of `when` is a fact (`Is`) or the negation of one; together they leave every variable some value.  `into` is
    the place, from 0, of an entry listed before this one that applies afterwards; None where none is named.
    """

    when: tuple[Expr, ...]
    rules: tuple[str, ...]
    into: int | None = None


@dataclass(frozen=True, slots=True)
class Stage:
    """How to come to `goal` from any state in which the goal of the stage before holds."""

    goal: Expr
    rank: Rank
    entries: tuple[Entry, ...]


@dataclass(frozen=True, slots=True)
class Recovery:
    """Why the goal can be brought about from every reachable state.

    Obligations: the `certificate`, with k = 1, is an inductive invariant Inv of the machine.  For each stage, with
    `from` the goal of the stage before it (for the first: true) and `to` its own, in every state of Inv where `from`
    holds and `to` does not: (covered) `when` of some entry holds; (possible) where it holds, the rules of the entry,
    none of them a failure, are enabled one after the other; (better) after them `to` holds, or `from` holds and the
    rank is surely smaller (`surely_drops`), or `from` holds, the rank is surely no greater (`surely_never_rises`) and
    `when` of the entry `into`, listed before, holds: the pair of the rank and the place of the first entry that
    applies falls.  (reached) In Inv the `to` of the last stage implies the goal.
    """

    certificate: Certificate
    stages: tuple[Stage, ...]


@dataclass(frozen=True, slots=True)
class Recoverable(AnyClaim):
    """Claim: from every reachable state the goal can be brought about."""

    recovery: Recovery


@dataclass(frozen=True, slots=True)
class DeadEnd(AnyClaim):
    """Claim: the trace leads to a state from which no run without failures reaches the goal.

    `certificate` proves that of the machine restarted there (`restarted`).  `shortest` is true only where the engine
    knows that no shorter run leads to such a state.
    """

    trace: Trace
    certificate: Certificate
    shortest: bool = False


RecoveryClaim: TypeAlias = Recoverable | DeadEnd | Unknown


@dataclass(frozen=True, slots=True)
class Recovers:
    """Finding: the goal can always be brought about; `checked_by` names what re-checked the evidence."""

    question: str
    claim: Recoverable
    checked_by: str


@dataclass(frozen=True, slots=True)
class HasDeadEnd:
    """Finding: there is a dead end; the trace was replayed and the certificate re-checked by `checked_by`."""

    question: str
    claim: DeadEnd
    checked_by: str


def recovery_question_of(requirement: Requirement) -> RecoveryQuestion:
    """The question behind a requirement of kind `can always`."""
    return RecoveryQuestion(requirement.id, requirement.condition)


def without_failures(machine: Machine) -> Machine:
    """The machine in which nothing fails any more; its requirements are left out."""
    rules = tuple(rule for rule in machine.rules if rule.actor is not Actor.FAILURE)
    return Machine(machine.variables, machine.signals, rules, (), machine.start)


def restarted(machine: Machine, state: State) -> Machine:
    """The machine in which nothing fails any more, with this state as the only initial one."""
    variables = tuple(Variable(v.name, v.domain, (x,)) for v, x in zip(machine.variables, state, strict=True))
    return Machine(variables, machine.signals, without_failures(machine).rules)


def rank_of(machine: Machine, rank: Rank, state: State) -> tuple[int, ...]:
    """The rank of a state."""
    return tuple(
        sum(weight for name, value, weight in component if state[machine.positions[name]] == value)
        for component in rank
    )


def written_by(machine: Machine, rules: Sequence[str]) -> dict[str, Value]:
    """What the rules, fired in this order, leave behind in the variables that they write.  Raises KeyError."""
    written: dict[str, Value] = {}
    for name in rules:
        written.update(machine.rule(name).update)
    return written


def surely_drops(machine: Machine, rank: Rank, when: Sequence[Expr], written: Mapping[str, Value]) -> bool:
    """Writing these values lowers the rank in every state where all of `when` is so.

    Sufficient, not necessary: a variable of which `when` says nothing is taken to weigh the least that it can.
    """
    return _most_change(machine, rank, when, written) < 0


def surely_never_rises(machine: Machine, rank: Rank, when: Sequence[Expr], written: Mapping[str, Value]) -> bool:
    """Writing these values raises the rank in no state where all of `when` is so; sufficient, as `surely_drops`."""
    return _most_change(machine, rank, when, written) <= 0


def _most_change(machine: Machine, rank: Rank, when: Sequence[Expr], written: Mapping[str, Value]) -> int:
    """By how much the first component changes, at the most, of which that is not nothing; 0 where there is none."""
    possible = {name: set(machine.domains[name]) for name in written}
    for fact in when:
        if isinstance(fact, Is) and fact.variable in possible:
            possible[fact.variable] &= {fact.value}
        elif isinstance(fact, Not) and isinstance(fact.arg, Is) and fact.arg.variable in possible:
            possible[fact.arg.variable] -= {fact.arg.value}
    for component in rank:
        weights: dict[str, dict[Value, int]] = {}
        for name, value, weight in component:
            if name in written:
                own = weights.setdefault(name, {})
                own[value] = own.get(value, 0) + weight
        most = 0
        for name, own in weights.items():
            most += own.get(written[name], 0) - min((own.get(before, 0) for before in possible[name]), default=0)
        if most:
            return most
    return 0
