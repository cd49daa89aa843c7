"""A machine in which people keep some limitations and not others: which, is a choice made at the start for good.

A limitation forbids some rules unless something is so.  It only ever takes steps away; so whoever keeps more of them
can reach no more.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass

from interlock.kernel.expressions import Expr, Is, conj, disj, neg
from interlock.kernel.machine import Machine, Rule, Variable


@dataclass(frozen=True, slots=True)
class Forbidding:
    """While the Boolean `name` is true, a rule of these fires only where `unless` holds.

    Several of one name are one limitation.
    """

    name: str
    rules: frozenset[str]
    unless: Expr


def with_choices(machine: Machine, limits: Sequence[Forbidding], clauses: Sequence[Collection[str]]) -> Machine:
    """The machine in which each limitation is kept from the start for good or never, at least one of each clause kept.

    No rule writes the Boolean of a limitation.
    """
    by_rule: dict[str, list[Forbidding]] = {}
    for one in limits:
        for rule in one.rules:
            by_rule.setdefault(rule, []).append(one)
    rules = tuple(
        Rule(
            rule.name,
            rule.actor,
            conj(rule.guard, *(disj(neg(Is(one.name, True)), one.unless) for one in by_rule[rule.name])),
            rule.update,
        )
        if rule.name in by_rule
        else rule
        for rule in machine.rules
    )
    names = dict.fromkeys(one.name for one in limits)
    chosen = tuple(Variable(name, (False, True), (False, True)) for name in names)
    kept = (disj(*(Is(name, True) for name in sorted(clause))) for clause in clauses)
    return Machine(
        (*machine.variables, *chosen), machine.signals, rules, machine.requirements, conj(machine.start, *kept)
    )


def with_first(machine: Machine, first: Collection[str]) -> Machine:
    """The machine in which these Booleans, each of which rules make true, are true before anything else happens."""
    so = conj(*(Is(name, True) for name in sorted(first)))
    rules = tuple(
        rule
        if any(name in first for name, _ in rule.update)
        else Rule(rule.name, rule.actor, conj(so, rule.guard), rule.update)
        for rule in machine.rules
    )
    return Machine(machine.variables, machine.signals, rules, machine.requirements, machine.start)
