"""Why each step of preparation is there: what becomes of the steps after it when it is left out."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

from interlock.hold.origin import Deed as Done
from interlock.hold.origin import Go, Sort, Work
from interlock.kernel.evaluator import State
from interlock.study.checklist.making import Checklist
from interlock.study.checklist.operating import Refusal


class Without(Enum):
    """What becomes of a later step."""

    NOT_POSSIBLE = "it is not possible"
    UNSAFE = "a requirement breaks"
    ELSEWHERE = "it leads to another state"
    MISSED = "the part of the work is done, and its goal is missed"


@dataclass(frozen=True, slots=True)
class Need:
    """The first later step, by number, that does not go as it should; `after` is the state without the left-out step.

    With MISSED the step is the last of its part.
    """

    step: int
    without: Without
    after: State


def is_preparation(done: Done) -> bool:
    """Whether a hand works a device or a control that stays as it is put, or a person goes somewhere."""
    return isinstance(done, Go) or (isinstance(done, Work) and done.subject.sort in (Sort.DEVICE, Sort.CONTROL))


def needs_of(checklist: Checklist) -> dict[int, Need]:
    """By the number of each step of preparation what needs it; steps that the end alone wants are left out."""
    found = {}
    origins = checklist.compiled.origins
    for step in checklist.steps:
        heads = step.execution.deed.heads
        if heads and is_preparation(origins.deeds[heads[0]]):
            need = _need(checklist, step.number)
            if need is not None:
                found[step.number] = need
    return found


def _need(checklist: Checklist, number: int) -> Need | None:
    operation = checklist.operation
    before = next(step.execution.before for step in checklist.steps if step.number == number)
    changed = _changed(before, next(step.execution.after for step in checklist.steps if step.number == number))
    state = operation.packing.pack(before)
    for leg in checklist.legs:
        later = [step for step in leg.steps if step.number > number]
        for step in later:
            after = operation.outcome(state, step.execution.deed)
            if isinstance(after, Refusal):
                broken = after in (Refusal.BREAKS, Refusal.FORBIDDEN)
                how = Without.UNSAFE if broken else Without.NOT_POSSIBLE
                return Need(step.number, how, operation.packing.unpack(state))
            state = after
            told = operation.packing.unpack(state)
            # what the step left out changed may well be otherwise; anything else is not
            if any(at not in changed for at in _changed(told, step.execution.after)):
                return Need(step.number, Without.ELSEWHERE, told)
        if later and not operation.test_of(leg.goal)(state):
            return Need(later[-1].number, Without.MISSED, operation.packing.unpack(state))
        if not later and leg.steps and leg.steps[-1].number == number and not operation.test_of(leg.goal)(state):
            return Need(number, Without.MISSED, operation.packing.unpack(state))
    return None


def _changed(old: State, new: State) -> frozenset[int]:
    return frozenset(at for at, (was, now) in enumerate(zip(old, new, strict=True)) if was != now)
