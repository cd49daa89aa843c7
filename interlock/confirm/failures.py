"""Checks claims about sets of failures: replays each run, has a second solver agree with each reason, and then works
out afresh, from these reasons alone, which sets they leave (see `kernel.failures`).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from time import monotonic

from interlock.confirm.confirm import Agreed, Broken, Unchecked, Verdict, fault_of_fit, measure, verdict_on
from interlock.confirm.recheck import recheck
from interlock.confirm.replay import Replays
from interlock.confirm.smtlib import GivenUp, Obligation, Scribe, all_of, any_of, obligation_of, query, quoted
from interlock.kernel.beside import Beside
from interlock.kernel.claims import Certificate
from interlock.kernel.expressions import assign, signals_of
from interlock.kernel.failures import (
    DisputedSets,
    Kept,
    KnownSets,
    Reason,
    Sets,
    SetsFinding,
    SmallestSets,
    Tolerance,
    failures_of,
    lost_clauses,
    number_of_sets,
    struck_by,
    without_reason,
)
from interlock.kernel.machine import Machine, Question
from interlock.kernel.shapes import fault_of_shape

MOST_SETS = 5_000_000
"""More sets are not gone through."""


def confirm_sets(
    machine: Machine, questions: Sequence[Question], claims: Sequence[SmallestSets], seconds: float | None = None
) -> tuple[SetsFinding, ...]:
    """One finding per question, in their order; `claims[i]` must answer `questions[i]`.

    Raises ValueError when they do not fit in number, and NotFailures.
    """
    if len(questions) != len(claims):
        raise ValueError(f"{len(claims)} claims for {len(questions)} questions")
    deadline = None if seconds is None else monotonic() + seconds
    failures = failures_of(machine)
    seen: set[tuple[int, int]] = set()
    faults = [
        fault_of_shape(claim, SmallestSets, seen) or _fault(failures, question, claim)
        for question, claim in zip(questions, claims, strict=True)
    ]
    # as with certificates, evidence is told apart by identity
    shared: dict[tuple[int, int], list[int]] = {}
    for at, (fault, claim) in enumerate(zip(faults, claims, strict=True)):
        if not fault and claim.most >= 0 and claim.tolerance is not None:
            shared.setdefault((id(claim.tolerance), claim.most), []).append(at)

    def verdicts() -> dict[int, Verdict]:
        groups = [(places, [(questions[at], claims[at]) for at in places]) for places in shared.values()]
        found = [(places, _complete(machine, failures, asked, deadline)) for places, asked in groups]
        return {at: verdict for places, given in found for at, verdict in zip(places, given, strict=True)}

    with Beside(verdicts) as other:
        replays = Replays(machine)
        for at, (question, claim) in enumerate(zip(questions, claims, strict=True)):
            faults[at] = faults[at] or _fault_of_runs(machine, failures, replays, question, claim)
        complete = other.result()
    return tuple(
        DisputedSets(question.id, fault) if fault else _finding(claim, complete.get(at))
        for at, (question, claim, fault) in enumerate(zip(questions, claims, faults, strict=True))
    )


def _finding(claim: SmallestSets, complete: Verdict | None) -> SetsFinding:
    """What is found of a claim whose runs are; `complete`: that there are no other sets, where that is claimed."""
    match complete:
        case Agreed(by):
            return KnownSets(claim.question, claim, claim.most, by, claim.reason)
        case Broken(what):
            return DisputedSets(claim.question, what)
        case Unchecked(why):
            return KnownSets(claim.question, claim, -1, "", why)
        case None:
            return KnownSets(claim.question, claim, -1, "", claim.reason or "nothing is claimed")


def _fault(failures: Sequence[str], question: Question, claim: SmallestSets) -> str:
    """What keeps the sets from being an answer at all; empty when nothing does."""
    if claim.question != question.id:
        return f"the claim answers question {claim.question!r}"
    if len(claim.sets) != len(claim.runs):
        return f"{len(claim.runs)} runs for {len(claim.sets)} sets"
    listed = [frozenset(one) for one in claim.sets]
    for one in {*listed, *map(frozenset, claim.open)}:
        if unknown := sorted(one.difference(failures)):
            return f"there is no failure {unknown[0]!r}"
    if any(one <= other for at, one in enumerate(listed) for place, other in enumerate(listed) if at != place):
        return "a set has another in it"
    return ""


def _fault_of_runs(
    machine: Machine, failures: Sequence[str], replays: Replays, question: Question, claim: SmallestSets
) -> str:
    """What is wrong with the runs to the sets; empty when nothing is."""
    for one, run in zip(map(frozenset, claim.sets), claim.runs, strict=True):
        if faults := replays.faults(question.target, run):
            return "; ".join(faults)
        struck = {struck_by(machine.rule(name), failures) for name in run.rules} - {None}
        if struck != one:
            return f"in the run {sorted(map(str, struck))} fail, not {sorted(one)}"
    return ""


def _complete(
    machine: Machine,
    failures: tuple[str, ...],
    asked: Sequence[tuple[Question, SmallestSets]],
    deadline: float | None,
) -> list[Verdict]:
    """Whether there is no other set of so many members, per claim; the claims share their evidence and that number."""
    _, first = asked[0]
    tolerance, most = first.tolerance, first.most
    if tolerance is None or number_of_sets(len(failures), most) > MOST_SETS:
        return [Unchecked(f"more than {MOST_SETS:,} sets")] * len(asked)
    verdict = _checked(machine, failures, tolerance, deadline)
    if not isinstance(verdict, Agreed):
        return [verdict] * len(asked)
    sets = Sets(len(failures), most)
    lost = lost_clauses(machine, sets, tolerance)
    place = {name: at for at, name in enumerate(failures)}
    found: list[Verdict] = []
    for _, claim in asked:
        misfit = _misfit(claim.clear, tolerance)
        left = sets.every if misfit else without_reason(sets, claim.clear, lost)
        for one in (*claim.sets, *claim.open):
            left &= ~sets.above(place[name] for name in one)
        if left and not misfit:
            members = sets.members[(left & -left).bit_length() - 1]
            misfit = f"nothing is said of the set {sorted(failures[at] for at in members)}"
        found.append(Broken(misfit) if misfit else verdict)
    sound = [at for at, one in enumerate(found) if isinstance(one, Agreed)]
    try:
        obligation = clear_obligation(machine, tolerance, [asked[at] for at in sound], deadline)
    except GivenUp as why:
        return [Unchecked(str(why)) if isinstance(one, Agreed) else one for one in found]
    checked = recheck(obligation, deadline)
    for number, at in enumerate(sound):
        found[at] = verdict_on(obligation, [number], checked)
    return found


def _checked(machine: Machine, failures: tuple[str, ...], tolerance: Tolerance, deadline: float | None) -> Verdict:
    """Whether every reason is one, and every clause holds at first."""
    if tolerance.failures != failures:
        return Broken("the evidence speaks of other failures")
    names = {rule.name for rule in machine.rules}
    for kept in tolerance.kept:
        if not 0 <= kept.clause < len(tolerance.clauses) or kept.rule not in names:
            return Broken("the evidence speaks of clauses or rules that there are not")
        if misfit := _misfit(kept.reasons, tolerance):
            return Broken(misfit)
    if (misfit := fault_of_fit(machine, tolerance.clauses)) or any(map(signals_of, tolerance.clauses)):
        return Broken(f"the evidence is ill-formed: {misfit or 'a clause names a signal'}")
    try:
        measure(tolerance.clauses)
        by = ""
        for write in (first_obligation, kept_obligation):
            obligation = write(machine, tolerance, deadline)
            verdict = verdict_on(obligation, range(len(obligation.queries)), recheck(obligation, deadline))
            if not isinstance(verdict, Agreed):
                return verdict
            by = verdict.by
    except GivenUp as why:
        return Unchecked(str(why))
    return Agreed(by)


def _misfit(reasons: Sequence[Reason], tolerance: Tolerance) -> str:
    for reason in reasons:
        if not all(0 <= at < len(tolerance.clauses) for at in reason.clauses):
            return "a reason speaks of a clause that there is not"
        if not all(0 <= at < len(tolerance.failures) for at in reason.failures):
            return "a reason speaks of a failure that there is not"
    return ""


def first_obligation(machine: Machine, tolerance: Tolerance, deadline: float | None = None) -> Obligation:
    """Every clause holds in every initial state: one query.  Raises GivenUp, as the others do."""

    def lines() -> Iterator[str]:
        scribe = Scribe(machine, deadline)
        yield from scribe.state(0)
        for variable in machine.variables:
            yield f"(assert {any_of(scribe.fact(variable.name, value, 0) for value in variable.init)})"
        yield f"(assert {scribe.formula(machine.start, 0)})"
        broken = all_of(scribe.formula(clause, 0) for clause in tolerance.clauses)
        yield from query("some clause is not so at first", [f"(assert (not {broken}))"])

    meaning = "(start) Every clause holds in every initial state."
    return obligation_of("start", meaning, _headed(tolerance), lines(), ["an initial state breaks a clause"])


def kept_obligation(machine: Machine, tolerance: Tolerance, deadline: float | None = None) -> Obligation:
    """Each reason why a rule does not break a clause is one: one query per rule, which no such reason may fail.

    One per reason took five times as long: the solver is told most of it again each time.
    """
    of_rule: dict[str, list[Kept]] = {}
    for kept in tolerance.kept:
        of_rule.setdefault(kept.rule, []).append(kept)

    def lines() -> Iterator[str]:
        scribe = Scribe(machine, deadline)
        yield from scribe.state(0)
        yield from _clauses(scribe, tolerance)
        for name, own in of_rule.items():
            written = dict(machine.rule(name).update)
            ways = []
            for kept in own:
                after = assign(tolerance.clauses[kept.clause], written)
                given = any_of(_given(scribe, tolerance, reason) for reason in kept.reasons)
                ways.append(all_of([f"(not {scribe.formula(after, 0)})", given]))
            asserts = [f"(assert {scribe.formula(machine.rule(name).guard, 0)})", f"(assert {any_of(ways)})"]
            yield from query(f"rule {quoted(name)} breaks a clause", asserts)

    meaning = "(step) From no state as a reason has it the rule leads to one that breaks the clause of the reason."
    queries = [f"rule {name!r} breaks a clause, in spite of a reason" for name in of_rule]
    return obligation_of("step", meaning, _headed(tolerance), lines(), queries)


def clear_obligation(
    machine: Machine,
    tolerance: Tolerance,
    asked: Sequence[tuple[Question, SmallestSets]],
    deadline: float | None = None,
) -> Obligation:
    """Each reason why the target is not so is one: one query per claim, in their order."""

    def lines() -> Iterator[str]:
        scribe = Scribe(machine, deadline)
        yield from scribe.state(0)
        yield from _clauses(scribe, tolerance)
        for question, claim in asked:
            given = any_of(_given(scribe, tolerance, reason) for reason in claim.clear)
            asserts = [f"(assert {scribe.formula(question.target, 0)})", f"(assert {given})"]
            yield from query(f"question {quoted(question.id)}", asserts)

    meaning = "(clear) In no state as a reason has it is the target of the question so."
    queries = [f"the target of {question.id!r} is so in spite of a reason" for question, _ in asked]
    return obligation_of("clear", meaning, _headed(tolerance), lines(), queries)


def _clauses(scribe: Scribe, tolerance: Tolerance) -> Iterator[str]:
    for at, clause in enumerate(tolerance.clauses):
        yield f"(define-fun |clause {at}| () Bool {scribe.formula(clause, 0)})"


def _given(scribe: Scribe, tolerance: Tolerance, reason: Reason) -> str:
    clauses = [f"|clause {at}|" for at in reason.clauses]
    intact = [f"(not {scribe.fact(tolerance.failures[at], True, 0)})" for at in reason.failures]
    return all_of([*clauses, *intact])


def _headed(tolerance: Tolerance) -> Certificate:
    return Certificate(tolerance.clauses)
