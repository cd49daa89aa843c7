"""What an editor shows of a place in a text: a field, a kind, a thing."""

from __future__ import annotations

from collections.abc import Iterator

from interlock.hold.editing.looking import Told
from interlock.hold.kinds import Kind, changes_of
from interlock.hold.language.declarations import Field
from interlock.hold.language.records import first_lower
from interlock.report.languages import in_markdown
from interlock.report.markdown.writing import bullets

MOST_LISTED = 24


def hover_markdown(told: Told) -> str:
    """All that is told of a place, in Markdown."""
    return "\n".join(_parts(told)).strip() + "\n"


def _parts(told: Told) -> Iterator[str]:
    about = f": {in_markdown(told.about)}" if told.about else ""
    yield from (f"**{in_markdown(told.title)}**{about}", "")
    if told.field is not None:
        yield from (in_markdown(said_field(told.field)), "")
    if told.kind is not None:
        yield from _kind(told.kind)
    for head, words in (("can be", told.states), ("behind a dot", told.parts), ("steps", told.steps)):
        if words:
            more = f" and {len(words) - MOST_LISTED} more" if len(words) > MOST_LISTED else ""
            yield from (f"{head}: {in_markdown(', '.join(words[:MOST_LISTED]) + more)}", "")


def said_field(field: Field) -> str:
    """A field in a sentence or two: what it is for, what it can be, whether it may be left out."""
    left_out = "" if field.required else " It may be left out."
    return f"{field.about} What it can be: {first_lower(field.type.wants())}.{left_out}"


def _kind(kind: Kind) -> Iterator[str]:
    yield from (in_markdown(f"{kind.id}. {kind.about}"), "")
    if kind.standing:
        yield from (in_markdown(f"Above the floor while {' or '.join(kind.standing)}."), "")
    changes = dict.fromkeys(f"{one.source} to {one.dest}: {one.trigger}" for one in changes_of(kind))
    yield from bullets(changes)
