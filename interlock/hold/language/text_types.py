"""Types of field that are written as one text: for each how it is read, and its JSON Schema for editors.

The schema says less than the reader: names are not looked up, expressions not parsed.  Numbers and truth values may
also be texts, since a repetition can fill them in.
"""

from __future__ import annotations

import re
from abc import abstractmethod
from typing import ClassVar, Generic, TypeVar

from interlock.diagnostics.frozen import frozen
from interlock.hold.language.declarations import FieldType, Schema
from interlock.hold.language.directions import DIRECTIONS, Direction, Side
from interlock.hold.language.nodes import Node, ScalarNode, describe
from interlock.hold.language.parser import parse_expression, parse_step
from interlock.hold.language.reader import FAILED, Failed, Reader
from interlock.hold.language.syntax import Step, Syntax, Truth

T_co = TypeVar("T_co", covariant=True)
W = TypeVar("W", bound=str)

VERSION = "1"
"""The version of the language that this program reads."""

FILLED: Schema = {"type": "string", "pattern": r"\{"}
SCALAR: Schema = {"type": ["string", "number", "boolean"]}
NAME: Schema = {"type": ["string", "integer"], "pattern": r"^[A-Za-z0-9_-]+$|\{"}

_WHOLE = re.compile(r"-?\d+\Z", re.ASCII)
_AMOUNT = re.compile(r"\d{1,9}(\.\d{1,6})?\Z", re.ASCII)
_OFTEN = re.compile(r"\d{1,9}(\.\d{1,9})?(e[+-]?\d{1,2})?\Z", re.ASCII | re.IGNORECASE)
_DIGITS_READ = 9
_SAYS_YES = {"yes": "true", "on": "true", "y": "true", "no": "false", "off": "false", "n": "false"}


class TextType(FieldType[T_co]):
    """What is written as one text; `wanted` and `shape` tell people and editors of it."""

    wanted: ClassVar[str] = "a text"
    shape: ClassVar[Schema] = SCALAR

    def read(self, node: Node, key: str, reader: Reader) -> T_co | Failed:
        """The value of the text that a node holds."""
        if isinstance(node, ScalarNode):
            return self.read_text(node, key, reader)
        return reader.unfit("not-a-text", node, key, self.wants())

    def wants(self) -> str:
        return self.wanted

    @abstractmethod
    def read_text(self, node: ScalarNode, key: str, reader: Reader) -> T_co | Failed:
        """The value of a text."""

    def schema(self) -> Schema:
        return {**self.shape}


@frozen
class Text(TextType[str]):
    """Any text, read without the blanks around it."""

    def read_text(self, node: ScalarNode, key: str, reader: Reader) -> str | Failed:
        return node.text.strip() or reader.fail("missing-value", node.span, f"'{key}' is empty", "a text")


@frozen
class Contact(Text):
    """A contact, as it is written in an expression; looked up when everything is named."""


@frozen
class Version(TextType[str]):
    """The version of the language."""

    wanted = f"`{VERSION}`"
    shape: ClassVar[Schema] = {"enum": [int(VERSION), VERSION]}

    def read_text(self, node: ScalarNode, key: str, reader: Reader) -> str | Failed:
        if node.text == VERSION:
            return VERSION
        said = f"version {describe(node)} of the language is not known here"
        return reader.fail("unknown-version", node.span, said, f"`interlock: {VERSION}`")


@frozen
class Id(TextType[str]):
    """A new name."""

    wanted = "a name"
    shape = NAME

    def read_text(self, node: ScalarNode, key: str, reader: Reader) -> str | Failed:
        return node.text if reader.is_new_name(node, "a name") else FAILED


@frozen
class Word(TextType[str]):
    """One word that names a state or position of something, such as `raised`.

    `known` are the words from which editors let people choose; whether the word fits the thing is checked later.
    """

    what: str
    known: tuple[str, ...] = ()

    def wants(self) -> str:
        return f"a {self.what}"

    def read_text(self, node: ScalarNode, key: str, reader: Reader) -> str | Failed:
        return node.text if reader.is_new_name(node, f"a {self.what}", state=True) else FAILED

    def schema(self) -> Schema:
        return {"anyOf": [{"enum": list(self.known)}, FILLED]} if self.known else {**NAME}


@frozen
class Whole(TextType[int]):
    """A whole number from `low` to `high`."""

    low: int
    high: int

    wanted = "a number"

    def read_text(self, node: ScalarNode, key: str, reader: Reader) -> int | Failed:
        expected = f"a whole number from {self.low} to {self.high}"
        if not _WHOLE.match(node.text):
            return reader.unfit("not-a-whole-number", node, key, expected)
        # int() of thousands of digits is slow or raises; more than nine are out of every range we have
        if len(node.text) > _DIGITS_READ or not self.low <= int(node.text) <= self.high:
            return reader.unfit("number-out-of-range", node, key, expected)
        return int(node.text)

    def schema(self) -> Schema:
        within = {"type": "integer", "minimum": self.low, "maximum": self.high}
        return {"anyOf": [within, {"type": "string", "pattern": r"^\d+$"}, FILLED]}


@frozen
class Amount(TextType[float]):
    """A positive number in `unit`, with a decimal point if need be."""

    unit: str

    wanted = "a number"

    def read_text(self, node: ScalarNode, key: str, reader: Reader) -> float | Failed:
        if _AMOUNT.match(node.text) and float(node.text) > 0:
            return float(node.text)
        return reader.unfit("not-an-amount", node, key, f"a positive number of {self.unit}, without the unit")

    def schema(self) -> Schema:
        positive = {"type": "number", "exclusiveMinimum": 0}
        return {"anyOf": [positive, {"type": "string", "pattern": r"^\d+(\.\d+)?$"}, FILLED]}


@frozen
class Frequency(TextType[float]):
    """How often something happens in an hour: a positive number, as `0.000002` or `2e-6`."""

    wanted = "a number such as `2e-6`"

    def read_text(self, node: ScalarNode, key: str, reader: Reader) -> float | Failed:
        if _OFTEN.match(node.text) and float(node.text) > 0:
            return float(node.text)
        return reader.unfit("not-an-amount", node, key, "a positive number in an hour, such as `2e-6`")

    def schema(self) -> Schema:
        return {"anyOf": [{"type": "number", "exclusiveMinimum": 0}, {"type": "string", "pattern": r"^\d"}, FILLED]}


@frozen
class YesNo(TextType[bool]):
    """`true` or `false`."""

    wanted = "true or false"
    shape: ClassVar[Schema] = {"anyOf": [{"type": "boolean"}, {"enum": ["true", "false"]}, FILLED]}

    def read_text(self, node: ScalarNode, key: str, reader: Reader) -> bool | Failed:
        if node.text in ("true", "false"):
            return node.text == "true"
        return reader.unfit("not-true-or-false", node, key, self.wanted, _SAYS_YES.get(node.text.lower()))


@frozen
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
        return reader.unfit("unknown-choice", node, key, self.wants(), reader.faults.hint(text, self.options))

    def offers(self, word: str) -> bool:
        return word in self.options

    def schema(self) -> Schema:
        return {"anyOf": [{"enum": list(self.options)}, FILLED]}


@frozen
class Expression(TextType[Syntax]):
    """A text in the language of `hold.language.parser`."""

    wanted = "an expression such as `D1 is closed`"

    def read_text(self, node: ScalarNode, key: str, reader: Reader) -> Syntax | Failed:
        found = parse_expression(node, reader.faults, reader.context)
        if found is None:
            return FAILED
        reader.expressions.append((found, reader.context))
        return found


@frozen
class ExpressionOrNever(TextType[Syntax | None]):
    """An expression; plain `never` reads as None."""

    wanted = Expression.wanted

    def read_text(self, node: ScalarNode, key: str, reader: Reader) -> Syntax | Failed | None:
        found = Expression().read_text(node, key, reader)
        return None if isinstance(found, Truth) and not found.value else found


@frozen
class StepText(TextType[Step]):
    """A verb and an object, such as `lower M3L`."""

    wanted = "a step such as `lower M3L`"

    def read_text(self, node: ScalarNode, key: str, reader: Reader) -> Step | Failed:
        return parse_step(node, reader.faults, reader.context) or FAILED


@frozen
class Reference(TextType[str]):
    """The id of something listed in one of these sections of a description; `kinds` narrows it further.

    Where `bays` is set it may be a bay as well.
    """

    sections: tuple[str, ...]
    kinds: tuple[str, ...] = ()
    bays: bool = False

    shape = NAME

    def wants(self) -> str:
        *others, last = (f"`{section}`" for section in self.sections)
        sections = f"{', '.join(others)} or {last}" if others else last
        return f"the id of something in {sections}" + (", or a bay" if self.bays else "")

    def read_text(self, node: ScalarNode, key: str, reader: Reader) -> str | Failed:
        if not reader.is_name(node, "a name"):
            return FAILED
        reader.mention(node, self.sections, self.kinds, self.bays)
        return node.text


@frozen
class Bay(TextType[str]):
    """The name of a bay."""

    wanted = "the name of a bay"
    shape = NAME

    def read_text(self, node: ScalarNode, key: str, reader: Reader) -> str | Failed:
        return node.text if reader.is_bay(node.text, node.span) else FAILED


@frozen
class Lane(TextType[str]):
    """The name of a lane."""

    wanted = "the name of a lane"
    shape = NAME

    def read_text(self, node: ScalarNode, key: str, reader: Reader) -> str | Failed:
        known = None if reader.bays is None else reader.bays.lanes
        if known is None or node.text in known:
            return node.text
        said, nearest = f"no lane is called {describe(node)}", reader.faults.hint(node.text, known)
        return reader.fail("unknown-name", node.span, said, "one of " + ", ".join(known), nearest)


@frozen
class BayOrOutside(TextType[str | None]):
    """The name of a bay, or the word `outside`, which reads as None."""

    wanted = Bay.wanted
    shape = NAME

    def read_text(self, node: ScalarNode, key: str, reader: Reader) -> str | Failed | None:
        return None if node.text == "outside" else Bay().read_text(node, key, reader)


@frozen
class SideText(TextType[Side]):
    """A side of a bay, such as `3L.aft`."""

    wanted = "a side such as `3L.aft`"
    shape: ClassVar[Schema] = {"type": "string", "pattern": rf"^[A-Za-z0-9_-]+\.({'|'.join(DIRECTIONS)})$|\{{"}

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
