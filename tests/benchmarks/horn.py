"""The rival: z3's own engine for constrained Horn clauses on the plain encoding, one clause per rule.

A variable of more than two values is given as bits, which suits that engine best of what was tried.

Reference (from memory)
  A. Komuravelli, A. Gurfinkel, S. Chaki: SMT-based model checking for recursive programs. CAV 2014.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import z3

from interlock.kernel.claims import Claim, Limits, ProgressCallback, Proved, Refuted, Trace, Unknown, silent
from interlock.kernel.expressions import And, Const, Expr, Is, Not, Ref, Value, expand
from interlock.kernel.machine import Machine, Question
from interlock.prove.engine import NO_LIMITS, clock_of, time_reason

NAME = "horn"


def horn(
    machine: Machine, questions: Sequence[Question], limits: Limits = NO_LIMITS, report: ProgressCallback = silent
) -> tuple[Claim, ...]:
    """Answers as an engine does, for timing alone: its proofs carry no certificate and its refutations no trace."""
    clock = clock_of(limits)
    bits = {v.name: [z3.Bool(f"{v.name}/{at}") for at in range(_width(v.domain))] for v in machine.variables}
    everything = [bit for own in bits.values() for bit in own]
    relation = z3.Function("reached", *(z3.BoolSort() for _ in everything), z3.BoolSort())
    rival = z3.Fixedpoint()
    rival.set(engine="spacer")
    rival.register_relation(relation)
    rival.declare_var(*everything)
    here = relation(*everything)
    fits = [z3.Or([_term(machine, Is(v.name, value), bits) for value in v.init]) for v in machine.variables]
    rival.rule(here, [*fits, _term(machine, machine.start, bits)])
    for rule in machine.rules:
        after = dict(bits)
        for name, value in rule.update:
            after[name] = [z3.BoolVal(flag) for flag in _code(machine.domains[name], value)]
        there = relation(*(bit for own in after.values() for bit in own))
        rival.rule(there, [here, _term(machine, rule.guard, bits)])
    claims: list[Claim] = []
    for question in questions:
        left = clock.seconds_left()
        answer = z3.unknown
        if left is None or left > 0:
            if left is not None:
                rival.set(timeout=max(1, int(left * 1000)))
            try:
                answer = rival.query(z3.Exists(everything, z3.And(here, _term(machine, question.target, bits))))
            except z3.Z3Exception:
                # Out of time inside a query is told by an exception ("canceled"), at other places by `unknown`.
                if not clock.is_over():
                    raise
        if answer == z3.unsat:
            claims.append(Proved(question.id, NAME, None))
        elif answer == z3.sat:
            claims.append(Refuted(question.id, NAME, Trace((), ()), shortest=False))
        else:
            claims.append(Unknown(question.id, NAME, time_reason(limits)))
    return tuple(claims)


def _width(domain: tuple[Value, ...]) -> int:
    return (len(domain) - 1).bit_length()


def _code(domain: tuple[Value, ...], value: Value) -> list[bool]:
    place = domain.index(value)
    return [bool(place >> at & 1) for at in range(_width(domain))]


def _term(machine: Machine, expr: Expr, bits: Mapping[str, Sequence[Any]]) -> Any:
    def term(node: Expr) -> Any:
        if isinstance(node, Const):
            return z3.BoolVal(node.value)
        if isinstance(node, Is):
            code = _code(machine.domains[node.variable], node.value)
            return z3.And([bit if flag else z3.Not(bit) for bit, flag in zip(bits[node.variable], code, strict=True)])
        if isinstance(node, Not):
            return z3.Not(term(node.arg))
        if isinstance(node, Ref):
            raise AssertionError("signals were expanded")
        parts = [term(arg) for arg in node.args]
        return z3.And(parts) if isinstance(node, And) else z3.Or(parts)

    return term(expand(expr, machine.definitions))
