"""The obligations of a certificate, put to z3 before an engine may claim a proof.

The kernel's expressions become z3 terms directly, by no way of the engines' clauses: a fault in the encoder, in the
generalisation of a cube or in a SAT solver shows here, as an internal error and not as a wrong proof.

Reference (from memory)
  L. de Moura, N. Bjørner: Z3: an efficient SMT solver. TACAS 2008.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from interlock.kernel.claims import Certificate
from interlock.kernel.expressions import And, Const, Expr, Is, Not, Ref, Value
from interlock.kernel.machine import Machine, signals_in_order, support_of
from interlock.prove.engine import Clock, OutOfTime


class UnsoundCertificate(AssertionError):
    """An engine made a certificate that z3 refuses: a fault of this program."""


class _Terms:
    """z3 terms for one state of the machine; with `written`, for the state after those values were assigned."""

    def __init__(self, machine: Machine, depth: int) -> None:
        import z3

        self.z3 = z3
        self.machine = machine
        self.atoms: dict[tuple[str, Value], Any] = {}
        self.domains: list[Any] = []
        for at, variable in enumerate(machine.variables):
            if isinstance(variable.domain[0], bool):
                atom = z3.Bool(f"v{at}@{depth}")
                self.atoms.update({(variable.name, True): atom, (variable.name, False): z3.Not(atom)})
                if len(variable.domain) == 1:
                    self.domains.append(self.atoms[variable.name, variable.domain[0]])
                continue
            options = [z3.Bool(f"v{at}.{place}@{depth}") for place in range(len(variable.domain))]
            self.atoms.update({(variable.name, value): o for value, o in zip(variable.domain, options, strict=True)})
            self.domains += [z3.Or(options), z3.AtMost(*options, 1)]
        self.signals: dict[str, Any] = {}
        for signal in signals_in_order(machine):
            self.signals[signal.name] = self.term(signal.definition)

    def term(self, expr: Expr) -> Any:
        """The expression, said of this state."""
        return self._term(expr, {}, self.signals)

    def _term(self, expr: Expr, written: Mapping[str, Value], signals: Mapping[str, Any]) -> Any:
        if isinstance(expr, Is):
            if expr.variable in written:
                return self.z3.BoolVal(written[expr.variable] == expr.value)
            return self.atoms[expr.variable, expr.value]
        if isinstance(expr, Ref):
            return signals[expr.signal]
        if isinstance(expr, Const):
            return self.z3.BoolVal(expr.value)
        if isinstance(expr, Not):
            return self.z3.Not(self._term(expr.arg, written, signals))
        parts = [self._term(arg, written, signals) for arg in expr.args]
        return self.z3.And(parts) if isinstance(expr, And) else self.z3.Or(parts)

    def after(self, exprs: Iterable[Expr], written: Mapping[str, Value], supports: Mapping[str, frozenset[str]]) -> Any:
        """The expressions, said of the state after the assignments."""
        signals = dict(self.signals)
        for signal in signals_in_order(self.machine) if supports else ():
            if not supports[signal.name].isdisjoint(written):
                signals[signal.name] = self._term(signal.definition, written, signals)
        return [self._term(expr, written, signals) for expr in exprs]

    def is_initial(self) -> list[Any]:
        """What an initial state satisfies."""
        fits = [self.z3.Or([self.atoms[v.name, value] for value in v.init]) for v in self.machine.variables]
        return [*fits, self.term(self.machine.start)]


def discharge(machine: Machine, certificate: Certificate, targets: Sequence[Expr], clock: Clock) -> None:
    """Has z3 agree that the certificate proves every target unreachable.

    Raises UnsoundCertificate when it does not agree, OutOfTime when it has not answered in time.
    """
    _Discharge(machine, certificate, clock).run(targets)


class _Discharge:
    def __init__(self, machine: Machine, certificate: Certificate, clock: Clock) -> None:
        import z3

        self.z3 = z3
        self.machine = machine
        self.certificate = certificate
        self.clock = clock
        self.states = [_Terms(machine, depth) for depth in range(certificate.k)]

    def run(self, targets: Sequence[Expr]) -> None:
        last = self.states[-1]
        start = self._solver(self.states[:1])
        start.add(self.states[0].is_initial())
        for depth, state in enumerate(self.states):
            if depth:
                start.add(state.domains)
                start.add(self._step(depth - 1))
            self._refute(start, [self._breaks(state)], f"a clause fails {depth} steps from the start")
        inductive = self._solver(self.states)
        for depth, state in enumerate(self.states):
            inductive.add([state.term(clause) for clause in self.certificate.clauses])
            if depth:
                inductive.add(self._step(depth - 1))
            if self.certificate.distinct:
                inductive.add([self.z3.Not(self._same(depth, earlier, {})) for earlier in range(depth)])
        self._steps(inductive, last)
        safe = inductive
        if len(self.states) > 1:
            safe = self._solver(self.states[:1])
            safe.add([self.states[0].term(clause) for clause in self.certificate.clauses])
        bad = self.z3.Or([self.states[0].term(target) for target in targets])
        self._refute(safe, [bad], "a target satisfies the clauses")

    def _steps(self, solver: Any, last: _Terms) -> None:
        """No rule breaks a clause: one query per rule that writes a variable of one."""
        machine, clauses = self.machine, self.certificate.clauses
        touching: dict[str, list[int]] = {}
        for at, clause in enumerate(clauses):
            for name in support_of(machine, clause):
                touching.setdefault(name, []).append(at)
        has_signals = any(_names_signal(clause) for clause in clauses)
        supports = {s.name: support_of(machine, s.definition) for s in machine.signals} if has_signals else {}
        for rule in machine.rules:
            written = dict(rule.update)
            touched = sorted({at for name in written for at in touching.get(name, ())})
            if not touched:
                continue
            after = last.after([clauses[at] for at in touched], written, supports)
            query = [last.term(rule.guard), self.z3.Not(self.z3.And(after))]
            if self.certificate.distinct:
                depth = self.certificate.k - 1
                query += [self.z3.Not(self._same(depth, earlier, written)) for earlier in range(depth)]
            self._refute(solver, query, f"rule {rule.name!r} breaks a clause")

    def _breaks(self, state: _Terms) -> Any:
        return self.z3.Not(self.z3.And([state.term(clause) for clause in self.certificate.clauses]))

    def _step(self, depth: int) -> Any:
        """Some rule leads from the state at the depth to the next."""
        here, there = self.states[depth], self.states[depth + 1]
        options = []
        for rule in self.machine.rules:
            written = dict(rule.update)
            options.append(self.z3.And(here.term(rule.guard), self._equal(here, there, written)))
        return self.z3.Or(options)

    def _equal(self, here: _Terms, there: _Terms, written: Mapping[str, Value]) -> Any:
        """`there` is `here` after the assignments."""
        parts = []
        for variable in self.machine.variables:
            if variable.name in written:
                parts.append(there.atoms[variable.name, written[variable.name]])
            else:
                parts += [
                    here.atoms[variable.name, value] == there.atoms[variable.name, value] for value in variable.domain
                ]
        return self.z3.And(parts)

    def _same(self, depth: int, earlier: int, written: Mapping[str, Value]) -> Any:
        """The state at the depth, after the assignments, is the earlier one."""
        return self._equal(self.states[depth], self.states[earlier], written)

    def _solver(self, states: Iterable[_Terms]) -> Any:
        solver = self.z3.SolverFor("QF_FD")
        for state in states:
            solver.add(state.domains)
        return solver

    def _refute(self, solver: Any, query: Sequence[Any], what: str) -> None:
        left = self.clock.seconds_left()
        if left is not None:
            if left <= 0:
                raise OutOfTime
            solver.set("timeout", max(1, int(left * 1000)))
        solver.push()
        solver.add(query)
        answer = solver.check()
        solver.pop()
        if answer == self.z3.sat:
            raise UnsoundCertificate(what)
        if answer != self.z3.unsat:
            self.clock.check()
            raise OutOfTime


def _names_signal(expr: Expr) -> bool:
    if isinstance(expr, Ref):
        return True
    if isinstance(expr, Not):
        return _names_signal(expr.arg)
    return not isinstance(expr, Is | Const) and any(map(_names_signal, expr.args))
