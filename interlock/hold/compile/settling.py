"""Mechanisms with memory settle before anyone acts again: their steps are fused into what sets them off.

An *unfused rule* is a rule before settling.  After it, each mechanism step that has become possible happens, in any
order, until none is left; every way in which that can go is one kernel rule with constant assignments.  So a kernel
state is always a settled one, and one kernel step is one act of somebody with all that follows from it.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from interlock.kernel.expressions import (
    FALSE,
    TRUE,
    And,
    Const,
    Expr,
    Is,
    Not,
    Or,
    Ref,
    Value,
    assign,
    conj,
    disj,
    neg,
    variables_of,
)
from interlock.kernel.machine import Actor


@dataclass(frozen=True, slots=True)
class UnfusedRule:
    """A guarded command and how to say it; `text` is a sentence without its full stop."""

    name: str
    actor: Actor
    guard: Expr
    updates: Mapping[str, Value]
    text: str


@dataclass(frozen=True, slots=True)
class Settled:
    """A rule with the mechanism steps that follow it, in order."""

    rule: UnfusedRule
    guard: Expr
    updates: Mapping[str, Value]
    responses: tuple[UnfusedRule, ...]


class NeverSettles(ValueError):
    """Mechanism steps that set one another off for ever: after `rule`, `responses` come round again."""

    def __init__(self, rule: UnfusedRule, responses: tuple[UnfusedRule, ...]) -> None:
        super().__init__(rule.name)
        self.rule = rule
        self.responses = responses


class Fuser:
    """Fuses mechanism steps into rules, over one set of signal definitions."""

    def __init__(self, mechanism: tuple[UnfusedRule, ...], definitions: Mapping[str, Expr]) -> None:
        self._mechanism = mechanism
        self._definitions = definitions
        self._support: dict[str, frozenset[str]] = {}
        self._reads = {step.name: variables_of(step.guard, definitions) for step in mechanism}

    def at_rest(self) -> Expr:
        """No mechanism step is possible."""
        return conj(*(neg(step.guard) for step in self._mechanism))

    def settle(self, rule: UnfusedRule) -> Iterator[Settled]:
        """Every way in which the rule can happen and settle.

        Relies on the state before it being settled.  Raises NeverSettles when a chain of mechanism steps repeats the
        same assignments, so that it could go on for ever.
        """
        touched = [step for step in self._mechanism if self._reads[step.name] & rule.updates.keys()]
        before = conj(*(neg(step.guard) for step in touched))
        yield from self._after(rule, rule.guard, dict(rule.updates), (), frozenset(), before)

    def _after(
        self,
        rule: UnfusedRule,
        guard: Expr,
        updates: dict[str, Value],
        responses: tuple[UnfusedRule, ...],
        seen: frozenset[tuple[tuple[str, Value], ...]],
        before: Expr,
    ) -> Iterator[Settled]:
        key = tuple(sorted(updates.items()))
        if key in seen:
            raise NeverSettles(rule, responses)
        possible = []
        for step in self._mechanism:
            # a step that reads nothing that was written was impossible before and still is
            if self._reads[step.name] & updates.keys():
                after = self.substitute(step.guard, updates)
                if may_hold(conj(guard, after, before)):
                    possible.append((step, after))
        quiet = conj(guard, *(neg(after) for _, after in possible))
        if may_hold(conj(quiet, before)):
            yield Settled(rule, quiet, updates, responses)
        for step, after in possible:
            yield from self._after(
                rule, conj(guard, after), {**updates, **step.updates}, (*responses, step), seen | {key}, before
            )

    def substitute(self, expr: Expr, updates: Mapping[str, Value]) -> Expr:
        """The expression after the assignments, in terms of the state before; opens only signals that they touch."""
        if isinstance(expr, Ref):
            if self._support_of(expr.signal).isdisjoint(updates):
                return expr
            return self.substitute(self._definitions[expr.signal], updates)
        if isinstance(expr, Not):
            return neg(self.substitute(expr.arg, updates))
        if isinstance(expr, And):
            return conj(*(self.substitute(arg, updates) for arg in expr.args))
        if isinstance(expr, Or):
            return disj(*(self.substitute(arg, updates) for arg in expr.args))
        return assign(expr, updates)

    def _support_of(self, signal: str) -> frozenset[str]:
        if signal not in self._support:
            self._support[signal] = variables_of(self._definitions[signal], self._definitions)
        return self._support[signal]


def may_hold(expr: Expr) -> bool:
    """False only when no setting of variables and signals, taken as independent, makes the expression true.

    Splits on one atom after another; the worst case is exponential in the atoms, guards have few that matter.
    """
    if isinstance(expr, Const):
        return expr.value
    atom = _first_atom(expr)
    if isinstance(atom, Ref):
        return may_hold(_decide(expr, atom, True)) or may_hold(_decide(expr, atom, False))
    rest = _decide(expr, atom, False)
    return may_hold(assign(expr, {atom.variable: atom.value})) or may_hold(rest)


def _first_atom(expr: Expr) -> Is | Ref:
    while not isinstance(expr, Is | Ref):
        if isinstance(expr, Not):
            expr = expr.arg
        elif isinstance(expr, And | Or):
            # a literal of a conjunction decides more than what lies deeper
            plain = (arg for arg in expr.args if isinstance(arg, Is | Ref))
            expr = next(plain, expr.args[0])
        else:
            raise TypeError(f"no atom in {expr!r}")
    return expr


def _decide(expr: Expr, atom: Is | Ref, value: bool) -> Expr:
    if expr == atom:
        return TRUE if value else FALSE
    if isinstance(expr, Not):
        return neg(_decide(expr.arg, atom, value))
    if isinstance(expr, And):
        return conj(*(_decide(arg, atom, value) for arg in expr.args))
    if isinstance(expr, Or):
        return disj(*(_decide(arg, atom, value) for arg in expr.args))
    return expr
