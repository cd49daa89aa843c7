"""k-induction: no target within k steps of the start, and none after k steps that avoid it from anywhere.

References (from memory)
  M. Sheeran, S. Singh, G. Stålmarck: Checking safety properties using induction and a SAT-solver. FMCAD 2000.
  N. Eén, N. Sörensson: Temporal induction by incremental SAT solving. BMC 2003.
"""

from __future__ import annotations

from collections.abc import Sequence

from interlock.diagnostics.said import say
from interlock.kernel.claims import (
    Certificate,
    Claim,
    Limits,
    Progress,
    ProgressCallback,
    Proved,
    Refuted,
    Unknown,
    silent,
)
from interlock.kernel.expressions import neg
from interlock.kernel.machine import Machine, Question
from interlock.kernel.why import Helps, Why
from interlock.prove.certificates.obligations import discharge
from interlock.prove.core.solvers import SatSolver, SolverFactory, deep_solver
from interlock.prove.engine import INTERRUPTED, NO_LIMITS, Clock, OutOfTime, clock_of, stop_reason
from interlock.prove.search.bmc import DEEPEST
from interlock.prove.search.unrolling import Unrolling

NAME = "k_induction"


def k_induction(
    machine: Machine,
    questions: Sequence[Question],
    limits: Limits = NO_LIMITS,
    report: ProgressCallback = silent,
    make_solver: SolverFactory = deep_solver,
) -> tuple[Claim, ...]:
    """Raises k, one question after the other, until the target is met (on a shortest run) or cannot follow.

    k goes up to `limits.depth`.  A certificate says only that the target is avoided, k-inductively; where runs had to
    be kept from visiting a state twice it says so.
    """
    clock = clock_of(limits)
    deepest = DEEPEST if limits.depth is None else limits.depth
    claims: list[Claim] = []
    reason = ""
    for place, question in enumerate(questions):
        clear = -1
        base, step = make_solver(), make_solver()
        try:
            if not reason:
                from_start = Unrolling(machine, base, [question.target], clock=clock)
                anywhere = InductionStep(machine, question, step, clock)
                for k in range(deepest + 1):
                    clock.check()
                    report(Progress(NAME, f"looking back over {k} steps", place, len(questions)))
                    if k:
                        from_start.advance()
                    target = from_start.at(from_start.targets[0], k)
                    if base.solve([target], clock):
                        trace = from_start.trace(base.model(), k)
                        claims.append(Refuted(question.id, NAME, trace, shortest=True))
                        break
                    base.add([-target])
                    clear = k
                    # Depths 0 .. k are clear, so runs of k + 1 states that avoid the target may be assumed.
                    if k < deepest and anywhere.is_inductive(k + 1):
                        certificate = Certificate((neg(question.target),), k + 1, anywhere.distinct)
                        discharge(machine, certificate, [question.target], clock)
                        claims.append(Proved(question.id, NAME, certificate))
                        break
        except OutOfTime:
            reason = stop_reason(limits, clock)
        except KeyboardInterrupt:
            reason = INTERRUPTED
        finally:
            base.close()
            step.close()
        if len(claims) <= place:
            claims.append(
                Unknown(
                    question.id,
                    NAME,
                    reason
                    or Why(say("what is so {steps} steps in a row does not prove it", steps=deepest), Helps.DEPTH),
                    clear,
                )
            )
    return tuple(claims)


class InductionStep:
    """Runs from any state at all that avoid the target until their last state."""

    def __init__(self, machine: Machine, question: Question, solver: SatSolver, clock: Clock) -> None:
        self.solver = solver
        self.clock = clock
        self.run = Unrolling(machine, solver, [question.target], initial=False, in_order=False, clock=clock)
        self._atoms = sorted(self.run.encoding.variable_of)
        self.distinct = False
        """Runs that visit a state twice have been excluded."""

    def is_inductive(self, k: int) -> bool:
        """After k states that avoid the target, the next does too."""
        run, solver = self.run, self.solver
        target = run.targets[0]
        solver.add([-run.at(target, k - 1)])
        run.advance()
        while solver.solve([run.at(target, k)], self.clock):
            states = run.trace(solver.model(), k).states
            first: dict[object, int] = {}
            twice = next(((first[s], at) for at, s in enumerate(states) if first.setdefault(s, at) != at), None)
            if twice is None:
                return False
            self.distinct = True
            self._part(*twice)
        return True

    def _part(self, early: int, late: int) -> None:
        """From now on the states at these two depths differ."""
        run = self.run
        differences = []
        for atom in self._atoms:
            here, there = run.at(atom, early), run.at(atom, late)
            differs = run.new()
            self.solver.add([-differs, here, there])
            self.solver.add([-differs, -here, -there])
            differences.append(differs)
        self.solver.add(differences)
