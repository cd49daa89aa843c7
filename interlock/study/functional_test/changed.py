"""Which failures a modification touches: of these alone a test after it need show anything."""

from __future__ import annotations

from interlock.hold.compile.compiler import CompiledHold
from interlock.kernel.expressions import Expr
from interlock.kernel.machine import Machine
from interlock.study.contacts.struck import uses_of


def touched_failures(new: CompiledHold, old: CompiledHold) -> frozenset[str]:
    """Failures, by the names of their variables, that are new, or bear on something that says otherwise than before.

    What a failure bears on are the signals and rules that ask for it.  In both holds everything may fail that the
    catalogue has.
    """
    now, before = uses_of(new.machine), uses_of(old.machine)
    changed = _changed(new.machine, old.machine)
    return frozenset(
        name
        for name, uses in now.items()
        if name not in before or dict(uses) != dict(before[name]) or any(place in changed for place, _ in uses)
    )


def _changed(new: Machine, old: Machine) -> frozenset[str]:
    """Signals and rules of the new machine, as `uses_of` names them, that are new or otherwise."""
    was: dict[str, Expr] = {f"signal {one.name}": one.definition for one in old.signals}
    was |= {f"rule {one.name}": one.guard for one in old.rules}
    now: dict[str, Expr] = {f"signal {one.name}": one.definition for one in new.signals}
    now |= {f"rule {one.name}": one.guard for one in new.rules}
    return frozenset(place for place, expr in now.items() if was.get(place) != expr)
