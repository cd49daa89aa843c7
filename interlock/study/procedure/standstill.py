"""Why nothing moves although a lever is held: what keeps back the equipment that could act next."""

from __future__ import annotations

from collections.abc import Iterator

from interlock.hold.tell import Reason, reasons
from interlock.kernel.evaluator import State
from interlock.kernel.expressions import And, Expr, Is
from interlock.study.procedure.interleavings import InterleavingSearch

MOST_REASONS = 4
"""More are of no help to a reader."""


def why_still(search: InterleavingSearch, node: int, towards: str | None) -> tuple[Reason, ...]:
    """What is not so and keeps back each step of the equipment whose units and doors stand ready for it.

    `towards` is the way in which the lever is held; steps of units that go another way are left out.
    """
    state = search.state(node)
    found: dict[Reason, None] = {}
    for rule in search.plant:
        path = rule.name.split(" + ")[0].split(".")
        is_door = towards in ("up", "down")
        if path[0] != ("door" if is_door else "unit") or (
            not is_door and (towards not in path or path[-1] != "driven")
        ):
            continue
        parts = tuple(_parts(rule.guard))
        if all(search.holds(state, part) for part in parts if _is_place(part)):
            false = [part for part in parts if not search.holds(state, part)]
            if false and not _is_other_way(path[-1], towards):
                found.update(dict.fromkeys(_told(search, false[0], state)))
    return tuple(found)[:MOST_REASONS]


def _parts(guard: Expr) -> Iterator[Expr]:
    if isinstance(guard, And):
        yield from guard.args
    else:
        yield guard


def _is_place(part: Expr) -> bool:
    """Whether it says where a unit or a door is."""
    return isinstance(part, Is) and (part.variable.startswith(("bay.", "face.")) or part.variable.endswith(".position"))


def _is_other_way(step: str, towards: str | None) -> bool:
    return towards in ("up", "down") and ("opening" in step) != (towards == "up")


def _told(search: InterleavingSearch, part: Expr, state: State) -> tuple[Reason, ...]:
    return reasons(search.graph.machine, search.graph.bound.compiled.glossary, part, state, 5)
