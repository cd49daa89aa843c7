"""The obligations of a certificate as clauses for a solver that neither the engines nor `confirm` use.

One literal per value of a variable, of which exactly one is true; formulas by fresh names for their parts.  All queries
share one set of clauses, which alone says only what names mean: each query assumes some of them.

Reference (from memory)
  G. S. Tseitin: On the complexity of derivation in propositional calculus. 1968.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

import pycryptosat

from interlock.kernel.claims import Certificate
from interlock.kernel.expressions import And, Const, Expr, Is, Not, Ref, Value, neg
from interlock.kernel.machine import Machine, Question, support_of


class Clauses:
    """A growing list of clauses about one state, and about states after a rule, by what the rule writes."""

    def __init__(self, machine: Machine) -> None:
        self.machine = machine
        self.clauses: list[list[int]] = []
        self._top = 0
        self._literals: dict[object, int] = {}
        for variable in machine.variables:
            own = [self._fresh() for _ in variable.domain]
            for value, literal in zip(variable.domain, own, strict=True):
                self._literals[Is(variable.name, value), ()] = literal
            self.clauses.append(own)
            self.clauses += [[-one, -other] for one, other in combinations(own, 2)]

    def _fresh(self) -> int:
        self._top += 1
        return self._top

    def literal(self, expr: Expr, written: Mapping[str, Value]) -> int:
        """A literal that is true exactly where the expression is, once these values have been written."""
        read = support_of(self.machine, expr)
        return self._literal(expr, tuple(sorted(item for item in written.items() if item[0] in read)))

    def _literal(self, expr: Expr, written: tuple[tuple[str, Value], ...]) -> int:
        if isinstance(expr, Is):
            for name, value in written:
                if name == expr.variable:
                    return self._literal(Const(value == expr.value), ())
            return self._literals[expr, ()]
        if isinstance(expr, Not):
            return -self._literal(expr.arg, written)
        key = (expr, written)
        if key not in self._literals:
            if isinstance(expr, Const):
                constant = self._literals[key] = self._fresh()
                self.clauses.append([constant if expr.value else -constant])
            elif isinstance(expr, Ref):
                self._literals[key] = self._literal(self.machine.definitions[expr.signal], written)
            else:
                # an alternative is a conjunction with every sign turned
                sign = 1 if isinstance(expr, And) else -1
                self._literals[key] = sign * self.all_of(sign * self._literal(arg, written) for arg in expr.args)
        return self._literals[key]

    def all_of(self, literals: Iterable[int]) -> int:
        """A literal that is true exactly where all of these are."""
        parts = list(literals)
        whole = self._fresh()
        self.clauses += [[-whole, part] for part in parts]
        self.clauses.append([whole, *(-part for part in parts)])
        return whole


@dataclass(frozen=True, slots=True)
class Obligations:
    """What names mean, and the queries of which none may have a solution: what each asks, what it assumes."""

    clauses: Sequence[Sequence[int]]
    queries: Sequence[tuple[str, Sequence[int]]]

    def failing(self) -> list[str]:
        """The queries that have a solution, says the solver."""
        solver = pycryptosat.Solver()
        solver.add_clauses(self.clauses)
        meant, _ = solver.solve()
        assert meant is True, "names that contradict one another would make every query empty"
        answers = [(what, solver.solve(list(assumed))[0]) for what, assumed in self.queries]
        assert all(answer is not None for _, answer in answers)
        return [what for what, answer in answers if answer]


def obligations(machine: Machine, certificate: Certificate, targets: Iterable[Question]) -> Obligations:
    """Start, step and safety of a certificate; for inductive ones (k = 1) only."""
    assert certificate.k == 1
    made = Clauses(machine)

    def inside(written: Mapping[str, Value]) -> int:
        return made.all_of(made.literal(clause, written) for clause in certificate.clauses)

    def initially() -> Iterator[int]:
        yield made.literal(machine.start, {})
        for variable in machine.variables:
            yield -made.all_of(-made.literal(Is(variable.name, value), {}) for value in variable.init)

    within = inside({})
    queries: list[tuple[str, list[int]]] = [("a start breaks a clause", [*initially(), -within])]
    for rule in machine.rules:
        assumed = [within, made.literal(rule.guard, {}), -inside(dict(rule.update))]
        queries.append((f"{rule.name} leads out", assumed))
    queries += [(f"{question.id} lies within", [within, made.literal(question.target, {})]) for question in targets]
    return Obligations(made.clauses, queries)


def weakenings(certificate: Certificate) -> Iterator[Certificate]:
    """The certificate without one of its clauses, and with one of them denied instead."""
    for at, clause in enumerate(certificate.clauses):
        rest = (*certificate.clauses[:at], *certificate.clauses[at + 1 :])
        yield Certificate(rest)
        yield Certificate((*rest, neg(clause)))
