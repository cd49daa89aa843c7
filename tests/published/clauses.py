"""The obligations of a certificate as clauses for a solver that neither the engines nor `confirm` use.

One literal per value of a variable, of which exactly one is true; formulas by fresh names for their parts.

Reference (from memory)
  G. S. Tseitin: On the complexity of derivation in propositional calculus. 1968.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from itertools import combinations

from interlock.kernel.claims import Certificate
from interlock.kernel.expressions import And, Const, Expr, Is, Not, Ref, Value, neg
from interlock.kernel.machine import Machine, Question


class Clauses:
    """A growing list of clauses about one state, and about the state after a rule where one is given."""

    def __init__(self, machine: Machine, after: Iterable[tuple[str, Value]] = ()) -> None:
        self.machine = machine
        self.clauses: list[list[int]] = []
        self._top = 0
        self._literals: dict[object, int] = {}
        self._after = dict(after)
        for variable in machine.variables:
            own = [self._fresh() for _ in variable.domain]
            for value, literal in zip(variable.domain, own, strict=True):
                self._literals[Is(variable.name, value)] = literal
            self.clauses.append(own)
            self.clauses += [[-one, -other] for one, other in combinations(own, 2)]

    def _fresh(self) -> int:
        self._top += 1
        return self._top

    def literal(self, expr: Expr, is_after: bool = False) -> int:
        """A literal that is true exactly where the expression is; of the state after the rule where wanted."""
        if isinstance(expr, Const):
            constant = self._fresh()
            self.clauses.append([constant if expr.value else -constant])
            return constant
        if isinstance(expr, Is):
            if is_after and expr.variable in self._after:
                return self.literal(Const(self._after[expr.variable] == expr.value))
            return self._literals[expr]
        if isinstance(expr, Not):
            return -self.literal(expr.arg, is_after)
        key = (expr, is_after)
        if key not in self._literals:
            if isinstance(expr, Ref):
                self._literals[key] = self.literal(self.machine.definitions[expr.signal], is_after)
            else:
                # an alternative is a conjunction with every sign turned
                sign = 1 if isinstance(expr, And) else -1
                parts = [sign * self.literal(arg, is_after) for arg in expr.args]
                whole = self._fresh()
                self.clauses += [[-whole, part] for part in parts]
                self.clauses.append([whole, *(-part for part in parts)])
                self._literals[key] = sign * whole
        return self._literals[key]

    def require(self, expr: Expr) -> None:
        """The expression holds."""
        self.clauses.append([self.literal(expr)])

    def require_one_broken_after(self, exprs: Iterable[Expr]) -> None:
        """Some expression does not hold in the state after the rule."""
        self.clauses.append([-self.literal(expr, is_after=True) for expr in exprs])


def obligations(
    machine: Machine, certificate: Certificate, targets: Iterable[Question]
) -> Iterator[tuple[str, list[list[int]]]]:
    """Every query that must have no solution, with what it asks; for inductive certificates (k = 1) only."""
    assert certificate.k == 1
    start = Clauses(machine)
    for variable in machine.variables:
        start.clauses.append([start.literal(Is(variable.name, value)) for value in variable.init])
    start.require(machine.start)
    start.require_one_broken_after(certificate.clauses)
    yield "a start breaks a clause", start.clauses
    for rule in machine.rules:
        step = Clauses(machine, rule.update)
        for clause in (*certificate.clauses, rule.guard):
            step.require(clause)
        step.require_one_broken_after(certificate.clauses)
        yield f"{rule.name} leads out", step.clauses
    for question in targets:
        safe = Clauses(machine)
        for clause in (*certificate.clauses, question.target):
            safe.require(clause)
        yield f"{question.id} lies within", safe.clauses


def weakenings(certificate: Certificate) -> Iterator[Certificate]:
    """The certificate without one of its clauses, and with one of them denied instead."""
    for at, clause in enumerate(certificate.clauses):
        rest = (*certificate.clauses[:at], *certificate.clauses[at + 1 :])
        yield Certificate(rest)
        yield Certificate((*rest, neg(clause)))
