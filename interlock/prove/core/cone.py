"""The part of a machine on which goals depend.

What only other variables would tell can neither be seen by a guard nor by a goal; memories of what went before, which
requirements of other kinds need, are most of it.
"""

from __future__ import annotations

from collections.abc import Sequence

from interlock.kernel.claims import Trace
from interlock.kernel.evaluator import State, fire
from interlock.kernel.expressions import Expr, signals_of
from interlock.kernel.machine import Machine, Rule, support_of


def cone_of(machine: Machine, goals: Sequence[Expr]) -> Machine:
    """The variables that goals or the start speak of, or guards of rules that write such; the rules that write them.

    Its runs are the runs of the machine, seen through these variables, without the steps that change none of them.
    What is inductive of it, closed in it or a way to the goal in it is so of the machine.
    """
    supports = [support_of(machine, rule.guard) for rule in machine.rules]
    relevant = set(support_of(machine, machine.start)).union(*(support_of(machine, goal) for goal in goals))
    writers: dict[str, list[int]] = {}
    for at, rule in enumerate(machine.rules):
        for name, _ in rule.update:
            writers.setdefault(name, []).append(at)
    kept: set[int] = set()
    pending = sorted(relevant)
    while pending:
        for at in writers.get(pending.pop(), ()):
            if at not in kept:
                kept.add(at)
                fresh = supports[at] - relevant
                relevant |= fresh
                pending += sorted(fresh)
    rules = []
    for at in sorted(kept):
        rule = machine.rules[at]
        rules.append(Rule(rule.name, rule.actor, rule.guard, tuple(one for one in rule.update if one[0] in relevant)))
    variables = tuple(variable for variable in machine.variables if variable.name in relevant)
    named = signals_behind(machine, [machine.start, *goals, *(rule.guard for rule in rules)])
    signals = tuple(signal for signal in machine.signals if signal.name in named)
    return Machine(variables, signals, tuple(rules), (), machine.start)


def signals_behind(machine: Machine, exprs: Sequence[Expr]) -> set[str]:
    """The signals that the expressions name, and those that these name in turn."""
    found: set[str] = set()
    pending = [name for expr in exprs for name in signals_of(expr)]
    while pending:
        name = pending.pop()
        if name not in found:
            found.add(name)
            pending += signals_of(machine.definitions[name])
    return found


def lifted(machine: Machine, part: Machine, trace: Trace) -> Trace:
    """The run of the machine of which this is what its part (`cone_of`) shows."""
    shown = dict(zip((v.name for v in part.variables), trace.states[0], strict=True))
    states: list[State] = [tuple(shown.get(v.name, v.init[0]) for v in machine.variables)]
    for name in trace.rules:
        states.append(fire(machine, machine.rule(name), states[-1]))
    return Trace(trace.rules, tuple(states))
