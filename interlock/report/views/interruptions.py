"""Interruptions of a procedure in words: where they fall, how the work goes on afterwards."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from interlock.diagnostics.frozen import frozen
from interlock.report.views.audit_facts import DONE, InterruptionFacts
from interlock.report.views.wording import ALREADY, count_of, listed
from interlock.study.procedure.interruptions import Interruption, Resumption

_RESUMED = {
    Resumption.GO_ON: "afterwards the procedure goes on with the action that was not finished",
    Resumption.OTHERWISE: "going on may miss the goal or break a requirement; another way is shown",
    Resumption.NOT_FOUND: "going on may miss the goal or break a requirement, and no other way was found",
    Resumption.NOT_SOUGHT: "going on may miss the goal or break a requirement; another way was not looked for",
}
NO_WAY: Mapping[str, str] = {
    Resumption.NOT_FOUND: "No way to the goal from there was found; there may be one.",
    Resumption.NOT_SOUGHT: "A way to the goal from there was not looked for.",
}
"""What is said in the place of a way."""


@frozen
class InterruptionTold:
    """One place of an interruption in words; `goes_on`: the work just goes on from there."""

    facts: InterruptionFacts
    where: str
    risks: str
    afterwards: str
    goes_on: bool


def is_done(one: Interruption, last: int) -> bool:
    """Whether it falls after the end and leaves nothing to be put right."""
    return one.before > last and one.resumption is Resumption.GO_ON


def interruption_told(one: InterruptionFacts, last: int) -> InterruptionTold:
    """The place in words, among `last` actions."""
    if one.before_action > last:
        where = "after the end"
    else:
        where = f"{'in the middle of' if one.in_the_middle else 'before'} action {one.before_action}"
    power = [f"{id} (if power is lost)" for id in one.can_be_broken_if_power_is_lost]
    goes_on = one.afterwards in (DONE, Resumption.GO_ON)
    afterwards = one.afterwards
    way = one.way_to_the_goal
    if way is not None and one.afterwards != DONE:
        steps = "; ".join(step.text for step in way.steps)
        broken = f" (on that way these are broken: {listed(way.breaks)})" if way.breaks else ""
        afterwards = (f"another way: {steps}" if steps else ALREADY) + broken
    return InterruptionTold(one, where, listed([*one.can_be_broken, *power]), afterwards, goes_on)


def resumed(interruptions: Sequence[Interruption], last: int) -> Iterator[str]:
    """From how many places the work goes on how."""
    alike: dict[Resumption, int] = {}
    for one in interruptions:
        if not is_done(one, last):
            alike[one.resumption] = alike.get(one.resumption, 0) + 1
    yield from (
        f"{count_of(number, 'point')} in the procedure: {_RESUMED[resumption]}" for resumption, number in alike.items()
    )
    if any(is_done(one, last) for one in interruptions):
        yield f"after the end: {DONE}"
