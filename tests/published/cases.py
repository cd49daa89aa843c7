"""Builders: arithmetic spelt out as one rule per case, because kernel updates are constants."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from itertools import product

from interlock.kernel.expressions import Expr, Is, Value, conj, disj, neg
from interlock.kernel.machine import Actor, Requirement, RequirementKind, Rule, Variable


def switch(name: str, on: bool = False) -> Variable:
    """A Boolean that starts off, or on where told."""
    return Variable(name, (False, True), (on,))


def up_to(name: str, most: int, start: int = 0) -> Variable:
    """A number from 0 to `most`."""
    return Variable(name, tuple(range(most + 1)), (start,))


def step(name: str, guard: Expr, update: Mapping[str, Value], actor: Actor = Actor.CREW) -> Rule:
    """One guarded command."""
    return Rule(name, actor, guard, tuple(update.items()))


def is_exactly(values: Mapping[str, Value]) -> Expr:
    """Each of these variables has its value."""
    return conj(*(Is(name, value) for name, value in values.items()))


def same_value(first: str, second: str, domain: Iterable[Value]) -> Expr:
    """The two variables, of this one domain, are equal."""
    return disj(*(conj(Is(first, value), Is(second, value)) for value in domain))


def by_case(
    name: str, variables: Sequence[Variable], change: Callable[..., Sequence[Value] | None], actor: Actor = Actor.CREW
) -> list[Rule]:
    """One rule per case of the variables in which `change` gives other values (in the same order) than it was given.

    `change` answers None where the step is not possible.  As many cases as the product of the domains.
    """
    names = [variable.name for variable in variables]
    rules = []
    for before in product(*(variable.domain for variable in variables)):
        after = change(*before)
        if after is not None and tuple(after) != before:
            label = ",".join(str(value) for value in before)
            moved = {n: new for n, old, new in zip(names, before, after, strict=True) if old != new}
            rules.append(step(f"{name}({label})", is_exactly(dict(zip(names, before, strict=True))), moved, actor))
    return rules


def can(name: str, condition: Expr) -> Requirement:
    """Some reachable state satisfies the condition."""
    return Requirement(name, RequirementKind.CAN, condition)


def never(name: str, condition: Expr) -> Requirement:
    """No reachable state satisfies the condition."""
    return Requirement(name, RequirementKind.NEVER, condition)


def always(name: str, situation: Expr, condition: Expr) -> Requirement:
    """Every reachable state in the situation satisfies the condition."""
    return Requirement(name, RequirementKind.ALWAYS, condition, situation)


def stuck(rules: Iterable[Rule]) -> Expr:
    """None of the rules may fire."""
    return conj(*(neg(rule.guard) for rule in rules))
