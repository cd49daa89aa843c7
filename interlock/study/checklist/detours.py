"""Steps that a whole checklist can do without, once later steps are done by other means.

Legs are planned one after the other, so a switch may be set for one leg and set back for another, though neither leg
needs it.  A deed is left out where each later deed, or another one in its place, brings about the same but for what
that deed alone changed, until a later deed changes it back, or the end comes; every leg must still reach its goal.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from interlock.hold.origin import Sort, Work
from interlock.kernel.evaluator import State
from interlock.kernel.expressions import Expr, Value
from interlock.prove.engine import Clock
from interlock.study.checklist.operating import Deed, Operation, Refusal


@dataclass(frozen=True, slots=True)
class Part:
    """The deeds of one leg, and what must be so behind them."""

    deeds: tuple[Deed, ...]
    goal: Expr


def without_detours(operation: Operation, start: State, parts: Sequence[Part], clock: Clock) -> tuple[Part, ...]:
    """The parts without such deeds; when the clock is over the rest stays in.  Never longer."""
    found = tuple(parts)
    again = True
    while again:
        again = False
        for at in range(sum(len(part.deeds) for part in found)):
            shorter = None if clock.is_over() else _without(operation, operation.packing.pack(start), found, at)
            if shorter is not None:
                found, again = shorter, True
                break
    return found


def _without(operation: Operation, start: int, parts: Sequence[Part], which: int) -> tuple[Part, ...] | None:
    """The parts without the deed that stands there, counted from 0 through all of them; None where that does not do."""
    deeds = [(place, deed) for place, part in enumerate(parts) for deed in part.deeds]
    if not _is_of_control(operation, deeds[which][1]):
        return None
    states = [start]
    for _, deed in deeds:
        after = operation.outcome(states[-1], deed)
        if isinstance(after, Refusal):
            return None
        states.append(after)
    variables = operation.packing.unpack(states[which])
    changed = {
        at: value
        for at, (value, new) in enumerate(zip(variables, operation.packing.unpack(states[which + 1]), strict=True))
        if value != new
    }
    kept: list[tuple[int, Deed]] = deeds[:which]
    state = states[which]
    ends = {place: at for at, (place, _) in enumerate(deeds)}
    for at in range(which + 1, len(deeds)):
        place, deed = deeds[at]
        wanted = _with(operation, states[at + 1], changed)
        instead = None if wanted == state and _is_of_control(operation, deed) else deed
        if instead is not None and operation.outcome(state, deed) != wanted:
            instead = next((one for one in operation.choices(state) if operation.outcome(state, one) == wanted), None)
            if instead is None:
                return None
        kept += [] if instead is None else [(place, instead)]
        state = wanted
        if ends[place] == at and not operation.test_of(parts[place].goal)(state):
            return None
        if state == states[at + 1]:
            kept += deeds[at + 1 :]
            break
    else:
        if not operation.test_of(parts[-1].goal)(state):
            return None
    place = deeds[which][0]
    if ends[place] == which and not operation.test_of(parts[place].goal)(states[which]):
        return None
    return tuple(
        Part(tuple(deed for where, deed in kept if where == number), part.goal) for number, part in enumerate(parts)
    )


def _is_of_control(operation: Operation, deed: Deed) -> bool:
    """Whether a switch, selector or panel is worked, that stays as it is put."""
    if len(deed.heads) != 1:
        return False
    done = operation.compiled.origins.deeds[deed.heads[0]]
    return isinstance(done, Work) and done.subject.sort is Sort.CONTROL


def _with(operation: Operation, packed: int, values: Mapping[int, Value]) -> int:
    state = list(operation.packing.unpack(packed))
    for at, value in values.items():
        state[at] = value
    return operation.packing.pack(tuple(state))
