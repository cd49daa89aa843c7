"""What a modification file can say: the sorts of change, each declared as a record.

Changes are carried out on nodes (`interlock.hold.overlay.modification`); what they write is read in its new place.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from interlock.hold.language.declarations import FieldType, Record, Schema, field, record
from interlock.hold.language.field_types import NAME, Expression, Listed, Text, Word
from interlock.hold.language.model import SECTIONS, File
from interlock.hold.language.nodes import Node
from interlock.hold.language.reader import Failed, Reader
from interlock.hold.language.syntax import Syntax


@dataclass(frozen=True)
class Anything(FieldType[Node]):
    """The id of anything that a description lists; looked up when the change is carried out."""

    def read(self, node: Node, key: str, reader: Reader) -> Node | Failed:
        return node

    def schema(self) -> Schema:
        return {**NAME}


@dataclass(frozen=True)
class NewFields(Anything):
    """Fields of the thing that is changed."""

    def schema(self) -> Schema:
        return {"type": "object", "minProperties": 1}


@dataclass(frozen=True)
class NewItems(Anything):
    """Sections of a description, with the items to be added."""

    def schema(self) -> Schema:
        properties = {
            key: {"type": "array", "items": {"$ref": f"#/definitions/{item.declaration.name}"}}
            for key, item in SECTIONS.items()
        }
        return {"type": "object", "minProperties": 1, "properties": properties, "additionalProperties": False}


@record("remove", "a removal")
class Remove(Record):
    """Takes something away."""

    remove: Node = field(Anything(), "What is taken away.")


@record("fix", "a fixing")
class Fix(Record):
    """Keeps something in one state for good."""

    fix: Node = field(Anything(), "The device or control.")
    state: str = field(Word("state"), "The state in which it stays.", key="in")


@record("defer", "a deferral")
class Defer(Record):
    """Leaves a device inoperative in one state, under a limit."""

    defer: Node = field(Anything(), "The device.")
    state: str = field(Word("state"), "The state in which it stays.", key="in")
    because: str = field(Text(), "Why.")
    limit: Syntax = field(Expression(), "What must hold before the doors are shut for departure.")


@record("change", "a change")
class ChangeFields(Record):
    """Puts other values in the place of some fields."""

    change: Node = field(Anything(), "What is changed: an id, or `layout`.")
    to: Node = field(NewFields(), "The fields with their new values; `none` takes an optional one away.")


@record("add", "an addition")
class Add(Record):
    """Adds things to the lists of the description."""

    add: Node = field(NewItems(), "Lists as in a description.")


CHANGES: Mapping[str, type[Record]] = {one.declaration.name: one for one in (Remove, Fix, Defer, ChangeFields, Add)}
"""What one item of `changes` can do, by the key that says so."""


@dataclass(frozen=True)
class OneChange(Anything):
    """One of the records above."""

    def schema(self) -> Schema:
        return {"$ref": "#/definitions/change"}


@record("modification", "a modification")
class Modification(File):
    """What was changed in a hold that another file describes."""

    title: str = field(Text(), "What the hold is called.")
    about: str | None = field(Text(), "What was changed and why, for people.", default=None)
    modifies: str = field(Text(), "The file of the hold, or of another modification of it; or `demo:NAME`.")
    changes: tuple[Node, ...] = field(Listed(OneChange()), "The changes, in order.")
