"""What kinds of thing do, and what a step of a procedure can say, as text: help for whoever writes a description."""

from __future__ import annotations

from collections.abc import Iterator

from interlock.hold.kinds import BY_ITSELF, CONDITIONS, Change, Kind, changes_of
from interlock.hold.procedure.actions import FORMS
from interlock.report.text.lines import BLANK, Line, Tone, flow, labelled
from interlock.report.views.wording import ACTORS, listed


def kind_lines(name: str, kind: Kind) -> Iterator[Line]:
    """A kind in words: its states, which of them stand above the floor, what takes it from one to the next."""
    yield from flow(name, tone=Tone.HEAD)
    yield from flow(kind.about, 2)
    yield from labelled("states:", ", ".join(kind.states), 2)
    if kind.standing:
        yield from labelled("above the floor while:", listed(kind.standing, "or"), 2)
    for change in changes_of(kind):
        yield from flow(f"{change.source} to {change.dest}: {_how(kind, change)}", 4, 2)
    yield BLANK


def step_lines() -> Iterator[Line]:
    """Every form of a step, and what it asks for."""
    yield from flow("Steps of a procedure", tone=Tone.HEAD)
    yield from flow(
        "Words in capitals stand for names of the hold, or for a condition such as `D1 is closed`; what stands in "
        "brackets may be left out.",
        2,
    )
    for form in FORMS:
        yield Line(f"  {form.shape}")
        yield from flow(form.about, 6, tone=Tone.FAINT)
    yield BLANK


def _how(kind: Kind, change: Change) -> str:
    trigger = kind.triggers[change.trigger]
    actor = ACTORS[trigger.actor]
    text = actor if change.trigger == BY_ITSELF else f"{actor}, {trigger.order.format(name='it')}"
    if change.needs:
        text += ", if " + " and ".join(CONDITIONS[one] for one in change.needs)
    if change.unless:
        text += ", unless " + " or ".join(CONDITIONS[one] for one in change.unless)
    return text
