"""Turns claims into findings: nothing that an engine says is passed on unchecked."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from time import monotonic
from typing import TypeAlias

from interlock.confirm.closed import faults_of
from interlock.confirm.enumeration import enumerate_reachable
from interlock.confirm.recheck import Recheck, recheck
from interlock.confirm.replay import Replays
from interlock.confirm.smtlib import GivenUp, Obligation, safe_obligation, start_obligation, step_obligation
from interlock.kernel.claims import (
    Certificate,
    Claim,
    Diagram,
    Disputed,
    Fails,
    Finding,
    Holds,
    Progress,
    ProgressCallback,
    Proved,
    Refuted,
    Undecided,
    Unknown,
    silent,
)
from interlock.kernel.expressions import And, Expr, parts_of
from interlock.kernel.machine import IllFormedMachine, Machine, Question
from interlock.kernel.shapes import fault_of_shape
from interlock.kernel.why import not_rechecked

MOST_WALKED = 20_000
"""So many states are counted a second time by the reference evaluator; more are counted as numbers."""
MOST_RECOUNTED = 40_000_000
"""The most states that a claim without a certificate may count: the second count would need too much memory."""
MOST_PARTS = 1_000_000
"""The most facts and connectives that evidence may have; parts may be shared, so few objects can be many parts."""


def confirm(
    machine: Machine,
    questions: Sequence[Question],
    claims: Sequence[Claim],
    seconds: float | None = None,
    report: ProgressCallback = silent,
) -> tuple[Finding, ...]:
    """One finding per question, in their order; `claims[i]` must answer `questions[i]`.

    Holds only when a second solver agreed with every obligation of the certificate, or every rule was seen to stay
    within the diagram, or a second count of all states agreed with the count; Fails only when the trace was replayed.
    Evidence that is wrong or ill-formed is Disputed; evidence that could not be checked within `seconds` in all is
    Undecided.  Whether a trace is the shortest is not looked into (see `check_shortest`), nor the depth that an
    undecided claim names: both stay the engine's word.
    Raises ValueError when the questions do not fit the machine or the claims in number.
    """
    if len(questions) != len(claims):
        raise ValueError(f"{len(claims)} claims for {len(questions)} questions")
    if misfit := fault_of_fit(machine, [question.target for question in questions]):
        raise ValueError(misfit)
    deadline = None if seconds is None else monotonic() + seconds
    findings: dict[int, Finding] = {}
    # Certificates are told apart by identity: equal ones in two objects are merely checked twice.
    shared: dict[int, tuple[Certificate, list[tuple[int, Proved]]]] = {}
    drawn: dict[int, tuple[Diagram, list[tuple[int, Proved]]]] = {}
    counted: list[tuple[int, Proved]] = []
    replays = Replays(machine)
    seen: set[tuple[int, int]] = set()
    for at, (question, claim) in enumerate(zip(questions, claims, strict=True)):
        if fault := fault_of_shape(claim, Claim, seen):
            findings[at] = ill_formed(question.id, fault)
        elif claim.question != question.id:
            findings[at] = Disputed(question.id, claim, f"the claim answers question {claim.question!r}")
        elif isinstance(claim, Unknown):
            findings[at] = Undecided(question.id, claim.reason, claim.depth)
        elif isinstance(claim, Refuted):
            faults = replays.faults(question.target, claim.trace)
            findings[at] = Disputed(question.id, claim, "; ".join(faults)) if faults else Fails(question.id, claim)
        elif claim.certificate is not None:
            shared.setdefault(id(claim.certificate), (claim.certificate, []))[1].append((at, claim))
        elif claim.diagram is not None:
            drawn.setdefault(id(claim.diagram), (claim.diagram, []))[1].append((at, claim))
        else:
            counted.append((at, claim))
    for done, (certificate, places) in enumerate(shared.values()):
        report(Progress("confirm", "re-checking a certificate with a second solver", done, len(shared)))
        asked = [questions[at] for at, _ in places]
        for (at, claim), verdict in zip(
            places, recheck_certificate(machine, certificate, asked, deadline), strict=True
        ):
            findings[at] = _finding(claim, verdict)
    for diagram, places in drawn.values():
        report(Progress("confirm", "following every rule through a set of states"))
        checked = recheck_diagram(machine, diagram, [questions[at].target for at, _ in places], deadline)
        findings.update({at: _finding(claim, verdict) for (at, claim), verdict in zip(places, checked, strict=True)})
    if counted:
        report(Progress("confirm", "counting the reachable states a second time"))
        targets = [questions[at].target for at, _ in counted]
        verdicts = _recount(machine, targets, [claim.states for _, claim in counted], deadline)
        for (at, claim), verdict in zip(counted, verdicts, strict=True):
            findings[at] = _finding(claim, verdict)
    return tuple(findings[at] for at in range(len(questions)))


@dataclass(frozen=True, slots=True)
class Agreed:
    """The evidence bears the claim out, says `by`."""

    by: str


@dataclass(frozen=True, slots=True)
class Broken:
    """The evidence does not bear the claim out."""

    what: str


@dataclass(frozen=True, slots=True)
class Unchecked:
    """The evidence could not be checked."""

    why: str


Verdict: TypeAlias = Agreed | Broken | Unchecked


def ill_formed(question: str, fault: str) -> Disputed:
    """What is found where a claim is not made as declared; it is not passed on, as nobody could rely on its parts."""
    what = f"the claim is ill-formed: {fault}"
    return Disputed(question, Unknown(question, "unknown", what), what)


def _finding(claim: Proved, verdict: Verdict) -> Finding:
    if isinstance(verdict, Agreed):
        return Holds(claim.question, claim, verdict.by)
    if isinstance(verdict, Broken):
        return Disputed(claim.question, claim, verdict.what)
    return Undecided(claim.question, not_rechecked(claim.engine, verdict.why))


def recheck_certificate(
    machine: Machine, certificate: Certificate, questions: Sequence[Question], deadline: float | None
) -> list[Verdict]:
    """One verdict per question; (start) and (step) speak for all of them and are asked once."""
    try:
        measure(certificate.clauses)
        misfit = fault_of_fit(machine, certificate.clauses)
        if misfit or certificate.k < 1:
            return [Broken(f"the certificate is ill-formed: {misfit or f'k = {certificate.k}'}")] * len(questions)
        for write in (start_obligation, step_obligation):
            obligation = write(machine, certificate, deadline)
            checked = recheck(obligation, deadline)
            verdict = verdict_on(obligation, range(len(obligation.queries)), checked)
            if not isinstance(verdict, Agreed):
                return [verdict] * len(questions)
        obligation = safe_obligation(machine, certificate, questions, deadline)
    except GivenUp as why:
        return [Unchecked(str(why))] * len(questions)
    checked = recheck(obligation, deadline)
    return [verdict_on(obligation, [place], checked) for place in range(len(questions))]


def recheck_diagram(
    machine: Machine, diagram: Diagram, targets: Sequence[Expr], deadline: float | None
) -> list[Verdict]:
    """One verdict per target: has the set every initial state and none of the target, and does no rule leave it?"""
    try:
        faults = faults_of(machine, diagram, targets, deadline)
    except GivenUp as why:
        return [Unchecked(str(why))] * len(targets)
    return [Broken(fault) if fault else Agreed(f"each rule followed at {len(diagram.nodes)} nodes") for fault in faults]


def verdict_on(obligation: Obligation, places: Iterable[int], checked: Recheck) -> Verdict:
    """What the answers to these queries say together: one `sat` breaks, else one `unknown` leaves it open."""
    asked = [(obligation.queries[place], checked.answers[place]) for place in places]
    broken = [query for query, answer in asked if answer == "sat"]
    if broken:
        more = f" (and {len(broken) - 1} more)" if len(broken) > 1 else ""
        return Broken(f"({obligation.name}) {broken[0]}{more}, says {checked.solver}")
    for query, answer in asked:
        if answer != "unsat":
            return Unchecked(f"({obligation.name}) whether {query}: {answer}")
    return Agreed(checked.solver)


def _recount(
    machine: Machine, targets: Sequence[Expr], claimed: Sequence[int | None], deadline: float | None
) -> list[Verdict]:
    """One verdict per target: does a walk over all states see as many as claimed, and none in the target?"""
    most = max((count for count in claimed if count is not None and count <= MOST_RECOUNTED), default=None)
    walk, how = None, "one state at a time"
    if most is not None and most <= MOST_WALKED:
        walk = enumerate_reachable(machine, targets, most, deadline=deadline)
    elif most is not None:
        from interlock.confirm.numbering import count_by_numbers  # here, because numpy takes long to load

        walk, how = count_by_numbers(machine, targets, most, deadline), "by numbered states"
    verdicts: list[Verdict] = []
    for at, count in enumerate(claimed):
        if count is None:
            verdicts.append(Unchecked("neither a certificate nor a number of states is given"))
        elif walk is None or count > MOST_RECOUNTED:
            verdicts.append(
                Unchecked(f"{count} states are more than the {MOST_RECOUNTED} that a second count takes on")
            )
        elif (depth := walk.first[at]) is not None:
            verdicts.append(Broken(f"a second count reaches the target in {depth} steps"))
        elif walk.states > count or (walk.complete and walk.states != count):
            least = "" if walk.complete else "at least "
            verdicts.append(Broken(f"a second count finds {least}{walk.states} states, not {count}"))
        elif walk.complete:
            verdicts.append(Agreed(f"second count {how}, {count} states"))
        else:
            verdicts.append(Unchecked(f"second count ended early: {walk.stopped}"))
    return verdicts


def measure(exprs: Iterable[Expr]) -> None:
    """Raises GivenUp where the expressions, written out, have more than MOST_PARTS parts."""
    waiting = list(exprs)
    left = MOST_PARTS
    while waiting:
        left -= 1
        if left < 0:
            raise GivenUp(f"what it says has more than {MOST_PARTS:,} parts")
        waiting += parts_of(waiting.pop())


def fault_of_fit(machine: Machine, exprs: Sequence[Expr]) -> str:
    """What keeps the expressions from being about the machine; empty when they fit."""
    try:
        Machine(machine.variables, machine.signals, (), start=And(tuple(exprs)))
    except IllFormedMachine as error:
        return str(error)
    return ""
