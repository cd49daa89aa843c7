"""The reference evaluator: what an expression, a rule and a step mean, as plainly as it can be said.

Nothing here is fast.  Engines may do it faster; `confirm` and the tests hold them to this.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from itertools import product
from typing import TypeAlias

from interlock.kernel.expressions import Const, Expr, Is, Not, Or, Ref, Value
from interlock.kernel.machine import Machine, Rule

State: TypeAlias = tuple[Value, ...]
"""One value per variable, in the order of `Machine.variables`."""


def evaluate(machine: Machine, expr: Expr, state: State) -> bool:
    """The truth of the expression in the state."""
    return truths_in(machine, state)(expr)


def truths_in(machine: Machine, state: State) -> Callable[[Expr], bool]:
    """The truths of expressions in one state; each signal is worked out once for all of them."""
    known: dict[str, bool] = {}
    positions, definitions = machine.positions, machine.definitions

    def truth(node: Expr) -> bool:
        if isinstance(node, Is):
            return state[positions[node.variable]] == node.value
        if isinstance(node, Ref):
            if node.signal not in known:
                known[node.signal] = truth(definitions[node.signal])
            return known[node.signal]
        if isinstance(node, Not):
            return not truth(node.arg)
        if isinstance(node, Const):
            return node.value
        # a loop takes half the time of any() and all() over a generator
        deciding = isinstance(node, Or)
        for arg in node.args:
            if truth(arg) is deciding:
                return deciding
        return not deciding

    return truth


def is_initial(machine: Machine, state: State) -> bool:
    """The state is one in which the machine may start."""
    fits = all(value in variable.init for variable, value in zip(machine.variables, state, strict=True))
    return fits and evaluate(machine, machine.start, state)


def initial_states(machine: Machine) -> Iterator[State]:
    """Every initial state, in the order of the domains.  As many as the product of the `init` sets."""
    for values in product(*(variable.init for variable in machine.variables)):
        if evaluate(machine, machine.start, values):
            yield values


def is_enabled(machine: Machine, rule: Rule, state: State) -> bool:
    """The rule may fire in the state."""
    return evaluate(machine, rule.guard, state)


def fire(machine: Machine, rule: Rule, state: State) -> State:
    """The state after the rule's assignments; the guard is not asked."""
    after = list(state)
    for name, value in rule.update:
        after[machine.positions[name]] = value
    return tuple(after)


def successors(machine: Machine, state: State) -> Iterator[tuple[Rule, State]]:
    """Every step from the state, in the order of the rules; a step may lead back to the state."""
    true = truths_in(machine, state)
    for rule in machine.rules:
        if true(rule.guard):
            yield rule, fire(machine, rule, state)


def as_mapping(machine: Machine, state: State) -> dict[str, Value]:
    """The state by variable name."""
    return {variable.name: value for variable, value in zip(machine.variables, state, strict=True)}
