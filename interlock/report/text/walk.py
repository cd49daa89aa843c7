"""A walk through a hold as text: the state in trade words, the possible steps, what is broken."""

from __future__ import annotations

from collections.abc import Iterator

from interlock.report.text.floor import floor_lines
from interlock.report.text.lines import BLANK, Line, Tone, flow, heading, labelled, row_lines
from interlock.report.text.runs import after_lines, reason_lines
from interlock.report.views.assumptions import CAUTIONS
from interlock.report.views.walk import WalkView
from interlock.report.views.wording import ACTORS


def opening_lines(view: WalkView) -> Iterator[Line]:
    """What is being walked, and in which ways it can start."""
    yield from flow(view.title, tone=Tone.HEAD)
    for caution in CAUTIONS:
        yield from flow(caution, 2)
    if view.starts:
        yield from flow(f"It can start in {len(view.starts)} ways:", 2)
        for number, text in enumerate(view.starts, 1):
            yield from flow(f"start {number}: {text}", 4, 9)


def state_lines(view: WalkView) -> Iterator[Line]:
    """The state: the floor, and under it all else."""
    yield from heading("State")
    yield from floor_lines(view.compiled, view.snapshot)
    yield BLANK
    yield from row_lines(view.state)


def choice_lines(view: WalkView, text: str = "") -> Iterator[Line]:
    """The possible steps with their numbers; with a text, only those that contain it."""
    shown = [choice for choice in view.choices if text.casefold() in choice.text.casefold()]
    if not shown:
        yield from flow(f"No possible step has '{text}' in it." if text else "No step is possible: a dead end.", 2)
        return
    actor = None
    for choice in shown:
        if choice.actor != actor:
            actor = choice.actor
            yield Line(f"  {actor}", Tone.HEAD)
        yield from flow(f"{choice.number:>3}. {choice.text}", 2, 5)


def step_lines(view: WalkView) -> Iterator[Line]:
    """The last step and what followed from it."""
    step = view.step
    if step is None:
        yield from flow("At the start.")
        return
    yield from flow(f"step {step.number}, {ACTORS[step.actor]}: {step.text}", 0, 2, Tone.HEAD)
    yield from after_lines(step.responses, step.after, 2)


def broken_lines(view: WalkView, why: bool) -> Iterator[Line]:
    """The requirements that the state breaks; with `why`, what breaks them."""
    for one in view.broken:
        yield from flow(f"BROKEN NOW: {one.id}", 0, 2, Tone.BAD)
        yield from flow(one.text, 2)
        if one.steps:
            yield from labelled("possible now, and must not be:", "; ".join(one.steps), 2, Tone.BAD)
        if why:
            yield from reason_lines(one.because)
    if why and not view.broken:
        yield from flow("No requirement is broken in this state.", 2)
