"""Interruptions as text: where they fall, what can then be broken, how the work goes on afterwards."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from itertools import groupby

from interlock.report.text.lines import Line, Tone, flow, heading, labelled
from interlock.report.text.runs import LAST_STEPS, MOST_NAMED, broken_on_the_way, way_lines, way_step_lines
from interlock.report.views.audit import AuditView
from interlock.report.views.facts import WayOut
from interlock.report.views.interruptions import NO_WAY
from interlock.report.views.wording import count_of, shortened

LEAST_SHARED = 3
"""So many steps at least must two ways end with alike for the second to point at the first."""


def interruption_lines(view: AuditView, verbose: bool) -> Iterator[Line]:
    """The section of the report; with `verbose` also the places from which the work just goes on."""
    yield from heading("Everybody called away, or power lost")
    unsafe = [one for one in view.interruptions if one.risks]
    if view.interruptions and not unsafe:
        points = count_of(len(view.interruptions), "point")
        yield from flow(f"At none of {points} in the procedure can a requirement then be broken.", 2)
    for one in unsafe:
        yield from flow(f"UNSAFE {one.where}", 2, 2, Tone.BAD)
        for label, risks in (
            ("can be broken:", one.facts.can_be_broken),
            ("can be broken if power is lost too:", one.facts.can_be_broken_if_power_is_lost),
        ):
            if risks:
                yield from labelled(label, shortened(risks, MOST_NAMED), 6)
    for text in view.resumed:
        yield from flow(text, 2, 2)
    if view.facts.goal_missed is not None and not verbose:
        yield from flow("The goal is missed without any interruption: how each is taken up again is not told.", 2)
        return
    shown = [one for one in view.interruptions if verbose or not one.goes_on]
    told = _Told()
    for _, alike_here in groupby(
        shown, key=lambda one: (one.facts.left_behind, one.goes_on or one.afterwards, one.facts.way_to_the_goal)
    ):
        first, *more = alike_here
        span = f"from {first.where} to {more[-1].where}" if more else first.where
        left = f"; left behind: {'; '.join(first.facts.left_behind[:4])}" if first.facts.left_behind else ""
        yield from flow(f"{span}{left}", 4, 2)
        if first.facts.way_to_the_goal is not None:
            yield from told.lines(first.facts.way_to_the_goal, first.where)
        elif first.facts.afterwards in NO_WAY:
            yield from flow(NO_WAY[first.facts.afterwards], 6)


@dataclass(slots=True)
class _Told:
    """The ways to the goal that were told, by where; a way that ends like one of them points at it."""

    ways: dict[WayOut, str] = field(default_factory=dict)
    in_full: dict[WayOut, str] = field(default_factory=dict)

    def lines(self, way: WayOut, where: str) -> Iterator[Line]:
        """A way to the goal, as far as it was not told before."""
        if way.steps and way in self.ways:
            yield from flow(f"The same way to the goal as is told for '{self.ways[way]}'.", 6)
            return
        self.ways[way] = where
        shared = self._longest_shared(way)
        if shared is None:
            self.in_full[way] = where
            yield from way_lines(way, "A way to the goal from there")
            return
        length, other = shared
        own = way.steps[: len(way.steps) - length]
        if own:
            yield Line("      A way to the goal from there", Tone.HEAD)
            yield from way_step_lines(own)
        begin = len(other.steps) - length + 1
        start = "then go on" if own else "Go on"
        yield from flow(f"{start} with step {begin} of the way that is told for '{self.in_full[other]}'.", 6)
        yield from broken_on_the_way(way)

    def _longest_shared(self, way: WayOut) -> tuple[int, WayOut] | None:
        """How many last steps the way shares with one told in full, at a step that was shown; the longest such."""
        best: tuple[int, WayOut] | None = None
        for other in self.in_full:
            length = 0
            for mine, its in zip(reversed(way.steps), reversed(other.steps), strict=False):
                if mine != its:
                    break
                length += 1
            reached = len(other.steps) - length < LAST_STEPS and len(way.steps) - length <= LAST_STEPS
            if length >= LEAST_SHARED and reached and (best is None or length > best[0]):
                best = length, other
        return best
