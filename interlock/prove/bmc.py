"""Bounded search: is there a run of 0, 1, 2, ... steps that ends in the target?

References (from memory)
  A. Biere, A. Cimatti, E. Clarke, Y. Zhu: Symbolic model checking without BDDs. TACAS 1999.
  N. Eén, N. Sörensson: Temporal induction by incremental SAT solving. BMC 2003.
"""

from __future__ import annotations

from collections.abc import Sequence

from interlock.kernel.claims import Claim, Limits, Progress, Refuted, Report, Unknown, silent
from interlock.kernel.machine import Machine, Question
from interlock.prove.engine import NO_LIMITS, OutOfTime, clock_of, time_reason
from interlock.prove.solvers import SolverFactory, deep_solver
from interlock.prove.unrolling import Unrolling

NAME = "bmc"
DEEPEST = 200
"""How deep the search goes where no limit in steps is given; it would never end on a target out of reach."""


def bmc(
    machine: Machine, questions: Sequence[Question], limits: Limits = NO_LIMITS, report: Report = silent
) -> tuple[Claim, ...]:
    """Looks for the shortest run to each target, all targets in one unrolling, up to `limits.depth` steps.

    Refutations are shortest: every depth was refuted before the next was looked at.  It never proves; where the
    machine has no run of some length it says so in the reason, and nothing is left beyond the depth it names.
    """
    return search(machine, questions, limits, report)


def search(
    machine: Machine,
    questions: Sequence[Question],
    limits: Limits = NO_LIMITS,
    report: Report = silent,
    make_solver: SolverFactory = deep_solver,
) -> tuple[Claim, ...]:
    """`bmc` on a solver of choice."""
    claims: dict[int, Claim] = {}
    clock = clock_of(limits)
    deepest = DEEPEST if limits.depth is None else limits.depth
    refuted = -1
    reason = f"no run of up to {deepest} steps reaches it"
    solver = make_solver()
    try:
        spare = len(questions) + deepest + 1
        run = Unrolling(machine, solver, [question.target for question in questions], spare)
        still_open = dict(enumerate(run.targets))
        asked = 0
        for depth in range(deepest + 1):
            clock.check()
            if depth:
                run.advance()
            report(Progress(NAME, f"{len(still_open)} questions open", depth, limits.depth))
            while still_open:
                literals = [run.at(target, depth) for target in still_open.values()]
                if len(literals) > 1:
                    # One question for all: "some target at this depth" under a fresh name.
                    asked += 1
                    solver.add([-asked, *literals])
                    literals = [asked]
                if not solver.solve(literals, clock):
                    break
                model = solver.model()
                for at, target in list(still_open.items()):
                    if run.is_true(target, model, depth):
                        claims[at] = Refuted(questions[at].id, NAME, run.trace(model, depth), shortest=True)
                        del still_open[at]
            refuted = depth
            if not still_open:
                break
            for target in still_open.values():
                solver.add([-run.at(target, depth)])
            if depth and not solver.solve((), clock):
                reason = f"no run has more than {depth - 1} steps, and none reaches it"
                break
    except OutOfTime:
        reason = time_reason(limits)
    except KeyboardInterrupt:
        reason = "interrupted"
    finally:
        solver.close()
    for at, question in enumerate(questions):
        if at not in claims:
            claims[at] = Unknown(question.id, NAME, reason, refuted)
    return tuple(claims[at] for at in range(len(questions)))
