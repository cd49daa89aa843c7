"""Dead ends among few states: look at all of them, and go backwards from the goal."""

from __future__ import annotations

from dataclasses import replace

from interlock.kernel.claims import Limits, Trace
from interlock.kernel.expressions import Expr
from interlock.kernel.machine import Actor, Machine
from interlock.prove.compiled import compile_enabled, compile_hits
from interlock.prove.engine import Clock
from interlock.prove.explicit import Walk

FEW = 1_000_000
"""How many times a guard may be looked at: states times rules."""


def nearest_dead_end(machine: Machine, goal: Expr, limits: Limits, clock: Clock, few: int = FEW) -> Trace | None:
    """A shortest run to a reachable state from which no run without failures leads to the goal.

    None where there is no such state, and where there are too many states to look at.
    """
    most = few // (len(machine.rules) + 20)
    if limits.states is not None:
        most = min(most, limits.states)
    bounds = replace(limits, depth=None, seconds=clock.seconds_left(), states=most)
    walk = Walk(machine, bounds, counting=False)
    reached = [state for level in walk.levels() for state in level]
    if walk.stopped:
        return None
    enabled = compile_enabled(walk.packing)
    writes = [None if rule.actor is Actor.FAILURE else walk.packing.writes(rule) for rule in machine.rules]
    before: dict[int, list[int]] = {state: [] for state in reached}
    for state in reached:
        for rule in enabled(state):
            effect = writes[rule]
            if effect is not None:
                before[state & effect[0] | effect[1]].append(state)
    hits = compile_hits(walk.packing, {0: goal})
    good = [state for state in reached if hits([state])]
    seen = set(good)
    while good:
        for state in before[good.pop()]:
            if state not in seen:
                seen.add(state)
                good.append(state)
    for state in reached:
        if state not in seen:
            return walk.trace(state)
    return None
