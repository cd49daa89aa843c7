"""The reference evaluator: what an expression, a rule and a step mean, as plainly as it can be said.

Nothing here is fast.  Engines may do it faster; `confirm` and the tests hold them to this.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from itertools import product
from typing import TypeAlias

from interlock.kernel.expressions import And, Const, Expr, Is, Not, Ref, Value
from interlock.kernel.machine import Machine, Rule, is_among

State: TypeAlias = tuple[Value, ...]
"""One value per variable, in the order of `Machine.variables`."""


def evaluate(machine: Machine, expr: Expr, state: State) -> bool:
    """The truth of the expression in the state."""
    return truths_in(machine, state)(expr)


def truths_in(machine: Machine, state: State) -> Callable[[Expr], bool]:
    """The truths of expressions in one state; each signal is worked out once for all of them."""
    known: dict[str, bool] = {}
    positions, definitions = machine.positions, machine.definitions

    def truth(expr: Expr) -> bool:
        # no recursion, so that nesting has no limit; and not by `fold`, because states are judged by the million
        node = expr
        above: list[tuple[Iterator[Expr] | str, bool, bool]] = []
        while True:
            plain = True
            while isinstance(node, Not):
                node, plain = node.arg, not plain
            if isinstance(node, Is):
                value = (state[positions[node.variable]] == node.value) is plain
            elif isinstance(node, Const):
                value = node.value is plain
            elif isinstance(node, Ref):
                if node.signal not in known:
                    above.append((node.signal, False, plain))
                    node = definitions[node.signal]
                    continue
                value = known[node.signal] is plain
            else:
                value = isinstance(node, And)
                above.append((iter(node.args), not value, plain))
            while above:
                args, deciding, plain = above[-1]
                if isinstance(args, str):
                    known[args] = value
                elif value is not deciding and (arg := next(args, None)) is not None:
                    node = arg
                    break
                above.pop()
                value = value is plain
            else:
                return value

    return truth


def is_initial(machine: Machine, state: State) -> bool:
    """The state is one in which the machine may start."""
    fits = all(is_among(value, variable.init) for variable, value in zip(machine.variables, state, strict=True))
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
