"""What never changes, replaced by its value."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from interlock.kernel.expressions import FALSE, Value, assign
from interlock.kernel.machine import Machine


def without(machine: Machine, values: Mapping[str, Value]) -> Machine:
    """The machine without these variables, which no rule writes: each has its value for good.

    Rules that could then never fire are left out, requirements too.  Raises IllFormedMachine where one is written.
    """
    variables = tuple(variable for variable in machine.variables if variable.name not in values)
    signals = tuple(replace(one, definition=assign(one.definition, values)) for one in machine.signals)
    rules = (replace(rule, guard=assign(rule.guard, values)) for rule in machine.rules)
    possible = tuple(rule for rule in rules if rule.guard != FALSE)
    return Machine(variables, signals, possible, (), assign(machine.start, values))
