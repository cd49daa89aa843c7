"""Property-directed reachability with rule-local queries.

Frames F_0 (the initial states), F_1, ... over-approximate what is reachable in so many steps; a state from which a
target follows is blocked by a clause, generalised, that holds one step after the frame before.  When two neighbouring
frames agree they are an inductive invariant.  All questions share the frames: a clause learnt for one serves all.

References (from memory)
  A. R. Bradley: SAT-based model checking without unrolling. VMCAI 2011.
  N. Eén, A. Mishchenko, R. Brayton: Efficient implementation of property directed reachability. FMCAD 2011.
  A. R. Bradley, Z. Manna: Checking safety by inductive generalization of counterexamples to induction. FMCAD 2007.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

from interlock.kernel.claims import (
    Certificate,
    Claim,
    Limits,
    Progress,
    ProgressCallback,
    Proved,
    Refuted,
    Trace,
    Unknown,
    silent,
)
from interlock.kernel.expressions import Expr
from interlock.kernel.machine import Machine, Question
from interlock.prove.certificates.minimising import minimise
from interlock.prove.certificates.obligations import discharge
from interlock.prove.certificates.trimming import trim
from interlock.prove.core.local import Cube, LocalRules
from interlock.prove.core.solvers import SolverFactory, light_solver
from interlock.prove.engine import INTERRUPTED, NO_LIMITS, Clock, OutOfTime, clock_of, looked_ahead, stop_reason
from interlock.prove.frames.frames import Frames

NAME = "pdr"


def pdr(
    machine: Machine,
    questions: Sequence[Question],
    limits: Limits = NO_LIMITS,
    report: ProgressCallback = silent,
    make_solver: SolverFactory = light_solver,
) -> tuple[Claim, ...]:
    """Decides every question, given time; proofs share one inductive invariant, traces need not be shortest.

    `limits.depth` bounds the number of frames.
    """
    clock = clock_of(limits)
    claims: dict[int, Claim] = {}
    frames: Frames | None = None
    reason = ""
    try:
        frames = Frames(LocalRules(machine, clock), [question.target for question in questions], clock, make_solver)
        pursue(frames, questions, claims, limits.depth, report)
        reason = looked_ahead(frames.top, limits.depth)
    except OutOfTime:
        reason = stop_reason(limits, clock)
    except KeyboardInterrupt:
        reason = INTERRUPTED
    finally:
        if frames is not None:
            frames.solver.close()
    clear = -1 if frames is None else frames.clear
    for at, question in enumerate(questions):
        if at not in claims:
            claims[at] = Unknown(question.id, NAME, reason, clear)
    return tuple(claims[at] for at in range(len(questions)))


def pursue(
    frames: Frames,
    questions: Sequence[Question],
    claims: dict[int, Claim],
    deepest: int | None,
    report: ProgressCallback,
    met: Callable[[Trace], None] | None = None,
) -> None:
    """Adds a claim to `claims`, by place, for each question it decides; the frames were made for these questions.

    `met` is given each run that is found, and may add claims of its own.  Raises OutOfTime.
    """
    asked = [at for at in range(len(questions)) if at not in claims]
    for at, trace in frames.run(asked, deepest, report, claims):
        claims[at] = Refuted(questions[at].id, NAME, trace, shortest=trace.depth == 0)
        if met is not None:
            met(trace)
    still_open = [at for at in range(len(questions)) if at not in claims]
    if frames.invariant is None or not still_open:
        return
    report(Progress(NAME, "checking what was found"))
    certificate = certify(frames.rules, frames.invariant, [questions[at].target for at in still_open], frames.clock)
    for at in still_open:
        claims[at] = Proved(questions[at].id, NAME, certificate)


def reach(
    rules: LocalRules, target: Expr, clock: Clock, make_solver: SolverFactory, lemmas: Sequence[Cube] = ()
) -> Trace | Sequence[Cube]:
    """A run to the target or, where there is none, the invariant that says so; `lemmas` are inductive together."""
    frames = Frames(rules, [target], clock, make_solver, lemmas)
    try:
        for _, trace in frames.run([0], None, silent):
            return trace
    finally:
        frames.solver.close()
    if frames.invariant is None:
        raise AssertionError("reachability ended without an answer")
    return frames.invariant


def certify(
    rules: LocalRules, cubes: Sequence[Cube], targets: Sequence[Expr], clock: Clock, hastily: bool = False
) -> Certificate:
    """The certificate that says what of the cubes these targets need, once z3 has agreed; hastily: and a little more.

    Raises OutOfTime, and UnsoundCertificate or AssertionError where the cubes are not what they should be.
    """
    literals = [rules.encoding.gate(target) for target in targets]
    needed = (trim if hastily else minimise)(rules, cubes, literals, clock, light_solver)
    certificate = Certificate(tuple(rules.clause(cube) for cube in needed))
    discharge(rules.machine, certificate, targets, clock)
    return certificate
