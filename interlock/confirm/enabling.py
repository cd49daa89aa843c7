"""These are the smallest sets of options that enable a target: the claim becomes a finding (`kernel.enabling`)."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from time import monotonic

from interlock.confirm.confirm import Agreed, Broken, Unchecked, Verdict, fault_of_fit, ill_formed, recheck_certificate
from interlock.confirm.recheck import recheck
from interlock.confirm.replay import replay
from interlock.confirm.smtlib import Obligation
from interlock.kernel.claims import Disputed, Progress, ProgressCallback, Undecided, silent
from interlock.kernel.enabling import (
    Enabled,
    EnablingClaim,
    EnablingFinding,
    EnablingQuestion,
    started_with,
)
from interlock.kernel.machine import Machine, Question
from interlock.kernel.shapes import fault_of_shape
from interlock.kernel.why import not_rechecked


def confirm_enabling(
    machine: Machine,
    question: EnablingQuestion,
    claim: EnablingClaim,
    seconds: float | None = None,
    report: ProgressCallback = silent,
) -> EnablingFinding:
    """Enabled only when every run was replayed and a second solver agreed with every certificate and the closing.

    Wrong evidence is Disputed, unchecked evidence Undecided.  Raises ValueError when the question does not fit the
    machine, KeyError when the machine lacks an option.
    """
    if misfit := fault_of_fit(machine, [question.target]):
        raise ValueError(misfit)
    started_with(machine, question.options, ())
    if fault := fault_of_shape(claim, EnablingClaim):
        return ill_formed(question.id, fault)
    if claim.question != question.id:
        return Disputed(question.id, claim, f"the claim answers question {claim.question!r}")
    deadline = None if seconds is None else monotonic() + seconds
    by = "replay"
    for verdict in _verdicts(machine, question, claim, deadline, report):
        if isinstance(verdict, Broken):
            return Disputed(question.id, claim, verdict.what)
        if isinstance(verdict, Unchecked):
            return Undecided(question.id, not_rechecked(claim.engine, verdict.why))
        by = verdict.by
    return Enabled(question.id, claim, by)


def _verdicts(
    machine: Machine,
    question: EnablingQuestion,
    claim: EnablingClaim,
    deadline: float | None,
    report: ProgressCallback,
) -> Iterator[Verdict]:
    """What is found of each part of the evidence, the cheapest first."""
    named = {option for way in claim.ways for option in way.options}
    named |= {option for cover in claim.covers for option in cover.options}
    if unknown := sorted(named - set(question.options)):
        yield Broken(f"no options of the question: {', '.join(unknown)}")
        return
    for way in claim.ways:
        faults = replay(started_with(machine, question.options, way.options), question.target, way.trace)
        if faults:
            yield Broken(f"with {way.options}: " + "; ".join(faults))
    covers = [frozenset(cover.options) for cover in claim.covers]
    for way in claim.ways:
        for option in way.options:
            fewer = frozenset(way.options) - {option}
            if not any(fewer <= cover for cover in covers):
                yield Broken(f"that {way.options} can do without {option!r} is not excluded")
    if claim.size is None or claim.size >= 0:
        yield _closed(question.options, [frozenset(way.options) for way in claim.ways], covers, claim.size, deadline)
    asked = [Question(question.id, question.target)]
    for done, cover in enumerate(claim.covers):
        report(Progress("confirm", "re-checking what stays out of reach", done, len(covers)))
        begun = started_with(machine, question.options, cover.options, either=True)
        yield from recheck_certificate(begun, cover.certificate, asked, deadline)


def _closed(
    options: Sequence[str],
    ways: Sequence[frozenset[str]],
    covers: Sequence[frozenset[str]],
    size: int | None,
    deadline: float | None,
) -> Verdict:
    """Every set of (at most `size`) options contains a way or lies within a cover, says a second solver."""
    names = {option: f"o{at}" for at, option in enumerate(dict.fromkeys(options))}
    clauses = [[f"(not {names[option]})" for option in sorted(way)] for way in ways]
    clauses += [[names[option] for option in names if option not in cover] for cover in covers]
    lines = ["(set-logic QF_LIA)", *(f"(declare-const {name} Bool)" for name in names.values())]
    lines += [f"(assert (or false false {' '.join(clause)}))" for clause in clauses]
    if size is not None:
        lines.append(f"(assert (<= (+ 0 0 {' '.join(f'(ite {name} 1 0)' for name in names.values())}) {size}))")
    asks = "a set of options contains no way and lies within no cover"
    found = recheck(Obligation("closing", "\n".join([*lines, "(check-sat)", "(exit)"]) + "\n", (asks,)), deadline)
    if found.answers == ("unsat",):
        return Agreed(found.solver)
    return Broken(asks) if found.answers == ("sat",) else Unchecked(f"(closing) whether {asks}: {found.answers[0]}")
