"""From every reachable state the goal can be brought about: claims become findings, obligations become text.

The obligations are those of `Recovery`.  As rules write constants, "after these rules" is the same formula with what
they wrote put in; every rule of a case is one query, and so is where the case ends.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from functools import partial
from itertools import chain
from operator import itemgetter
from time import monotonic
from typing import TypeAlias

from interlock.confirm.confirm import (
    Agreed,
    Broken,
    Unchecked,
    Verdict,
    fault_of_fit,
    ill_formed,
    measure,
    recheck_certificate,
    verdict_on,
)
from interlock.confirm.recheck import recheck
from interlock.confirm.replay import replay
from interlock.confirm.smtlib import (
    GivenUp,
    Obligation,
    Scribe,
    all_of,
    any_of,
    obligation_of,
    query,
    quoted,
    start_obligation,
    step_obligation,
)
from interlock.kernel.beside import Beside
from interlock.kernel.claims import Disputed, Progress, ProgressCallback, Undecided, Unknown, silent
from interlock.kernel.expressions import FALSE, TRUE, Expr, Is, Not, Value, conj, disj, neg
from interlock.kernel.machine import Actor, Machine, Question
from interlock.kernel.recovery import (
    DeadEnd,
    Entry,
    HasDeadEnd,
    Recoverable,
    Recovers,
    Recovery,
    RecoveryClaim,
    RecoveryQuestion,
    Stage,
    restarted,
    surely_drops,
    surely_never_rises,
)
from interlock.kernel.shapes import fault_of_shape
from interlock.kernel.why import not_rechecked

LEAST_DIVIDED = 40
"""With so many cases every second obligation is asked beside the others."""

RecoveryFinding: TypeAlias = Recovers | HasDeadEnd | Undecided | Disputed


def confirm_recovery(
    machine: Machine,
    questions: Sequence[RecoveryQuestion],
    claims: Sequence[RecoveryClaim],
    seconds: float | None = None,
    report: ProgressCallback = silent,
) -> tuple[RecoveryFinding, ...]:
    """One finding per question, in their order; `claims[i]` must answer `questions[i]`.

    Recovers only when a second solver agreed with every obligation; HasDeadEnd only when the trace was replayed and a
    second solver agreed that nothing leads on to the goal.  Wrong evidence is Disputed, unchecked evidence Undecided.
    Raises ValueError when the questions do not fit the machine or the claims in number.
    """
    if len(questions) != len(claims):
        raise ValueError(f"{len(claims)} claims for {len(questions)} questions")
    if misfit := fault_of_fit(machine, [question.goal for question in questions]):
        raise ValueError(misfit)
    deadline = None if seconds is None else monotonic() + seconds
    found: list[RecoveryFinding] = []
    for done, (question, claim) in enumerate(zip(questions, claims, strict=True)):
        report(Progress("confirm", "re-checking ways back with a second solver", done, len(questions)))
        found.append(_finding(machine, question, claim, deadline))
    return tuple(found)


def _finding(
    machine: Machine, question: RecoveryQuestion, claim: RecoveryClaim, deadline: float | None
) -> RecoveryFinding:
    if fault := fault_of_shape(claim, RecoveryClaim):
        return ill_formed(question.id, fault)
    if claim.question != question.id:
        return Disputed(question.id, claim, f"the claim answers question {claim.question!r}")
    if isinstance(claim, Unknown):
        return Undecided(question.id, claim.reason, claim.depth)
    if isinstance(claim, DeadEnd):
        faults = replay(machine, TRUE, claim.trace)
        if faults:
            return Disputed(question.id, claim, "; ".join(faults))
        again = restarted(machine, claim.trace.states[-1])
        verdict = recheck_certificate(again, claim.certificate, [Question(question.id, question.goal)], deadline)[0]
    else:
        verdict = _recheck_recovery(machine, question, claim.recovery, deadline)
    if isinstance(verdict, Broken):
        return Disputed(question.id, claim, verdict.what)
    if isinstance(verdict, Unchecked):
        return Undecided(question.id, not_rechecked(claim.engine, verdict.why))
    if isinstance(claim, Recoverable):
        return Recovers(question.id, claim, verdict.by)
    return HasDeadEnd(question.id, claim, verdict.by)


def _recheck_recovery(
    machine: Machine, question: RecoveryQuestion, recovery: Recovery, deadline: float | None
) -> Verdict:
    asked = partial(_first_in_doubt, machine, question, recovery, deadline)
    if sum(len(stage.entries) for stage in recovery.stages) < LEAST_DIVIDED:
        return asked(0, 1)[1]
    with Beside(partial(asked, 1, 2)) as other:
        return min(asked(0, 2), other.result(), key=itemgetter(0))[1]


def _first_in_doubt(
    machine: Machine, question: RecoveryQuestion, recovery: Recovery, deadline: float | None, first: int, every: int
) -> tuple[int, Verdict]:
    """Of every so many of the obligations the place of the first that is not agreed to, beyond all where each is."""
    verdict: Verdict = Agreed("nothing")
    place = first
    try:
        if misfit := _misfit(machine, recovery):
            return place, Broken(f"the evidence is ill-formed: {misfit}")
        for write in _writers(machine, question, recovery, deadline)[first::every]:
            obligation = write()
            verdict = verdict_on(obligation, range(len(obligation.queries)), recheck(obligation, deadline))
            if not isinstance(verdict, Agreed):
                return place, verdict
            place += every
    except GivenUp as why:
        return place, Unchecked(str(why))
    return place, verdict


def _misfit(machine: Machine, recovery: Recovery) -> str:
    """What keeps the evidence from being about the machine at all; empty when it fits."""
    certificate = recovery.certificate
    if certificate.k != 1 or certificate.distinct:
        return "its invariant is not inductive by itself"
    exprs: list[Expr] = list(certificate.clauses)
    rules = {rule.name: rule for rule in machine.rules}
    for number, stage in enumerate(recovery.stages, 1):
        exprs.append(stage.goal)
        exprs += [Is(name, value) for component in stage.rank for name, value, _ in component]
        for place, entry in enumerate(stage.entries, 1):
            where = f"stage {number}, case {place}"
            exprs += entry.when
            for fact in entry.when:
                if not isinstance(fact.arg if isinstance(fact, Not) else fact, Is):
                    return f"{where} is not told by facts"
            if entry.into is not None and not 0 <= entry.into < place - 1:
                return f"{where} leads into case {entry.into + 1}, which is not listed before it"
            for name in entry.rules:
                if name not in rules:
                    return f"{where}: there is no rule {name!r}"
                if rules[name].actor is Actor.FAILURE:
                    return f"{where} counts on a failure, {name!r}"
    measure(exprs)
    return fault_of_fit(machine, exprs)


def recovery_obligations(
    machine: Machine, question: RecoveryQuestion, recovery: Recovery, deadline: float | None = None
) -> Iterator[Obligation]:
    """Everything that has to be checked; the recovery must be well-formed.  Names are unique among them."""
    return (write() for write in _writers(machine, question, recovery, deadline))


def _writers(
    machine: Machine, question: RecoveryQuestion, recovery: Recovery, deadline: float | None
) -> list[Callable[[], Obligation]]:
    """What writes each of these."""
    before: Expr = TRUE
    writers = [partial(write, machine, recovery.certificate, deadline) for write in (start_obligation, step_obligation)]
    for number, stage in enumerate(recovery.stages, 1):
        writers.append(partial(_stage_obligation, Scribe(machine, deadline), recovery, number, before, stage))
        before = stage.goal
    return [*writers, partial(_goal_obligation, Scribe(machine, deadline), recovery, before, question.goal)]


def _goal_obligation(scribe: Scribe, recovery: Recovery, before: Expr, goal: Expr) -> Obligation:
    asked = query("the goal", [f"(assert {scribe.formula(neg(goal), 0)})"])
    lines = chain(_among(scribe, recovery, [before], [goal]), asked)
    meaning = "(goal) What the last stage comes to is the goal."
    return obligation_of("goal", meaning, recovery.certificate, lines, ["the last stage ends short of the goal"])


def _among(scribe: Scribe, recovery: Recovery, exprs: Sequence[Expr], spoken: Iterable[Expr] = ()) -> Iterator[str]:
    """A state of the invariant in which all of these are so; what else is `spoken` of is asked about later."""
    so = [*recovery.certificate.clauses, *exprs]
    yield from scribe.state(0, chain(so, spoken))
    for expr in so:
        yield f"(assert {scribe.formula(expr, 0)})"


def _stage_obligation(scribe: Scribe, recovery: Recovery, number: int, before: Expr, stage: Stage) -> Obligation:
    queries = ["a state is in no case"]

    def lines() -> Iterator[str]:
        fired = {name for entry in stage.entries for name in entry.rules}
        guards = [rule.guard for rule in scribe.machine.rules if rule.name in fired]
        yield from _among(scribe, recovery, [before, neg(stage.goal)], guards)
        cubes = [all_of(scribe.formula(fact, 0) for fact in entry.when) for entry in stage.entries]
        yield from query("a state is in no case", [f"(assert (not {any_of(cubes)}))"])
        for place, (entry, cube) in enumerate(zip(stage.entries, cubes, strict=True), 1):
            scribe.look()
            # said once for all that is asked of the case
            yield from ("(push 1)", f"(assert {cube})")
            told = {fact.variable: fact.value for fact in entry.when if isinstance(fact, Is)}
            for what, wrong, written in _ways_to_fail(scribe.machine, stage, before, entry):
                asserts = scribe.said_after(wrong, written, {**told, **written}, 0)
                if asserts:
                    yield from query(f"case {place}: {quoted(what)}", asserts)
                    queries.append(f"in case {place} {what}")
            yield "(pop 1)"

    meaning = (
        f"(stage {number}) Every state of the invariant, as far as the stage before has come and not yet further, is\n"
        "; in a case; there the rules of the case may fire in turn, and lead to what the stage is for, or, the\n"
        "; measure of the case being smaller then, or no greater and a case listed before it so, back to as far as\n"
        "; the stage before had come."
    )
    return obligation_of(f"stage-{number}", meaning, recovery.certificate, lines(), queries)


def _ways_to_fail(
    machine: Machine, stage: Stage, before: Expr, entry: Entry
) -> Iterator[tuple[str, Expr, dict[str, Value]]]:
    """(in words, formula for afterwards, what was written until then) for each."""
    written: dict[str, Value] = {}
    for name in entry.rules:
        rule = machine.rule(name)
        yield f"rule {name!r} may not fire in its turn", neg(rule.guard), dict(written)
        written.update(rule.update)
    better: Expr = FALSE
    if surely_drops(machine, stage.rank, entry.when, written):
        better = TRUE
    elif entry.into is not None and surely_never_rises(machine, stage.rank, entry.when, written):
        better = conj(*stage.entries[entry.into].when)
    yield "the end is no better", neg(disj(stage.goal, conj(before, better))), dict(written)
