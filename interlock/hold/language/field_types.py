"""What a field can hold: for each type how it is read, and its JSON Schema for editors.

The schema says less than the reader: names are not looked up, expressions not parsed.  Numbers and truth values may
also be texts, since a repetition can fill them in.
"""

from __future__ import annotations

import re
from abc import abstractmethod
from collections.abc import Iterator
from dataclasses import dataclass
from typing import ClassVar, Generic, TypeVar

from interlock.diagnostics.spans import Span
from interlock.hold.language.declarations import FieldType, Record, Schema
from interlock.hold.language.directions import DIRECTIONS, Direction, Side
from interlock.hold.language.nodes import Entry, MappingNode, Node, ScalarNode, SequenceNode, clip, describe
from interlock.hold.language.parser import is_name, parse_expression, parse_path, parse_step
from interlock.hold.language.reader import FAILED, Failed, Reader
from interlock.hold.language.records import read_record
from interlock.hold.language.syntax import Path, Step, Syntax, Truth

T = TypeVar("T")
T_co = TypeVar("T_co", covariant=True)
R = TypeVar("R", bound=Record)
W = TypeVar("W", bound=str)

VERSION = "1"
"""The version of the language that this program reads."""

LONGEST_HINT = 60
"""Characters of a text that are read as the list that was meant."""

FILLED: Schema = {"type": "string", "pattern": r"\{"}
SCALAR: Schema = {"type": ["string", "number", "boolean"]}
NAME: Schema = {"type": ["string", "integer"], "pattern": r"^[A-Za-z0-9_-]+$|\{"}

_WHOLE = re.compile(r"-?\d+\Z", re.ASCII)
_AMOUNT = re.compile(r"\d{1,9}(\.\d{1,6})?\Z", re.ASCII)
_DIGITS_READ = 9
_SAYS_YES = {"yes": "true", "on": "true", "y": "true", "no": "false", "off": "false", "n": "false"}


# --- one text


class TextType(FieldType[T_co]):
    """What is written as one text."""

    wanted: ClassVar[str] = "a text"

    def read(self, node: Node, key: str, reader: Reader) -> T_co | Failed:
        """The value of the text that a node holds."""
        if isinstance(node, ScalarNode):
            return self.read_text(node, key, reader)
        return reader.fail("not-a-text", node.span, f"'{key}' cannot be {describe(node)}", self.wants())

    def wants(self) -> str:
        return self.wanted

    @abstractmethod
    def read_text(self, node: ScalarNode, key: str, reader: Reader) -> T_co | Failed:
        """The value of a text."""

    def schema(self) -> Schema:
        """Any text that is no list or mapping."""
        return {**SCALAR}


@dataclass(frozen=True)
class Text(TextType[str]):
    """Any text, read without the blanks around it."""

    def read_text(self, node: ScalarNode, key: str, reader: Reader) -> str | Failed:
        return node.text.strip() or reader.fail("missing-value", node.span, f"'{key}' is empty", "a text")


@dataclass(frozen=True)
class Version(TextType[str]):
    """The version of the language."""

    wanted = f"`{VERSION}`"

    def read_text(self, node: ScalarNode, key: str, reader: Reader) -> str | Failed:
        if node.text == VERSION:
            return VERSION
        said = f"version {describe(node)} of the language is not known here"
        return reader.fail("unknown-version", node.span, said, f"`interlock: {VERSION}`")

    def schema(self) -> Schema:
        return {"enum": [int(VERSION), VERSION]}


@dataclass(frozen=True)
class Id(TextType[str]):
    """A new name."""

    wanted = "a name"

    def read_text(self, node: ScalarNode, key: str, reader: Reader) -> str | Failed:
        return node.text if reader.is_new_name(node, "a name") else FAILED

    def schema(self) -> Schema:
        return {**NAME}


@dataclass(frozen=True)
class Word(TextType[str]):
    """One word that names a state or position of something, such as `raised`.

    `known` are the words from which editors let people choose; whether the word fits the thing is checked later.
    """

    what: str
    known: tuple[str, ...] = ()

    def wants(self) -> str:
        return f"a {self.what}"

    def read_text(self, node: ScalarNode, key: str, reader: Reader) -> str | Failed:
        return node.text if reader.is_new_name(node, f"a {self.what}") else FAILED

    def schema(self) -> Schema:
        return {"anyOf": [{"enum": list(self.known)}, FILLED]} if self.known else {**NAME}


@dataclass(frozen=True)
class Whole(TextType[int]):
    """A whole number from `low` to `high`."""

    low: int
    high: int

    wanted = "a number"

    def read_text(self, node: ScalarNode, key: str, reader: Reader) -> int | Failed:
        said, expected = f"'{key}' cannot be {describe(node)}", f"a whole number from {self.low} to {self.high}"
        if not _WHOLE.match(node.text):
            return reader.fail("not-a-whole-number", node.span, said, expected)
        # int() of thousands of digits is slow or raises; more than nine are out of every range we have
        if len(node.text) > _DIGITS_READ or not self.low <= int(node.text) <= self.high:
            return reader.fail("number-out-of-range", node.span, said, expected)
        return int(node.text)

    def schema(self) -> Schema:
        within = {"type": "integer", "minimum": self.low, "maximum": self.high}
        return {"anyOf": [within, {"type": "string", "pattern": r"^\d+$"}, FILLED]}


@dataclass(frozen=True)
class Amount(TextType[float]):
    """A positive number in `unit`, with a decimal point if need be."""

    unit: str

    wanted = "a number"

    def read_text(self, node: ScalarNode, key: str, reader: Reader) -> float | Failed:
        if _AMOUNT.match(node.text) and float(node.text) > 0:
            return float(node.text)
        expected = f"a positive number of {self.unit}, without the unit"
        return reader.fail("not-an-amount", node.span, f"'{key}' cannot be {describe(node)}", expected)

    def schema(self) -> Schema:
        positive = {"type": "number", "exclusiveMinimum": 0}
        return {"anyOf": [positive, {"type": "string", "pattern": r"^\d+(\.\d+)?$"}, FILLED]}


@dataclass(frozen=True)
class YesNo(TextType[bool]):
    """`true` or `false`."""

    wanted = "true or false"

    def read_text(self, node: ScalarNode, key: str, reader: Reader) -> bool | Failed:
        if node.text in ("true", "false"):
            return node.text == "true"
        said, nearest = f"'{key}' cannot be {describe(node)}", _SAYS_YES.get(node.text.lower())
        return reader.fail("not-true-or-false", node.span, said, "true or false", nearest)

    def schema(self) -> Schema:
        return {"anyOf": [{"type": "boolean"}, {"enum": ["true", "false"]}, FILLED]}


@dataclass(frozen=True)
class Choice(TextType[W], Generic[W]):
    """One of some words or phrases."""

    options: tuple[W, ...]

    def wants(self) -> str:
        return "one of " + ", ".join(self.options)

    def read_text(self, node: ScalarNode, key: str, reader: Reader) -> W | Failed:
        text = " ".join(node.text.split())
        for option in self.options:
            if option == text:
                return option
        nearest = reader.faults.hint(text, self.options)
        return reader.fail("unknown-choice", node.span, f"'{key}' cannot be {describe(node)}", self.wants(), nearest)

    def offers(self, word: str) -> bool:
        return word in self.options

    def schema(self) -> Schema:
        return {"anyOf": [{"enum": list(self.options)}, FILLED]}


@dataclass(frozen=True)
class Expression(TextType[Syntax]):
    """A text in the language of `hold.language.parser`."""

    wanted = "an expression such as `D1 is closed`"

    def read_text(self, node: ScalarNode, key: str, reader: Reader) -> Syntax | Failed:
        found = parse_expression(node, reader.faults, reader.context)
        if found is None:
            return FAILED
        reader.expressions.append((found, reader.context))
        return found


@dataclass(frozen=True)
class ExpressionOrNever(TextType[Syntax | None]):
    """An expression; plain `never` reads as None."""

    wanted = Expression.wanted

    def read_text(self, node: ScalarNode, key: str, reader: Reader) -> Syntax | Failed | None:
        found = Expression().read_text(node, key, reader)
        return None if isinstance(found, Truth) and not found.value else found


@dataclass(frozen=True)
class StepText(TextType[Step]):
    """A verb and an object, such as `lower M3L`."""

    wanted = "a step such as `lower M3L`"

    def read_text(self, node: ScalarNode, key: str, reader: Reader) -> Step | Failed:
        return parse_step(node, reader.faults, reader.context) or FAILED


@dataclass(frozen=True)
class Reference(TextType[str]):
    """The id of something listed in one of these sections of a description; `kind` narrows it further."""

    sections: tuple[str, ...]
    kind: str | None = None

    def wants(self) -> str:
        *others, last = (f"`{section}`" for section in self.sections)
        sections = f"{', '.join(others)} or {last}" if others else last
        return f"the id of something in {sections}"

    def read_text(self, node: ScalarNode, key: str, reader: Reader) -> str | Failed:
        if not reader.is_name(node, "a name"):
            return FAILED
        reader.mention(node, self.sections, self.kind)
        return node.text

    def schema(self) -> Schema:
        return {**NAME}


@dataclass(frozen=True)
class Bay(TextType[str]):
    """The name of a bay."""

    wanted = "the name of a bay"

    def read_text(self, node: ScalarNode, key: str, reader: Reader) -> str | Failed:
        return node.text if reader.is_bay(node.text, node.span) else FAILED

    def schema(self) -> Schema:
        return {**NAME}


@dataclass(frozen=True)
class BayOrOutside(TextType[str | None]):
    """The name of a bay, or the word `outside`, which reads as None."""

    wanted = Bay.wanted

    def read_text(self, node: ScalarNode, key: str, reader: Reader) -> str | Failed | None:
        return None if node.text == "outside" else Bay().read_text(node, key, reader)

    def schema(self) -> Schema:
        return {**NAME}


@dataclass(frozen=True)
class SideText(TextType[Side]):
    """A side of a bay, such as `3L.aft`."""

    wanted = "a side such as `3L.aft`"

    def read_text(self, node: ScalarNode, key: str, reader: Reader) -> Side | Failed:
        bay, dot, direction = node.text.partition(".")
        if not dot or direction not in DIRECTIONS:
            start = len(bay) + 1 if dot else 0
            return reader.fail(
                "no-such-side",
                node.place_of(start, max(start + 1, len(node.text))) or node.span,
                f"{describe(node)} is no side of a bay",
                "a bay, a dot and one of " + ", ".join(DIRECTIONS),
                reader.faults.hint(direction, DIRECTIONS) if dot else None,
            )
        if not reader.is_bay(bay, node.place_of(0, max(1, len(bay))) or node.span):
            return FAILED
        return Side(bay, Direction(direction), node.span)

    def schema(self) -> Schema:
        return {"type": "string", "pattern": rf"^[A-Za-z0-9_-]+\.({'|'.join(DIRECTIONS)})$|\{{"}


# --- types made of others


@dataclass(frozen=True)
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


@dataclass(frozen=True)
class RecordOf(FieldType[R], Generic[R]):
    """A mapping with the fields of a record."""

    record: type[R]

    def read(self, node: Node, key: str, reader: Reader) -> R | Failed:
        return read_record(self.record, node, reader)

    def wants(self) -> str:
        return self.record.declaration.noun

    def schema(self) -> Schema:
        return {"$ref": f"#/definitions/{self.record.declaration.name}"}


@dataclass(frozen=True)
class Listed(FieldType[tuple[T, ...]], Generic[T]):
    """A list; where `one` is allowed, a single item may stand without brackets."""

    item: FieldType[T]
    one: bool = False
    least: int = 0

    def read(self, node: Node, key: str, reader: Reader) -> tuple[T, ...] | Failed:
        if isinstance(node, SequenceNode):
            nodes = node.items
        elif self.one:
            meant = self._meant(node)
            if meant is not None:
                said = f"'{key}' cannot be {describe(node)}"
                return reader.fail("not-a-list", node.span, said, "a list in brackets", meant)
            nodes = (node,)
        else:
            return reader.fail("not-a-list", node.span, f"'{key}' cannot be {describe(node)}", "a list")
        if len(nodes) < self.least:
            return reader.fail("empty-list", node.span, f"'{key}' is an empty list", "at least one in it")
        values: list[T] = []
        seen: set[str] = set()
        failed = False
        for item in nodes:
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

    def _meant(self, node: Node) -> str | None:
        """The list that was meant by a text such as `fore, aft` or `none`; None where it is one item."""
        if not isinstance(node, ScalarNode) or isinstance(self.item, Text):
            return None
        parts = [part.strip() for part in node.text[:LONGEST_HINT].split(",")]
        if len(parts) > 1 and all(map(is_name, parts)):
            return f"[{', '.join(parts)}]"
        return "[]" if node.text == "none" and not self.least and isinstance(self.item, Choice) else None

    def wants(self) -> str:
        return f"{self.item.wants()}; or a list" if self.one else f"a list; each item is {self.item.wants()}"

    def schema(self) -> Schema:
        item = self.item.schema()
        listed: Schema = {"type": "array", "items": item, **_at_least(self.least)}
        return {"anyOf": [item, listed]} if self.one else listed


@dataclass(frozen=True)
class Bays(FieldType[tuple[str, ...]]):
    """Bays, one or a list; a range such as `1L..6L` stands for those between along the lane or the row.

    Where `members` is set, names of other things may stand among them; where `missing` is, bays that a rule takes out.
    """

    members: bool = False
    least: int = 1
    missing: bool = False

    def read(self, node: Node, key: str, reader: Reader) -> tuple[str, ...] | Failed:
        nodes = node.items if isinstance(node, SequenceNode) else (node,)
        if len(nodes) < self.least:
            return reader.fail("empty-list", node.span, f"'{key}' is an empty list", "at least one in it")
        names: dict[str, None] = {}
        failed = False
        for item in nodes:
            found = self._item(item, key, reader)
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
            return reader.fail("not-a-mapping", node.span, f"'{key}' cannot be {describe(node)}", self.wanted)
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


@dataclass(frozen=True)
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


@dataclass(frozen=True)
class States(Keyed[tuple[str, str, Span]]):
    """States by the id of the thing that is in them, each with where it is written."""

    wanted = "things with their states"

    def read_entry(self, entry: Entry, reader: Reader) -> tuple[str, str, Span] | Failed:
        if not reader.is_name(entry.key, "a name"):
            return FAILED
        reader.mention(entry.key, bays=True)
        value = Word("state").read(entry.value, entry.key.text, reader)
        return FAILED if value is FAILED else (entry.key.text, value, entry.value.span)


@dataclass(frozen=True)
class Quantifiers(Keyed[tuple[str, Path]]):
    """Groups by the variable that runs through them."""

    wanted = "variables with their groups, such as `for: {b: bays}`"

    def read_entry(self, entry: Entry, reader: Reader) -> tuple[str, Path] | Failed:
        named = reader.is_new_name(entry.key, "a variable")
        value = entry.value
        if not isinstance(value, ScalarNode):
            return reader.fail("not-a-text", value.span, f"a group cannot be {describe(value)}", "a group")
        path = parse_path(value, reader.faults, reader.context)
        return (entry.key.text, path) if path is not None and named else FAILED


def _at_least(least: int) -> Schema:
    return {"minItems": least} if least else {}


def types_within(kind: FieldType[object]) -> Iterator[FieldType[object]]:
    """The type itself, and those that it is made of."""
    yield kind
    if isinstance(kind, OrNone):
        yield from types_within(kind.inner)
    elif isinstance(kind, Listed):
        yield from types_within(kind.item)


def records_within(record: type[Record]) -> Iterator[type[Record]]:
    """A record, and those that stand in its fields, and in theirs; some more than once."""
    yield record
    for field in record.declaration.fields:
        for kind in types_within(field.type):
            if isinstance(kind, RecordOf):
                yield from records_within(kind.record)
