"""The obligations of a `Recovery`, put to z3: what `confirm` finds by cvc5 from a text is held against it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from interlock.kernel.expressions import Expr, Value, conj, neg
from interlock.kernel.machine import Actor, Machine, Signal
from interlock.kernel.recovery import Entry, Recovery, Stage, surely_drops, surely_never_rises
from interlock.prove.certificates.obligations import (
    TermFactory,
    Terms,
    TermSolver,
    UnsoundCertificate,
    discharge,
    supports_of,
)
from interlock.prove.core.cone import signals_behind
from interlock.prove.engine import Clock, OutOfTime


def discharge_recovery(machine: Machine, recovery: Recovery, goal: Expr, clock: Clock) -> None:
    """Has z3 agree that the goal can always be brought about.

    Raises UnsoundCertificate when it does not agree, OutOfTime when it has not answered in time.
    """
    discharge(machine, recovery.certificate, [], clock)
    work = _Work(machine, recovery, clock)
    before: Expr = conj()
    for stage in recovery.stages:
        work.check(stage, before)
        before = stage.goal
    work.refute([work.terms.term(before), work.terms.term(neg(goal))], "the last stage does not come to the goal")


class _Terms(Terms):
    def said_after(self, expr: Expr, written: Mapping[str, Value], touched: Sequence[Signal]) -> int:
        """The expression, said of the state after the assignments; `touched` are the signals that these may change."""
        signals = dict(self.signals) if touched else self.signals
        for signal in touched:
            signals[signal.name] = self._term(signal.definition, written, signals)
        return self._term(expr, written, signals)


class _Work:
    def __init__(self, machine: Machine, recovery: Recovery, clock: Clock) -> None:
        self.machine = machine
        self.clock = clock
        self.make = TermFactory()
        self.terms = _Terms(machine, 0, self.make)
        self.supports = supports_of(machine)
        self._spoken: dict[Expr, list[Signal]] = {}
        self.solver = TermSolver(self.make)
        self.solver.add(self.terms.all_domains())
        self.solver.add([self.terms.term(clause) for clause in recovery.certificate.clauses])
        if recovery.certificate.k != 1 or recovery.certificate.distinct:
            raise UnsoundCertificate("a recovery needs an invariant that is inductive by itself")

    def check(self, stage: Stage, before: Expr) -> None:
        """Every state between the goals has an entry, and every entry keeps its word."""
        self.solver.push()
        self.solver.add([self.terms.term(before), self.terms.term(neg(stage.goal))])
        uncovered = [self.make.negation(self.terms.term(conj(*entry.when))) for entry in stage.entries]
        self.refute(uncovered, "a state is in no case")
        for number, entry in enumerate(stage.entries, 1):
            if entry.into is not None and entry.into not in range(number - 1):
                raise UnsoundCertificate(f"case {number} leads into one that is not listed before it")
            self._entry(stage, before, entry, number)
        self.solver.pop()

    def _entry(self, stage: Stage, before: Expr, entry: Entry, number: int) -> None:
        written: dict[str, Value] = {}
        wrong: list[int] = []
        for name in entry.rules:
            rule = self.machine.rule(name)
            if rule.actor is Actor.FAILURE:
                raise UnsoundCertificate(f"case {number} counts on a failure")
            wrong.append(self.make.negation(self._after([rule.guard], written)[0]))
            written.update(rule.update)
        good = [stage.goal]
        if surely_drops(self.machine, stage.rank, entry.when, written):
            good.append(before)
        elif entry.into is not None and surely_never_rises(self.machine, stage.rank, entry.when, written):
            good.append(conj(before, *stage.entries[entry.into].when))
        wrong.append(self.make.negation(self.make.any_of(self._after(good, written))))
        self.refute([self.terms.term(conj(*entry.when)), self.make.any_of(wrong)], f"case {number} goes wrong")

    def _after(self, exprs: Sequence[Expr], written: Mapping[str, Value]) -> list[int]:
        """The expressions, said of the state after the assignments."""
        return [self.terms.said_after(expr, written, self._touched(expr, written)) for expr in exprs]

    def _touched(self, expr: Expr, written: Mapping[str, Value]) -> list[Signal]:
        """The signals behind the expression that the assignments may change, each after those that it names."""
        if expr not in self._spoken:
            names = signals_behind(self.machine, [expr])
            self._spoken[expr] = [signal for signal in self.terms.order if signal.name in names]
        return [signal for signal in self._spoken[expr] if not self.supports[signal.name].isdisjoint(written)]

    def refute(self, query: Sequence[int], what: str) -> None:
        """Has z3 say that the query has no model."""
        refuted = self.solver.refutes(query, self.clock)
        if refuted is None:
            self.clock.check()
            raise OutOfTime
        if not refuted:
            raise UnsoundCertificate(what)
