"""Some initial states, for what only needs a few."""

from __future__ import annotations

import random
from itertools import islice
from math import prod

from interlock.kernel.evaluator import State, initial_states
from interlock.kernel.expressions import TRUE
from interlock.prove.core.local import LocalRules
from interlock.prove.core.solvers import SolverFactory, add_all
from interlock.prove.engine import Clock

SEED = 7


def some_initial_states(rules: LocalRules, most: int, clock: Clock, make_solver: SolverFactory) -> list[State]:
    """Up to `most` initial states, all different, each time the same; none only where there is none at all."""
    machine = rules.machine
    if prod(len(variable.init) for variable in machine.variables) <= 16 * most:
        return list(islice(initial_states(machine), most))
    draw = random.Random(SEED)  # noqa: S311  (repeatable on purpose)
    if machine.start == TRUE:
        drawn = (tuple(draw.choice(variable.init) for variable in machine.variables) for _ in range(most))
        return list(dict.fromkeys(drawn))
    solver = make_solver()
    encoding = rules.encoding
    add_all(solver, encoding.initial_clauses())
    add_all(solver, encoding.clauses)
    solver.add([1, encoding.top])
    found: list[State] = []
    try:
        while len(found) < most and solver.solve((), clock):
            state = encoding.decode(solver.model())
            found.append(state)
            facts = zip(machine.variables, state, strict=True)
            solver.add([-encoding.literals[variable.name, value] for variable, value in facts])
    finally:
        solver.close()
    return found
