"""Why nothing moves although a lever is held: what keeps back the equipment that could act next."""

from __future__ import annotations

from interlock.hold.origin import (
    Arrive,
    Aspect,
    Condition,
    Crossing,
    Deed,
    Depart,
    Holding,
    Means,
    Origins,
    Sort,
    Subject,
    Work,
)
from interlock.hold.tell import Reason
from interlock.kernel.expressions import And, Expr, Is
from interlock.study.procedure.interleavings import InterleavingSearch
from interlock.study.procedure.runs import reasons_at

MOST_REASONS = 4
"""More are of no help to a reader."""


def why_still(search: InterleavingSearch, node: int, towards: str | None) -> tuple[Reason, ...]:
    """What is not so and keeps back each step of the equipment whose units and doors stand ready for it.

    `towards` is the way in which the lever is held; steps of units that go another way are left out.
    """
    state = search.state(node)
    origins = search.graph.bound.compiled.origins
    found: dict[Reason, None] = {}
    for rule in search.plant:
        if not _goes(origins.deed_of(rule.name), towards):
            continue
        parts = rule.guard.args if isinstance(rule.guard, And) else (rule.guard,)
        if all(search.holds(state, part) for part in parts if _is_place(origins, part)):
            false = [part for part in parts if not search.holds(state, part)]
            if false:
                found.update(dict.fromkeys(reasons_at(search, node, false[0], 5)))
    return tuple(found)[:MOST_REASONS]


def _goes(deed: Deed, towards: str | None) -> bool:
    """Whether it is a step of the equipment that goes the way in which the lever is held."""
    match deed:
        case Work(Condition(Subject(Sort.DOOR)), trigger):
            return towards in ("up", "down") and (trigger.to == "opening") == (towards == "up")
        case Depart(move, Means.DRIVE) | Arrive(move, Means.DRIVE):
            return move.direction == towards
    return False


def _is_place(origins: Origins, part: Expr) -> bool:
    """Whether it says where a unit or a door is."""
    match origins.variables.get(part.variable) if isinstance(part, Is) else None:
        case Holding() | Crossing() | Condition(_, Aspect.POSITION):
            return True
    return False
