"""Mechanisms with memory settle before anyone acts again: their steps are fused into what sets them off.

An *unfused rule* is a rule before settling.  After it, each mechanism step that has become possible happens, in any
order, until none is left; every way in which that can go is one kernel rule with constant assignments.  So a kernel
state is always a settled one, and one kernel step is one act of somebody with all that follows from it.  Of steps that
have nothing to do with one another one order stands for all: the others end in the same states.
"""

from __future__ import annotations

from collections.abc import Generator, Iterable, Iterator, Mapping
from typing import TypeAlias

from interlock.diagnostics.frozen import frozen
from interlock.kernel.expressions import (
    FALSE,
    TRUE,
    And,
    Const,
    Expr,
    Is,
    Leaf,
    Not,
    Ref,
    Value,
    conj,
    each,
    fold,
    neg,
    parts_of,
    rebuilt,
    signals_of,
    variables_of,
    with_leaves,
)
from interlock.kernel.machine import Actor


@frozen
class UnfusedRule:
    """A guarded command and how to say it; `text` is a sentence without its full stop.

    `surely`, of mechanism in a hold that is eased: when it must happen, not only may (None: whenever it may).
    """

    name: str
    actor: Actor
    guard: Expr
    updates: Mapping[str, Value]
    text: str
    surely: Expr | None = None

    @property
    def certain(self) -> Expr:
        """When it must happen before anybody acts again."""
        return self.guard if self.surely is None else self.surely


@frozen
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


_Way: TypeAlias = tuple[
    Expr, dict[str, Value], tuple[UnfusedRule, ...], frozenset[tuple[tuple[str, Value], ...]], frozenset[str]
]
"""A way that may not have settled yet: guard, what is written, the responses so far, what was written before each.

Last the steps that come no more on this way: on another one they came earlier, with the same end.
"""


class Fuser:
    """Fuses mechanism steps into rules, over one set of signal definitions.

    `eased`: the description is known to settle; what would go round in a circle only where things are lifted is left.
    """

    def __init__(
        self, mechanism: tuple[UnfusedRule, ...], definitions: Mapping[str, Expr], eased: bool = False
    ) -> None:
        self._mechanism = mechanism
        self._eased = eased
        self._definitions = definitions
        self._support: dict[str, frozenset[str]] = {}
        self._reads = {step.name: variables_of(step.guard, definitions) for step in mechanism}
        self._writes = {step.name: frozenset(step.updates) for step in mechanism}
        self._uses = {name: self._reads[name] | self._writes[name] for name in self._reads}

    def at_rest(self) -> Expr:
        """No mechanism step is possible."""
        return conj(*(neg(step.certain) for step in self._mechanism))

    def settle(self, rule: UnfusedRule) -> Iterator[Settled]:
        """Every way in which the rule can happen and settle.

        Relies on the state before it being settled.  Raises NeverSettles when a chain of mechanism steps repeats the
        same assignments, so that it could go on for ever.
        """
        touched = [step for step in self._mechanism if self._reads[step.name] & rule.updates.keys()]
        before = conj(*(neg(step.certain) for step in touched))
        nowhere: frozenset[tuple[tuple[str, Value], ...]] = frozenset()
        pending: list[_Way] = [(rule.guard, dict(rule.updates), (), nowhere, frozenset())]
        while pending:
            guard, updates, responses, seen, done = pending.pop()
            key = tuple(sorted(updates.items()))
            if key in seen:
                if self._eased:
                    # what has the same assignments was here before, under less
                    continue
                raise NeverSettles(rule, responses)
            possible = []
            for step in self._mechanism:
                # a step that reads nothing that was written was impossible before and still is
                if self._reads[step.name] & updates.keys():
                    after = self.substitute(step.guard, updates)
                    if may_hold(conj(guard, after, before)):
                        possible.append((step, after))
            still = (
                after if step.surely is None else self.substitute(step.surely, updates) for step, after in possible
            )
            quiet = conj(guard, *map(neg, still))
            if may_hold(conj(quiet, before)):
                yield Settled(rule, quiet, updates, responses)
            ways: list[_Way] = []
            for step, after in possible:
                if step.name not in done:
                    earlier = frozenset(name for name in done if self._apart(step.name, name))
                    ways.append(
                        (conj(guard, after), {**updates, **step.updates}, (*responses, step), seen | {key}, earlier)
                    )
                    done |= {step.name}
            pending += reversed(ways)

    def _apart(self, one: str, other: str) -> bool:
        """Neither of two steps reads or writes what the other writes."""
        return self._uses[one].isdisjoint(self._writes[other]) and self._uses[other].isdisjoint(self._writes[one])

    def substitute(self, expr: Expr, updates: Mapping[str, Value]) -> Expr:
        """The expression after the assignments, in terms of the state before; opens only signals that they touch."""
        known: dict[str, Expr] = {}

        def step(node: Expr) -> Generator[Expr, Expr, Expr]:
            if isinstance(node, Is):
                return _given(node, updates)
            if not isinstance(node, Ref):
                return (yield from rebuilt(node))
            if self._support_of(node.signal).isdisjoint(updates):
                return node
            if node.signal not in known:
                known[node.signal] = yield self._definitions[node.signal]
            return known[node.signal]

        return fold(step, expr)

    def _support_of(self, signal: str) -> frozenset[str]:
        def step(name: str) -> Generator[str, frozenset[str], frozenset[str]]:
            if name not in self._support:
                definition = self._definitions[name]
                inner: list[frozenset[str]] = yield from each(signals_of(definition))
                self._support[name] = variables_of(definition).union(*inner)
            return self._support[name]

        return fold(step, signal)


def _given(atom: Is, values: Mapping[str, Value]) -> Expr:
    if atom.variable not in values:
        return atom
    return TRUE if values[atom.variable] == atom.value else FALSE


def may_hold(expr: Expr) -> bool:
    """False only when no setting of variables and signals, taken as independent, makes the expression true.

    Splits on one atom after another; the worst case is exponential in the atoms, guards have few that matter.
    """
    pending = [expr]
    while pending:
        expr = pending.pop()
        if isinstance(expr, Const):
            if expr.value:
                return True
            continue
        # the literals of a conjunction must all be so: nothing to split
        literals = [_literal(arg) for arg in (expr.args if isinstance(expr, And) else (expr,))]
        facts = [literal for literal in literals if literal is not None]
        if facts:
            pending.append(_decide(expr, facts))
        else:
            atom = _first_atom(expr)
            pending += [_decide(expr, [(atom, False)]), _decide(expr, [(atom, True)])]
    return False


def _literal(expr: Expr) -> tuple[Is | Ref, bool] | None:
    atom = expr.arg if isinstance(expr, Not) else expr
    return (atom, atom is expr) if isinstance(atom, Is | Ref) else None


def _first_atom(expr: Expr) -> Is | Ref:
    while not isinstance(expr, Is | Ref):
        expr = parts_of(expr)[0]
    return expr


def _decide(expr: Expr, facts: Iterable[tuple[Is | Ref, bool]]) -> Expr:
    """The expression where these facts are so, or not so."""
    values: dict[str, Value] = {}
    so: dict[Is | Ref, Expr] = {}
    for atom, value in facts:
        if value and isinstance(atom, Is):
            values.setdefault(atom.variable, atom.value)
        else:
            so.setdefault(atom, TRUE if value else FALSE)

    def leaf(node: Leaf) -> Expr:
        if isinstance(node, Is) and node.variable in values:
            return _given(node, values)
        return node if isinstance(node, Const) else so.get(node, node)

    return with_leaves(expr, leaf)
