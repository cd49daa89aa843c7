"""Bounded search: is there a run of 0, 1, 2, ... steps that ends in the target?

References (from memory)
  A. Biere, A. Cimatti, E. Clarke, Y. Zhu: Symbolic model checking without BDDs. TACAS 1999.
  N. Eén, N. Sörensson: Temporal induction by incremental SAT solving. BMC 2003.
"""

from __future__ import annotations

from collections.abc import Sequence

from interlock.diagnostics.said import say
from interlock.kernel.claims import Claim, Limits, Progress, ProgressCallback, Refuted, Unknown, silent
from interlock.kernel.machine import Machine, Question
from interlock.kernel.why import Helps, Why
from interlock.prove.core.local import Cube
from interlock.prove.core.solvers import SolverFactory, deep_solver
from interlock.prove.engine import INTERRUPTED, NO_LIMITS, Clock, OutOfTime, clock_of, stop_reason
from interlock.prove.search.unrolling import Unrolling

NAME = "bmc"
DEEPEST = 200
"""How deep the search goes where no limit in steps is given; it would never end on a target out of reach."""


def bmc(
    machine: Machine,
    questions: Sequence[Question],
    limits: Limits = NO_LIMITS,
    report: ProgressCallback = silent,
    make_solver: SolverFactory = deep_solver,
) -> tuple[Claim, ...]:
    """Looks for the shortest run to each target, all targets in one unrolling, up to `limits.depth` steps.

    Refutations are shortest: every depth was refuted before the next was looked at.  It never proves; where the
    machine has no run of some length it says so in the reason, and nothing is left beyond the depth it names.
    """
    claims: dict[int, Claim] = {}
    look = BoundedSearch(machine, questions, DEEPEST if limits.depth is None else limits.depth, make_solver)
    clock = clock_of(limits)
    try:
        look.run(claims, clock, report)
    except OutOfTime:
        look.reason = stop_reason(limits, clock)
    except KeyboardInterrupt:
        look.reason = INTERRUPTED
    finally:
        look.solver.close()
    for at, question in enumerate(questions):
        if at not in claims:
            claims[at] = Unknown(question.id, NAME, look.reason, look.clear)
    return tuple(claims[at] for at in range(len(questions)))


class BoundedSearch:
    """A bounded search that can be cut short: `clear` is the depth up to which no open target is reachable.

    `never` are facts that no reachable state has together: with them, what cannot be is sooner seen not to be.
    """

    def __init__(
        self,
        machine: Machine,
        questions: Sequence[Question],
        deepest: int,
        make_solver: SolverFactory = deep_solver,
        never: Sequence[Cube] = (),
    ) -> None:
        self.machine = machine
        self.questions = questions
        self.deepest = deepest
        self.never = never
        self.solver = make_solver()
        self.clear = -1
        self.reason = Why(
            say("no run of up to {steps} steps reaches it, longer ones were not looked for", steps=deepest), Helps.DEPTH
        )
        self.is_exhausted = False
        """No run of the machine is longer than `clear` steps."""

    def run(self, claims: dict[int, Claim], clock: Clock, report: ProgressCallback) -> None:
        """Adds a refutation to `claims`, by place, for every target met.  Raises OutOfTime."""
        questions, solver = self.questions, self.solver
        run = Unrolling(
            self.machine, solver, [question.target for question in questions], clock=clock, never=self.never
        )
        still_open = {at: target for at, target in enumerate(run.targets) if at not in claims}
        for depth in range(self.deepest + 1):
            clock.check()
            if depth:
                run.advance()
            report(Progress(NAME, f"{len(still_open)} requirements open", depth, self.deepest))
            while still_open:
                literals = [run.at(target, depth) for target in still_open.values()]
                if len(literals) > 1:
                    # One question for all: "some target at this depth" under a fresh name.
                    some = run.new()
                    solver.add([-some, *literals])
                    literals = [some]
                if not solver.solve(literals, clock):
                    break
                model = solver.model()
                for at, target in list(still_open.items()):
                    if run.is_true(target, model, depth):
                        claims[at] = Refuted(questions[at].id, NAME, run.trace(model, depth), shortest=True)
                        del still_open[at]
            self.clear = depth
            if not still_open:
                return
            for target in still_open.values():
                solver.add([-run.at(target, depth)])
            if depth and not solver.solve((), clock):
                self.reason = Why(
                    say("no run has more than {steps} steps, and none reaches it", steps=depth - 1), Helps.METHOD
                )
                self.is_exhausted = True
                return
