"""What kinds of thing do, and what a step of a procedure can say, as text: help for whoever writes a description."""

from __future__ import annotations

from collections.abc import Iterator

from interlock.hold.kinds import BY_ITSELF, CONDITIONS, Change, Kind, changes_of
from interlock.hold.language.declarations import Declaration
from interlock.hold.language.field_types import RecordOf, records_within, types_within
from interlock.hold.language.model import Hold
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


def section_lines(key: str) -> Iterator[Line]:
    """What stands under one key of a description: each field, what it can hold, what it is for."""
    section = next(field for field in Hold.declaration.fields if field.key == key)
    yield from flow(key, tone=Tone.HEAD)
    yield from flow(section.about, 2)
    for kind in types_within(section.type):
        if isinstance(kind, RecordOf):
            for record in dict.fromkeys(records_within(kind.record)):
                yield from _fields(record.declaration)
    yield BLANK


def _fields(declaration: Declaration) -> Iterator[Line]:
    yield BLANK
    yield from flow(f"{declaration.noun}:", 2)
    for field in declaration.fields:
        wants = field.type.wants() + ("" if field.required else " (may be left out)")
        yield from labelled(f"{field.key}:", wants, 4)
        yield from flow(field.about, 8, tone=Tone.FAINT)


def _how(kind: Kind, change: Change) -> str:
    trigger = kind.triggers[change.trigger]
    actor = ACTORS[trigger.actor]
    text = actor if change.trigger == BY_ITSELF else f"{actor}, {trigger.order.format(name='it')}"
    if change.needs:
        text += ", if " + " and ".join(CONDITIONS[one] for one in change.needs)
    if change.unless:
        text += ", unless " + " or ".join(CONDITIONS[one] for one in change.unless)
    return text
