"""What a proof leaves for the next one, of the same hold or of one much like it: as bytes, and back.

Nothing of it is ever believed: what is read is advice (see `Lemmas`), and advice that is wrong costs time.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Literal, TypeAlias

import msgspec

from interlock.kernel.expressions import Expr, Is, Not, Or, Value, disj, neg
from interlock.kernel.recovery import Entry
from interlock.prove.invariants.lemmas import Remembered

_Fact: TypeAlias = tuple[str, Value, bool]
"""A variable, a value, and whether it has it."""


class _Case(msgspec.Struct, frozen=True, array_like=True):
    when: tuple[_Fact, ...]
    rules: tuple[str, ...]
    into: int | None


class _Kept(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    layout: Literal[1]
    clauses: tuple[tuple[_Fact, ...], ...]
    cases: dict[str, tuple[_Case, ...]]
    measures: dict[str, int]


def as_bytes(lemmas: Remembered) -> bytes:
    """As JSON; the same gives the same bytes."""
    clauses = tuple(_facts(clause.args if isinstance(clause, Or) else (clause,)) for clause in lemmas.clauses)
    cases = {
        name: tuple(_Case(_facts(entry.when), entry.rules, entry.into) for entry in entries)
        for name, entries in sorted(lemmas.cases.items())
    }
    return msgspec.json.encode(_Kept(1, clauses, cases, dict(sorted(lemmas.measures.items()))))


def from_bytes(content: bytes) -> Remembered | None:
    """What `as_bytes` wrote; None for anything else."""
    try:
        kept = msgspec.json.decode(content, type=_Kept)
    except (msgspec.DecodeError, RecursionError, UnicodeDecodeError):
        return None
    clauses = [disj(*map(_fact, clause)) for clause in kept.clauses]
    cases = {
        name: tuple(Entry(tuple(map(_fact, case.when)), case.rules, case.into) for case in own)
        for name, own in kept.cases.items()
    }
    return Remembered(tuple(clauses), cases, kept.measures)


def _facts(exprs: Iterable[Expr]) -> tuple[_Fact, ...]:
    found = []
    for expr in exprs:
        fact = expr.arg if isinstance(expr, Not) else expr
        if isinstance(fact, Is):
            found.append((fact.variable, fact.value, fact is expr))
    return tuple(found)


def _fact(said: _Fact) -> Expr:
    variable, value, is_so = said
    return Is(variable, value) if is_so else neg(Is(variable, value))
