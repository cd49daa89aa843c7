"""Dead ends: among few states by looking at all of them, else as regions that no rule leads out of."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from interlock.kernel.claims import Limits, Trace
from interlock.kernel.evaluator import evaluate, fire, is_enabled
from interlock.kernel.expressions import Expr
from interlock.kernel.machine import Actor, Machine
from interlock.prove.core.encoding import TRUTH
from interlock.prove.core.local import Cube, LocalRules
from interlock.prove.core.packing import compile_enabled, compile_hits
from interlock.prove.core.solvers import add_all, light_solver
from interlock.prove.engine import Clock
from interlock.prove.frames.frames import Frames
from interlock.prove.search.best_first import without_spare
from interlock.prove.search.explicit import BreadthFirstSearch

FEW = 1_000_000
"""How many times a guard may be looked at: states times rules."""
SURELY = 1_000
"""After so many states it is given up where the next level would be one too many, growing as the last one did."""


def nearest_dead_end(machine: Machine, goal: Expr, limits: Limits, clock: Clock, few: int = FEW) -> Trace | None:
    """A shortest run to a reachable state from which no run without failures leads to the goal.

    None where there is no such state, and where there are too many states to look at.
    """
    most = few // (len(machine.rules) + 20)
    if limits.states is not None:
        most = min(most, limits.states)
    bounds = replace(limits, depth=None, seconds=clock.seconds_left(), states=most)
    search = BreadthFirstSearch(machine, bounds, counting=False)
    reached: list[int] = []
    last = 1
    for level in search.levels():
        reached += level
        if len(reached) > SURELY and len(reached) + len(level) * len(level) // last > most:
            return None
        last = len(level)
    if search.stopped:
        return None
    enabled = compile_enabled(search.packing)
    writes = [None if rule.actor is Actor.FAILURE else search.packing.writes(rule) for rule in machine.rules]
    before: dict[int, list[int]] = {state: [] for state in reached}
    for state in reached:
        for rule in enabled(state):
            effect = writes[rule]
            if effect is not None:
                before[state & effect[0] | effect[1]].append(state)
    hits = compile_hits(search.packing, {0: goal})
    good = [state for state in reached if hits([state])]
    seen = set(good)
    while good:
        for state in before[good.pop()]:
            if state not in seen:
                seen.add(state)
                good.append(state)
    for state in reached:
        if state not in seen:
            return search.trace(state)
    return None


def without_detours(machine: Machine, trace: Trace, target: Expr) -> Trace:
    """The run into the target without the steps that it can do without."""

    def run(names: Sequence[str]) -> Trace | None:
        states = [trace.states[0]]
        for name in names:
            if evaluate(machine, target, states[-1]):
                break
            rule = machine.rule(name)
            if not is_enabled(machine, rule, states[-1]):
                return None
            states.append(fire(machine, rule, states[-1]))
        return Trace(tuple(names[: len(states) - 1]), tuple(states)) if evaluate(machine, target, states[-1]) else None

    return run(without_spare(trace.rules, lambda names: run(names) is not None)) or trace


def closed_region(rules: LocalRules, goal: Expr, lemmas: Sequence[Cube], clock: Clock) -> Cube | None:
    """A cube around the goal that no run enters, as far as that is soon found; `lemmas` hold and are inductive.

    Around all that follows from the goal of single variables: what a rule makes so of that when it enters is given up,
    and so on, until no rule enters or an initial state is inside.  None in the latter case, and where nothing follows.
    """
    frames = Frames(rules, [], clock, light_solver, lemmas)
    try:
        return frames.never_entered(_followed_by(rules, goal, lemmas, clock), ())
    finally:
        frames.solver.close()


def _followed_by(rules: LocalRules, goal: Expr, lemmas: Sequence[Cube], clock: Clock) -> Cube:
    """The facts about single variables, denials among them, that are so wherever the goal is."""
    encoding = rules.encoding
    asked = encoding.gate(goal)
    solver = light_solver()
    add_all(solver, encoding.clauses)
    add_all(solver, [[-literal for literal in cube] for cube in lemmas])
    add_all(solver, [[asked], [TRUTH, encoding.top]])
    try:
        if not solver.solve((), clock):
            return ()
        model = solver.model()
        left = {model[atom - 1] for atom in encoding.facts if atom > TRUTH}
        while left:
            some = encoding.top + 1 + len(left)  # a switch of its own: the set only shrinks
            solver.add([-some, *(-literal for literal in sorted(left, key=abs))])
            if not solver.solve([some], clock):
                break
            model = solver.model()
            left = {literal for literal in left if model[abs(literal) - 1] == literal}
            solver.add([-some])
        return tuple(sorted(left))
    finally:
        solver.close()
