"""What is told of interruptions: where they fall, what can then be broken, how the work goes on afterwards."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from itertools import groupby

from interlock.report.text.lines import Line, Tone, flow, heading, labelled
from interlock.report.views.wording import ACTORS, count_of, listed, shortened
from interlock.study.procedure.audit import Audit
from interlock.study.procedure.interruptions import Interruption, Resumption
from interlock.study.procedure.rescue import Rescue

LAST_STEPS = 12
"""Steps of a run that are shown: its end, where it is long; of a way out, its begin."""
MOST_NAMED = 8
LEAST_SHARED = 3
"""So many steps at least must two ways end with alike for the second to point at the first."""
ALREADY = "what the procedure is for is so already"
"""Said in the place of a way to the goal that has no steps."""
DONE = "nothing is left to do"
"""Said after the end, where there is no action to go on with."""
_RESUMED = {
    Resumption.GO_ON: "afterwards the procedure goes on with the action that was not finished",
    Resumption.OTHERWISE: "going on may miss the goal or break a requirement; another way is shown",
    Resumption.NOT_FOUND: "going on may miss the goal or break a requirement, and no other way was found",
    Resumption.NOT_SOUGHT: "going on may miss the goal or break a requirement; another way was not looked for",
}


def place_of(one: Interruption, last: int) -> str:
    """Where the interruption falls, in words."""
    if one.before > last:
        return "after the end"
    return f"in the middle of action {one.before}" if one.midway else f"before action {one.before}"


def is_done(one: Interruption, last: int) -> bool:
    """Whether it falls after the end and leaves nothing to be put right."""
    return one.before > last and one.resumption is Resumption.GO_ON


def afterwards_of(one: Interruption, last: int) -> str:
    """How the work goes on afterwards, in one line; another way with all its steps."""
    if is_done(one, last):
        return DONE
    if one.rescue is None:
        return one.resumption.value
    way = "; ".join(text for _, text in one.rescue.steps)
    broken = f" (on that way these are broken: {listed(one.rescue.breaks)})" if one.rescue.breaks else ""
    return (f"another way: {way}" if way else ALREADY) + broken


def interruption_lines(audit: Audit, verbose: bool) -> Iterator[Line]:
    """The section of the report; with `verbose` also the places from which the work just goes on."""
    yield from heading("Everybody called away, or power lost")
    last = len(audit.actions)
    unsafe = [one for one in audit.interruptions if one.at_risk or one.at_risk_lost]
    if audit.interruptions and not unsafe:
        yield from flow(f"At none of the {len(audit.interruptions)} places can a requirement then be broken.", 2)
    for one in unsafe:
        yield from flow(f"UNSAFE {place_of(one, last)}", 2, 2, Tone.BAD)
        if one.at_risk:
            yield from labelled("can be broken:", shortened(one.at_risk, MOST_NAMED), 6)
        if one.at_risk_lost:
            yield from labelled("can be broken if power is lost too:", shortened(one.at_risk_lost, MOST_NAMED), 6)
    alike = Counter(one.resumption for one in audit.interruptions if not is_done(one, last))
    for resumption, number in alike.items():
        yield from flow(f"{count_of(number, 'place')}: {_RESUMED[resumption]}", 2, 2)
    if any(is_done(one, last) for one in audit.interruptions):
        yield from flow(f"after the end: {DONE}", 2, 2)
    shown = [one for one in audit.interruptions if verbose or one.resumption is not Resumption.GO_ON]
    told = _Told()
    for _, alike_here in groupby(shown, key=lambda one: (one.left, one.resumption, one.rescue)):
        first, *more = alike_here
        where = place_of(first, last)
        span = f"from {where} to {place_of(more[-1], last)}" if more else where
        left = f"; left behind: {'; '.join(first.left[:4])}" if first.left else ""
        yield from flow(f"{span}{left}", 4, 2)
        if first.rescue is not None:
            yield from told.lines(first.rescue, where)


@dataclass(slots=True)
class _Told:
    """The ways to the goal that were told, by where; a way that ends like one of them points at it."""

    ways: dict[Rescue, str] = field(default_factory=dict)
    in_full: dict[Rescue, str] = field(default_factory=dict)

    def lines(self, rescue: Rescue, where: str) -> Iterator[Line]:
        """A way to the goal, as far as it was not told before."""
        if rescue.steps and rescue in self.ways:
            yield from flow(f"The same way to the goal as is told for '{self.ways[rescue]}'.", 6)
            return
        self.ways[rescue] = where
        shared = self._longest_shared(rescue)
        if shared is None:
            self.in_full[rescue] = where
            yield from rescue_lines(rescue, "A way to the goal from there")
            return
        length, other = shared
        own = rescue.steps[: len(rescue.steps) - length]
        if own:
            yield Line("      A way to the goal from there", Tone.HEAD)
            yield from _steps(Rescue(own, ()))
        begin = len(other.steps) - length + 1
        start = "then go on" if own else "Go on"
        yield from flow(f"{start} with step {begin} of the way that is told for '{self.in_full[other]}'.", 6)
        yield from _broken(rescue)

    def _longest_shared(self, rescue: Rescue) -> tuple[int, Rescue] | None:
        """How many last steps the way shares with one told in full, at a step that was shown; the longest such."""
        best: tuple[int, Rescue] | None = None
        for other in self.in_full:
            length = 0
            for mine, its in zip(reversed(rescue.steps), reversed(other.steps), strict=False):
                if mine != its:
                    break
                length += 1
            reached = len(other.steps) - length < LAST_STEPS and len(rescue.steps) - length <= LAST_STEPS
            if length >= LEAST_SHARED and reached and (best is None or length > best[0]):
                best = length, other
        return best


def rescue_lines(rescue: Rescue, title: str) -> Iterator[Line]:
    """A way to what is wanted, step by step, and what is broken on it."""
    if not rescue.steps:
        yield from flow(f"{ALREADY[:1].upper()}{ALREADY[1:]}.", 6)
        return
    yield Line(f"      {title}", Tone.HEAD)
    yield from _steps(rescue)
    yield from _broken(rescue)


def _steps(rescue: Rescue) -> Iterator[Line]:
    for at, (actor, text) in enumerate(rescue.steps[:LAST_STEPS], 1):
        yield from flow(f"{at}. {ACTORS[actor]}: {text}", 6, 3)
    if len(rescue.steps) > LAST_STEPS:
        yield from flow(f"and {len(rescue.steps) - LAST_STEPS} more steps", 6)


def _broken(rescue: Rescue) -> Iterator[Line]:
    if rescue.breaks:
        yield from flow(f"On that way these are broken: {shortened(rescue.breaks, MOST_NAMED)}.", 6, tone=Tone.BAD)
