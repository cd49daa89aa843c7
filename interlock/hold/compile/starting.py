"""Whether a hold is at rest where it starts: what a description says of its start is part of some settled state."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from interlock.diagnostics.spans import Diagnostic
from interlock.hold.compile.settling import UnfusedRule, may_hold
from interlock.hold.language.model import Hold
from interlock.kernel.expressions import TRUE, Const, Expr, Value, assign, expand, variables_of
from interlock.kernel.machine import Variable

MOST_MOVERS = 3
"""Things that move by themselves at a start which a message names."""


def start_faults(
    hold: Hold,
    variables: tuple[Variable, ...],
    start: Expr,
    mechanism: Sequence[UnfusedRule],
    definitions: Mapping[str, Expr],
    says: Mapping[tuple[str, Value], str],
) -> tuple[Diagnostic, ...]:
    """What is wrong with the start, where `start` says that the mechanism is at rest."""
    if start == TRUE:
        return ()
    starts = {variable.name: variable.init for variable in variables}
    only = {name: values[0] for name, values in starts.items() if len(values) == 1}
    opened = expand(start, definitions)
    settled = assign(opened, only)
    if can_be(settled, starts):
        left = [
            (name, value)
            for name in sorted(variables_of(settled))
            for value in starts[name]
            if not can_be(assign(settled, {name: value}), starts)
        ]
        # a start that is written down and then left out would be one of which nothing is proved
        return tuple(
            Diagnostic(
                "start-not-settled",
                hold.span,
                f"where {says.get(start_value, ' is '.join(map(str, start_value)))} at the start, "
                f"{_movers(mechanism, definitions, {**starts, start_value[0]: (start_value[1],)})} at once",
                "starting positions in which the mechanism is at rest",
            )
            for start_value in left
        )
    if not may_hold(opened):
        return (
            Diagnostic(
                "settling-never-ends",
                next((relay.span for relay in hold.relays), hold.span),
                "there is no state in which every relay and handle is at rest",
                "conditions under which the mechanism comes to rest",
            ),
        )
    return (
        Diagnostic(
            "start-not-settled",
            hold.span,
            f"at the start {_movers(mechanism, definitions, starts)} at once",
            "starting positions in which the mechanism is at rest",
        ),
    )


def _movers(
    mechanism: Sequence[UnfusedRule], definitions: Mapping[str, Expr], starts: Mapping[str, tuple[Value, ...]]
) -> str:
    """What may move by itself in such a start, in words."""
    only = {name: values[0] for name, values in starts.items() if len(values) == 1}
    moving = [step for step in mechanism if can_be(assign(expand(step.guard, definitions), only), starts)]
    texts = list(dict.fromkeys(step.text for step in moving))
    return " or ".join(texts[:MOST_MOVERS]) or "some relay or handle would change by itself"


def can_be(expr: Expr, values: Mapping[str, tuple[Value, ...]]) -> bool:
    """Some choice of one of its values for each variable makes the expression, which names no signal, true."""
    if isinstance(expr, Const):
        return expr.value
    name = min(variables_of(expr))
    return any(can_be(assign(expr, {name: value}), values) for value in values[name])
