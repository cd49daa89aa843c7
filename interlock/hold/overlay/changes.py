"""What a modification file can say: the sorts of change, each declared as a record.

Changes are carried out on nodes (`interlock.hold.overlay.modification`); what they write is read in its new place.
"""

from __future__ import annotations

from collections.abc import Mapping

from interlock.diagnostics.frozen import frozen
from interlock.hold.language.declarations import FieldType, Record, Schema, defined, field, record
from interlock.hold.language.field_types import ChangeList
from interlock.hold.language.model import SECTIONS, File
from interlock.hold.language.nodes import MappingNode, Node, ScalarNode
from interlock.hold.language.reader import Failed, Reader
from interlock.hold.language.text_types import NAME, Expression, Text, TextType, Word


@frozen
class Anything(TextType[ScalarNode]):
    """The id of anything that a description lists; looked up when the change is carried out."""

    wanted = "the id of one thing"
    shape = NAME

    def read_text(self, node: ScalarNode, key: str, reader: Reader) -> ScalarNode:
        return node


@frozen
class InPlace(FieldType[Node]):
    """What becomes a field of the thing that is changed, and is read there."""

    of: FieldType[object]

    def read(self, node: Node, key: str, reader: Reader) -> Node | Failed:
        return node

    def wants(self) -> str:
        return self.of.wants()

    def schema(self) -> Schema:
        return self.of.schema()


@frozen
class NewFields(FieldType[MappingNode]):
    """Fields of the thing that is changed, to be read in its place."""

    def read(self, node: Node, key: str, reader: Reader) -> MappingNode | Failed:
        if isinstance(node, MappingNode) and node.entries:
            return node
        return reader.unfit("not-a-mapping", node, key, self.wants())

    def wants(self) -> str:
        return "fields with new values"

    def schema(self) -> Schema:
        return {"type": "object", "minProperties": 1}


@frozen
class NewItems(NewFields):
    """Sections of a description, with the items to be added, to be read among the others."""

    def wants(self) -> str:
        return "sections with lists"

    def schema(self) -> Schema:
        properties = {key: {"type": "array", "items": defined(item.declaration.name)} for key, item in SECTIONS.items()}
        return {"type": "object", "minProperties": 1, "properties": properties, "additionalProperties": False}


@record("remove", "a removal")
class Remove(Record):
    """Takes something away."""

    remove: ScalarNode = field(Anything(), "What is taken away.")


@record("fix", "a fixing")
class Fix(Record):
    """Keeps something in one state for good."""

    fix: ScalarNode = field(Anything(), "The device or control.")
    state: Node = field(InPlace(Word("state")), "The state in which it stays.", key="in")


@record("defer", "a deferral")
class Defer(Record):
    """Leaves a device inoperative in one state, under a limit."""

    defer: ScalarNode = field(Anything(), "The device.")
    state: Node = field(InPlace(Word("state")), "The state in which it stays.", key="in")
    because: Node = field(InPlace(Text()), "Why.")
    limit: Node = field(InPlace(Expression()), "What must hold before the doors are shut for departure.")


@record("change", "a change")
class ChangeFields(Record):
    """Puts other values in the place of some fields."""

    change: ScalarNode = field(Anything(), "What is changed: an id, or `layout`.")
    to: MappingNode = field(NewFields(), "The fields with their new values; `none` takes an optional one away.")


@record("add", "an addition")
class Add(Record):
    """Adds things to the lists of the description."""

    add: MappingNode = field(NewItems(), "Lists as in a description.")


@record("fit", "a fitting")
class Fit(Record):
    """Fits one of the options of the description."""

    fit: ScalarNode = field(Anything(), "The option.")


CHANGES: Mapping[str, type[Record]] = {
    one.declaration.name: one for one in (Remove, Fix, Defer, ChangeFields, Add, Fit)
}
"""What one item of `changes` can do, by the key that says so."""


@record("modification", "a modification")
class Modification(File):
    """What was changed in a hold that another file describes."""

    title: str = field(Text(), "What the hold is called.")
    about: str | None = field(Text(), "What was changed and why, for people.", default=None)
    modifies: str = field(Text(), "The file of the hold, or of another modification of it; or `demo:NAME`.")
    changes: tuple[Node, ...] = field(ChangeList(), "The changes, in order.")
