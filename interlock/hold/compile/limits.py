"""Whether the limits of deferrals ask for anything: one that nothing can break would be no limit."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from math import prod

from interlock.diagnostics.spans import Diagnostic
from interlock.hold.compile.naming import NamedHold
from interlock.hold.compile.starting import can_be
from interlock.kernel.expressions import Expr, Value, conj, expand, neg, variables_of

MOST_SETTINGS = 10_000
"""Settings of its variables up to which a limit is looked at; what speaks of more is taken to ask for something."""


def limit_faults(named: NamedHold) -> Iterator[Diagnostic]:
    """The limits that every state keeps in which all doors are closed; nothing where names are at fault."""
    if named.faults:
        return
    domains = {name: one.variable.domain for name, one in named.symbols.memories.items()}
    hold, things = named.described.hold, named.world.things
    shut = conj(*(things[door.id].states["closed"] for door in hold.doorways))
    for device in hold.devices:
        if device.deferred is None:
            continue
        broken = conj(shut, neg(things[device.id].states["within_limit"]))
        if _never(expand(broken, named.definitions), domains):
            yield Diagnostic(
                "limit-without-effect",
                device.deferred.limit.span,
                f"{device.id} is deferred under a limit that is always kept behind shut doors, so under none",
                "what must be so before the doors are shut for departure, such as `3L is empty`",
            )


def _never(expr: Expr, domains: Mapping[str, tuple[Value, ...]]) -> bool:
    settings = prod(len(domains[name]) for name in variables_of(expr))
    return settings <= MOST_SETTINGS and not can_be(expr, domains)
