"""Types of field that are made of others: lists, records, mappings whose keys are names."""

from __future__ import annotations

from abc import abstractmethod
from collections.abc import Iterator
from typing import ClassVar, Generic, TypeVar

from interlock.diagnostics.frozen import frozen
from interlock.diagnostics.spans import Span
from interlock.hold.language.declarations import FieldType, Record, Schema, defined
from interlock.hold.language.directions import DIRECTIONS, Direction
from interlock.hold.language.nodes import Entry, MappingNode, Node, ScalarNode, SequenceNode, clip, describe
from interlock.hold.language.parser import is_name, parse_path
from interlock.hold.language.reader import FAILED, Failed, Reader
from interlock.hold.language.records import read_record
from interlock.hold.language.syntax import Path
from interlock.hold.language.text_types import SCALAR, Choice, Id, Lane, Reference, Text, Word

T = TypeVar("T")
T_co = TypeVar("T_co", covariant=True)
R = TypeVar("R", bound=Record)

LONGEST_HINT = 60
"""Characters of a text that are read as the list that was meant."""


@frozen
class OrNone(FieldType[T | None], Generic[T]):
    """The type within, or the word `none`, which reads as None."""

    inner: FieldType[T]

    def read(self, node: Node, key: str, reader: Reader) -> T | Failed | None:
        if isinstance(node, ScalarNode) and node.text == "none":
            return None
        return self.inner.read(node, key, reader)

    def wants(self) -> str:
        return f"{self.inner.wants()}; or `none`"

    def schema(self) -> Schema:
        return {"anyOf": [{"const": "none"}, self.inner.schema()]}


@frozen
class RecordOf(FieldType[R], Generic[R]):
    """A mapping with the fields of a record."""

    record: type[R]

    def read(self, node: Node, key: str, reader: Reader) -> R | Failed:
        return read_record(self.record, node, reader)

    def wants(self) -> str:
        return self.record.declaration.noun

    def schema(self) -> Schema:
        return defined(self.record.declaration.name)


@frozen
class Listed(FieldType[tuple[T, ...]], Generic[T]):
    """A list; where `one` is allowed, a single item may stand without brackets."""

    item: FieldType[T]
    one: bool = False
    least: int = 0

    def read(self, node: Node, key: str, reader: Reader) -> tuple[T, ...] | Failed:
        meant = self._meant(node) if self.one else None
        if meant is not None:
            return reader.unfit("not-a-list", node, key, "a list in brackets", meant)
        nodes = items_of(node, key, reader, self.least, self.one)
        if nodes is FAILED:
            return FAILED
        values: list[T] = []
        seen: set[str] = set()
        failed = False
        for item in nodes:
            apart = self._apart(item)
            if apart is not None:
                reader.unfit("not-a-list", item, key, _COMMAS, f"[{apart}]" if item is node else apart)
                failed = True
                continue
            value = self.item.read(item, key, reader)
            if value is FAILED:
                failed = True
                continue
            if isinstance(item, ScalarNode):
                if item.text in seen:
                    reader.fail("listed-twice", item.span, f"'{clip(item.text)}' is in the list already", "each once")
                    failed = True
                seen.add(item.text)
            values.append(value)
        return FAILED if failed else tuple(values)

    def _apart(self, item: Node) -> str | None:
        """Several items that were written as one."""
        match self.item:
            case Id() | Lane() | Reference():
                return _apart(item)
            case Choice() if isinstance(item, ScalarNode) and all(map(self.item.offers, item.text.split())):
                return _apart(item)
        return None

    def _meant(self, node: Node) -> str | None:
        """The list that was meant by a text such as `fore, aft` or `none`; None where it is one item."""
        if not isinstance(node, ScalarNode) or isinstance(self.item, Text):
            return None
        parts = [part.strip() for part in node.text[:LONGEST_HINT].split(",")]
        if len(parts) > 1 and all(map(is_name, parts)):
            return f"[{', '.join(parts)}]"
        return "[]" if node.text == "none" and not self.least and isinstance(self.item, Choice | RecordOf) else None

    def wants(self) -> str:
        return f"{self.item.wants()}; or a list" if self.one else f"a list; each item is {self.item.wants()}"

    def schema(self) -> Schema:
        item = self.item.schema()
        listed: Schema = {"type": "array", "items": item, **_at_least(self.least)}
        return {"anyOf": [item, listed]} if self.one else listed


@frozen
class ChangeList(FieldType[tuple[Node, ...]]):
    """Changes of a hold, one after the other: kept as they are written until they are carried out (`hold.overlay`)."""

    def read(self, node: Node, key: str, reader: Reader) -> tuple[Node, ...] | Failed:
        return items_of(node, key, reader)

    def wants(self) -> str:
        return "a list"

    def schema(self) -> Schema:
        return {"type": "array", "items": defined("change"), "minItems": 1}


@frozen
class OrListed(FieldType[T | tuple[R, ...]], Generic[T, R]):
    """The type within, which no list or mapping can be; or one record or several."""

    inner: FieldType[T]
    record: type[R]

    @property
    def listed(self) -> Listed[R]:
        """The other of the two."""
        return Listed(RecordOf(self.record), one=True, least=1)

    def read(self, node: Node, key: str, reader: Reader) -> T | tuple[R, ...] | Failed:
        return (
            self.inner.read(node, key, reader) if isinstance(node, ScalarNode) else self.listed.read(node, key, reader)
        )

    def wants(self) -> str:
        return f"{self.inner.wants()}; or {self.listed.wants()}"

    def schema(self) -> Schema:
        return {"anyOf": [self.inner.schema(), self.listed.schema()]}


@frozen
class Bays(FieldType[tuple[str, ...]]):
    """Bays, one or a list; a range such as `1L..6L` stands for those between along the lane or the row.

    Where `members` is set, names of other things may stand among them; where `missing` is, bays that a rule takes out.
    """

    members: bool = False
    least: int = 1
    missing: bool = False

    def read(self, node: Node, key: str, reader: Reader) -> tuple[str, ...] | Failed:
        nodes = items_of(node, key, reader, self.least, one=True)
        if nodes is FAILED:
            return FAILED
        names: dict[str, None] = {}
        failed = False
        for item in nodes:
            apart = _apart(item)
            if apart is not None:
                reader.unfit("not-a-list", item, key, _COMMAS, f"[{apart}]" if item is node else apart)
            found = FAILED if apart is not None else self._item(item, key, reader)
            if found is FAILED:
                failed = True
                continue
            for name in found:
                if name in names:
                    reader.fail("listed-twice", item.span, f"'{clip(name)}' is in the list already", "each once")
                    failed = True
                names[name] = None
        return FAILED if failed else tuple(names)

    def _item(self, item: Node, key: str, reader: Reader) -> tuple[str, ...] | Failed:
        if not isinstance(item, ScalarNode):
            return reader.fail("not-a-text", item.span, f"'{key}' cannot hold {describe(item)}", "names of bays")
        first, dots, last = (part.strip() for part in item.text.partition(".."))
        if not dots:
            if self.members:
                if not reader.is_name(item, "a name"):
                    return FAILED
                reader.mention(item, bays=True)
                return (item.text,)
            return (first,) if reader.is_bay(first, item.span, self.missing) else FAILED
        if reader.bays is None:
            return ()
        starts = item.text.find(last, len(first))
        first_known = reader.is_bay(first, item.place_of(0, len(first)) or item.span, self.missing)
        last_known = reader.is_bay(last, item.place_of(starts, len(item.text)) or item.span, self.missing)
        if not (first_known and last_known):
            return FAILED
        return reader.bays.between(first, last) or reader.fail(
            "bad-bay-range",
            item.span,
            f"there is no straight way from {first} to {last}",
            "two bays of one lane or one row, the first one first, such as 1L..6L",
        )

    def wants(self) -> str:
        return "bays such as `1L`, `1L..6L`" + (" and names of other things" if self.members else "") + "; or a list"

    def schema(self) -> Schema:
        bay = {"type": ["string", "integer"], "pattern": r"^[A-Za-z0-9_. -]+$|\{"}
        return {"anyOf": [bay, {"type": "array", "items": bay, **_at_least(self.least)}]}


# --- mappings whose keys are names


class Keyed(FieldType[tuple[T_co, ...]]):
    """A mapping whose keys are names, with one value for each, in the order of the file."""

    wanted: ClassVar[str]

    def read(self, node: Node, key: str, reader: Reader) -> tuple[T_co, ...] | Failed:
        """What each entry reads as."""
        if not isinstance(node, MappingNode) or not node.entries:
            return reader.unfit("not-a-mapping", node, key, self.wanted)
        found = [self.read_entry(entry, reader) for entry in node.entries]
        values = tuple(value for value in found if value is not FAILED)
        return values if len(values) == len(found) else FAILED

    def wants(self) -> str:
        return self.wanted

    @abstractmethod
    def read_entry(self, entry: Entry, reader: Reader) -> T_co | Failed:
        """What one entry reads as."""

    def schema(self) -> Schema:
        """Any keys with texts."""
        return {"type": "object", "minProperties": 1, "additionalProperties": {**SCALAR}}


@frozen
class ByDirection(Keyed[tuple[Direction, T]], Generic[T]):
    """Something for some of the directions."""

    of: FieldType[T]

    wanted = "directions"

    def read_entry(self, entry: Entry, reader: Reader) -> tuple[Direction, T] | Failed:
        word = entry.key.text
        if word not in DIRECTIONS:
            said, nearest = f"'{clip(word)}' is no direction", reader.faults.hint(word, DIRECTIONS)
            expected = "one of " + ", ".join(DIRECTIONS)
            return reader.fail("unknown-field", entry.key.span, said, expected, nearest)
        value = self.of.read(entry.value, word, reader)
        return FAILED if value is FAILED else (Direction(word), value)

    def wants(self) -> str:
        return f"for one or more of {', '.join(DIRECTIONS)}: {self.of.wants()}"

    def schema(self) -> Schema:
        return {
            "type": "object",
            "minProperties": 1,
            "properties": {way: self.of.schema() for way in DIRECTIONS},
            "additionalProperties": False,
        }


@frozen
class States(Keyed[tuple[str, str, Span]]):
    """States by the id of the thing that is in them, each with where it is written."""

    wanted = "things with their states"

    def read_entry(self, entry: Entry, reader: Reader) -> tuple[str, str, Span] | Failed:
        if not reader.is_name(entry.key, "a name"):
            return FAILED
        reader.mention(entry.key, bays=True)
        value = Word("state").read(entry.value, entry.key.text, reader)
        return FAILED if value is FAILED else (entry.key.text, value, entry.value.span)


@frozen
class Quantifiers(Keyed[tuple[str, Path]]):
    """Groups by the variable that runs through them."""

    wanted = "variables with their groups, such as `for: {b: bays}`"

    def read_entry(self, entry: Entry, reader: Reader) -> tuple[str, Path] | Failed:
        named = reader.is_new_name(entry.key, "a variable")
        reader.variables.add(entry.key.text)
        value = entry.value
        if not isinstance(value, ScalarNode):
            return reader.fail("not-a-text", value.span, f"a group cannot be {describe(value)}", "a group")
        path = parse_path(value, reader.faults, reader.context)
        return (entry.key.text, path) if path is not None and named else FAILED


def items_of(
    node: Node, key: str, reader: Reader, least: int = 1, one: bool = False, wanted: str = "a list"
) -> tuple[Node, ...] | Failed:
    """The items of a list of at least so many; where `one` is allowed, a single one without brackets."""
    if not isinstance(node, SequenceNode):
        return (node,) if one else reader.unfit("not-a-list", node, key, wanted)
    if len(node.items) < least:
        return reader.fail("empty-list", node.span, f"'{key}' is an empty list", "at least one in it")
    return node.items


_COMMAS = "a comma between the items of a list"


def _apart(node: Node) -> str | None:
    """Several names in one item, set apart as was meant; None where it is one."""
    if not isinstance(node, ScalarNode) or len(node.text) > LONGEST_HINT:
        return None
    parts = node.text.split()
    return ", ".join(parts) if len(parts) > 1 and all(map(is_name, parts)) else None


def _at_least(least: int) -> Schema:
    return {"minItems": least} if least else {}


def types_within(kind: FieldType[object]) -> Iterator[FieldType[object]]:
    """The type itself, and those that it is made of."""
    yield kind
    if isinstance(kind, OrNone):
        yield from types_within(kind.inner)
    elif isinstance(kind, OrListed):
        yield from types_within(kind.listed)
    elif isinstance(kind, Listed):
        yield from types_within(kind.item)


def records_within(record: type[Record]) -> Iterator[type[Record]]:
    """A record, and those that stand in its fields, and in theirs; some more than once."""
    yield record
    for field in record.declaration.fields:
        for kind in types_within(field.type):
            if isinstance(kind, RecordOf):
                yield from records_within(kind.record)
