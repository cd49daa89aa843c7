"""What kinds of thing do, and what a step of a procedure can say, as text: help for whoever writes a description."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from interlock.hold.kinds import BY_ITSELF, CONDITIONS, Change, Kind, changes_of
from interlock.hold.language.declarations import Record
from interlock.hold.language.field_types import records_within
from interlock.hold.language.model import SECTIONS, Layout, Specification
from interlock.hold.language.records import first_lower
from interlock.hold.overlay.changes import CHANGES, Modification
from interlock.hold.procedure.actions import FORMS
from interlock.hold.procedure.model import Procedure, Step
from interlock.report.text.lines import BLANK, Line, Tone, flow, labelled
from interlock.report.views.wording import ACTORS, listed

RECORDS: Mapping[str, tuple[type[Record], ...]] = {
    "layout": (Layout,),
    **{section: (record,) for section, record in SECTIONS.items()},
    "modification": (Modification, *CHANGES.values()),
    "specification": (Specification,),
    "procedure": (Procedure, Step),
}
"""The sections of a description and the other sorts of file, with the records that stand in them."""


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


def record_lines(name: str) -> Iterator[Line]:
    """What can be written under a name of `RECORDS`: each field of its records, what it can hold, what it is for."""
    yield from flow(name, tone=Tone.HEAD)
    for record in dict.fromkeys(within for one in RECORDS[name] for within in records_within(one)):
        declaration = record.declaration
        yield BLANK
        yield from labelled(f"{declaration.noun}:", first_lower(declaration.about), 2)
        for field in declaration.fields:
            wants = field.type.wants() + ("" if field.required else " (may be left out)")
            yield from labelled(f"{field.key}:", wants, 4)
            yield from flow(field.about, 8, tone=Tone.FAINT)
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
