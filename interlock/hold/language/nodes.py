"""YAML as a tree of nodes that know where they were written.

Every scalar stays text: a field that wants a number or a truth value asks for it later, so `off` is a word and `1:30`
is no number of minutes.  Anchors, aliases, tags and several documents in one file are not accepted, and a file that is
larger than the limits below is refused before it can do harm.
"""

from __future__ import annotations

import re
from bisect import bisect_right
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from itertools import zip_longest
from typing import TYPE_CHECKING, Any, NoReturn, TypeAlias

import yaml

from interlock.diagnostics.faults import Faults
from interlock.diagnostics.frozen import frozen
from interlock.diagnostics.spans import Span

if TYPE_CHECKING:
    from yaml.events import Event

LARGEST_FILE_BYTES = 4_000_000
DEEPEST = 40
MOST_VALUES = 200_000
LONGEST_SCALAR = 10_000

_LOADER: Any = getattr(yaml, "CSafeLoader", yaml.SafeLoader)  # wheels without libyaml exist: same results, slower
_UNPRINTABLE = re.compile("[^\t\n\r\x20-\x7e\xa0-\u2027\u202a-\ud7ff\ue000-\ufefe\uff00-\ufffd\U00010000-\U0010ffff]")
_BRACES = re.compile(r"\{\w+(?:[+-]\d+)?\}")
_BRACE_FIRST = re.compile(r"(?:[-:]\s+|[,\[]\s*)\{\w+(?:[+-]\d+)?\}$")
"""A line up to what follows a text that was to begin with a repetition's variable."""
_LINE_END = re.compile(r"\r\n|\r|\n")


@frozen
class Stretch:
    """A part of a scalar's text, from the character `start` on, and where it was written.

    With `width` 0 the characters follow one another in the source from `column` on; otherwise they all stand for the
    `width` characters there, which a repetition replaced.
    """

    start: int
    line: int
    column: int
    width: int = 0


@frozen
class ScalarNode:
    """A text.

    `stretches` match it with the source, in order; None where they cannot, because an escape was used.
    """

    text: str
    span: Span
    quoted: bool
    stretches: tuple[Stretch, ...] | None

    @property
    def is_filled_in(self) -> bool:
        """Whether a repetition replaced some of the text."""
        return self.stretches is not None and any(stretch.width for stretch in self.stretches)

    def place_of(self, start: int, end: int) -> Span | None:
        """Where the characters from `start` to before `end` were written; None where that cannot be known.

        `start` may be the length of the text: the place just behind it.
        """
        if not self.stretches:
            return None
        if start >= len(self.text) > 0:
            line, _, stop = self._extent(len(self.text) - 1)
            return Span(self.span.file, line, stop)
        line, column, stop = self._extent(start)
        last = min(end, len(self.text)) - 1
        while last > start:
            other_line, _, other_stop = self._extent(last)
            if other_line == line:
                stop = max(stop, other_stop)
                break
            last = self.stretches[self._stretch_of(last)].start - 1  # to the end of the line before
            while last > start and self.text[last].isspace():
                last -= 1
        return Span(self.span.file, line, column, max(1, stop - column))

    def _stretch_of(self, at: int) -> int:
        return max(0, bisect_right(self.stretches or (), at, key=lambda stretch: stretch.start) - 1)

    def _extent(self, at: int) -> tuple[int, int, int]:
        """Line, column and the column behind of one character."""
        stretch = (self.stretches or ())[self._stretch_of(at)]
        if stretch.width:
            return stretch.line, stretch.column, stretch.column + stretch.width
        column = stretch.column + at - stretch.start
        return stretch.line, column, column + 1


def cut_stretches(stretches: tuple[Stretch, ...], low: int, high: int, to: int) -> Iterator[Stretch]:
    """The stretches of the characters from `low` to before `high`, where the first of these becomes number `to`."""
    for stretch, after in zip_longest(stretches, stretches[1:]):
        end = high if after is None else min(high, after.start)
        start = max(low, stretch.start)
        if start < end:
            moved = 0 if stretch.width else start - stretch.start
            yield Stretch(start - low + to, stretch.line, stretch.column + moved, stretch.width)


@frozen
class SequenceNode:
    """A list."""

    items: tuple[Node, ...]
    span: Span


@frozen
class Entry:
    """A key with its value."""

    key: ScalarNode
    value: Node


@frozen
class MappingNode:
    """Keys with values; no key twice.  `context` tells how it came about (a repetition, a modification)."""

    entries: tuple[Entry, ...]
    span: Span
    context: tuple[str, ...] = ()

    def entry(self, key: str) -> Entry | None:
        """The entry of that key, or None.  Linear."""
        return next((entry for entry in self.entries if entry.key.text == key), None)

    def value(self, key: str) -> Node | None:
        """The value of that key, or None.  Linear."""
        entry = self.entry(key)
        return None if entry is None else entry.value


Node: TypeAlias = ScalarNode | SequenceNode | MappingNode


def describe(node: Node) -> str:
    """What a node is, in a few words, for messages."""
    match node:
        case MappingNode():
            return "a mapping (keys with values)"
        case SequenceNode():
            return "a list"
        case ScalarNode(text):
            return f"'{clip(text)}'" if text else "nothing"


def is_absent(node: Node) -> bool:
    """Whether a key was written without a value."""
    return isinstance(node, ScalarNode) and not node.text and not node.quoted


def clip(text: str, longest: int = 40) -> str:
    """The text on one line, shortened to at most `longest` characters."""
    flat = " ".join(text.split())
    return flat if len(flat) <= longest else flat[: longest - 3] + "..."


class _Refused(Exception):
    """The file breaks a limit; nothing after this place is read."""


@dataclass(slots=True)
class _Open:
    """A list or mapping whose end was not met yet."""

    span: Span
    is_mapping: bool
    flow: bool
    items: list[Node] = field(default_factory=list)
    entries: list[Entry] = field(default_factory=list)
    keys: dict[str, Span] = field(default_factory=dict)
    key: ScalarNode | None = None
    key_failed: bool = False


def decode(name: str, content: bytes, faults: Faults) -> str | None:
    """The text of a file, or None with a fault noted where it is too large or not printable UTF-8."""
    if len(content) > LARGEST_FILE_BYTES:
        expected = f"at most {LARGEST_FILE_BYTES:,} bytes"
        faults.add("file-too-large", Span(name, 1, 1), "the file is too large", expected)
        return None
    try:
        text = content.decode("utf-8")
    except UnicodeDecodeError as error:
        before = content[: error.start].decode("utf-8", "replace")
        said = f"byte 0x{content[error.start]:02x} at offset {error.start} is not UTF-8"
        faults.add("not-utf-8", _behind(name, before), said, "a text file saved as UTF-8")
        return None
    text = text.removeprefix("\ufeff")
    found = _UNPRINTABLE.search(text)
    if found:
        said = f"character U+{ord(found.group()):04X} cannot be printed"
        expected = "printable text, blanks, tabs and line ends"
        faults.add("unprintable-character", _behind(name, text[: found.start()]), said, expected)
        return None
    return text


def _behind(name: str, before: str) -> Span:
    """The character behind the first ones of a file."""
    lines = split_lines(before)
    return Span(name, len(lines), len(lines[-1]) + 1)


def split_lines(text: str) -> tuple[str, ...]:
    """The lines of a text, as YAML and editors count them."""
    return tuple(_LINE_END.split(text))


def compose(name: str, text: str, lines: tuple[str, ...], faults: Faults) -> Node | None:
    """The node tree of a decoded file; None, with faults noted, where it cannot be read."""
    composer = _Composer(name, lines, faults)
    try:
        for event in yaml.parse(text, Loader=_LOADER):
            composer.take(event)
    except _Refused:
        return None
    except yaml.MarkedYAMLError as error:
        _note_yaml_error(name, lines, error, faults)
        return None
    except (yaml.YAMLError, ValueError, OverflowError) as error:
        # the Python scanner lets int() and chr() speak where libyaml has a message of its own
        faults.add("not-yaml", composer.last, f"this cannot be read as YAML ({clip(str(error), 80)})")
        return None
    if composer.broken:
        return None
    if composer.root is None:
        faults.add("empty-file", Span(name, 1, 1), "the file says nothing", "`interlock: 1` and a description")
    return composer.root


def _note_yaml_error(name: str, lines: tuple[str, ...], error: yaml.MarkedYAMLError, faults: Faults) -> None:
    mark = error.problem_mark or error.context_mark
    line = min(mark.line if mark else 0, len(lines) - 1)
    column = min(mark.column if mark else 0, len(lines[line]))
    span = Span(name, line + 1, column + 1)
    if lines[line][column : column + 1] == "\t":
        faults.add("tab-for-indentation", span, "a tab cannot indent or start a value", "blanks instead of tabs")
        return
    said = " ".join(part for part in (error.problem, error.context) if part)
    expected = _advice(lines[line], column)
    context: tuple[str, ...] = ()
    opened = error.context_mark
    if opened is not None and opened.line < len(lines):
        sign = lines[opened.line][opened.column : opened.column + 1]
        if _BRACES.match(lines[line], column):
            expected = "quotes around a text that has braces in it"
        elif sign in ("[", "{", "'", '"'):
            expected = "it closed, and a comma between what stands inside" if sign in "[{" else "it closed"
            context = (f"the {sign} at line {opened.line + 1}, column {opened.column + 1} is still open",)
    faults.add("not-yaml", span, f"this cannot be read as YAML ({clip(said, 90)})", expected, context=context)


def _advice(line: str, column: int) -> str | None:
    """What most likely went wrong on a line that is no YAML, at a column from 0."""
    if line[column : column + 1] == ":" and ":" in line[:column]:
        return "quotes around a text that has a colon and a blank in it"
    if line[column : column + 1] in ("`", "@", "%", "*", "&", "!", "|", ">"):
        return "quotes around a text that begins with a sign"
    if _BRACE_FIRST.search(line[:column]):
        return "quotes around a text that begins with `{`"
    if not line[:column].strip():
        return "the same indentation as the lines that it belongs with"
    return None


def _ends(event: Event) -> tuple[tuple[int, int], tuple[int, int]]:
    """Line and column, from 0, of the start and of the end of an event."""
    start, end = event.start_mark, event.end_mark
    if start is None or end is None:
        raise AssertionError("both parsers mark every event")
    return (start.line, start.column), (end.line, end.column)


class _Composer:
    """Builds the tree from events with a stack of its own, so that depth costs no Python stack."""

    def __init__(self, name: str, lines: tuple[str, ...], faults: Faults) -> None:
        self.name = name
        self.lines = lines
        self.faults = faults
        self.root: Node | None = None
        self.broken = False
        self.last = Span(name, 1, 1)
        self._stack: list[_Open] = []
        self._values = 0
        self._documents = 0

    def take(self, event: Event) -> None:
        """Read one event.  Raises _Refused where a limit is broken."""
        match event:
            case yaml.ScalarEvent():
                self._count(event)
                self._put(self._scalar(event))
            case yaml.MappingStartEvent() | yaml.SequenceStartEvent():
                self._count(event)
                span = self._span(event)
                if len(self._stack) >= DEEPEST:
                    said = f"lists and mappings are nested more than {DEEPEST} deep"
                    self._refuse("nested-too-deep", span, said, "a flatter description")
                self._stack.append(_Open(span, isinstance(event, yaml.MappingStartEvent), bool(event.flow_style)))
            case yaml.MappingEndEvent() | yaml.SequenceEndEvent():
                self._put(self._close(self._stack.pop(), event))
            case yaml.AliasEvent(anchor=anchor):
                said, expected = f"the alias *{clip(anchor or '')} is not accepted", "a repetition (`for:`)"
                self._refuse("alias-not-accepted", self._span(event), said, f"{expected}, or the text written out")
            case yaml.DocumentStartEvent():
                self._documents += 1
                if self._documents > 1:
                    said = "a second document begins here"
                    self._refuse("several-documents", self._span(event), said, "one description in a file")

    def _refuse(self, code: str, span: Span, message: str, expected: str) -> NoReturn:
        self.faults.add(code, span, message, expected)
        raise _Refused

    def _span(self, event: Event) -> Span:
        start, end = _ends(event)
        length = end[1] - start[1] if end[0] == start[0] else 1
        self.last = Span(self.name, start[0] + 1, start[1] + 1, max(1, length))
        return self.last

    def _count(self, event: yaml.ScalarEvent | yaml.MappingStartEvent | yaml.SequenceStartEvent) -> None:
        self._values += 1
        if self._values > MOST_VALUES:
            said, expected = f"the file has more than {MOST_VALUES:,} values", "a repetition (`for:`)"
            self._refuse("too-many-values", self._span(event), said, f"{expected} instead of lists written out")
        if event.anchor is not None:
            said, expected = f"the anchor &{clip(event.anchor)} is not accepted", "a repetition (`for:`)"
            self.faults.add("anchor-not-accepted", self._span(event), said, f"{expected}, or the text written out")
        if event.tag is not None and event.tag != "!":
            said = f"the tag {clip(event.tag.replace('tag:yaml.org,2002:', '!!'))} is not accepted"
            self.faults.add("tag-not-accepted", self._span(event), said, "the value alone; each field knows its type")

    def _scalar(self, event: yaml.ScalarEvent) -> ScalarNode:
        span = self._span(event)
        text = event.value
        if len(text) > LONGEST_SCALAR:
            expected = f"at most {LONGEST_SCALAR:,} characters"
            self._refuse("text-too-long", replace(span, length=1), f"a text of {len(text):,} characters", expected)
        unprintable = _UNPRINTABLE.search(text)
        if unprintable:  # by an escape, or a surrogate that only the Python scanner lets through
            said = f"the escape for U+{ord(unprintable.group()):04X} gives no printable character"
            self.faults.add("unprintable-character", span, said, "printable text")
            self.broken = True
        quoted = event.style in ("'", '"')
        (line, start), (end_line, _) = _ends(event)
        column = start + (1 if quoted else 0)
        source = self.lines[line] if line < len(self.lines) else ""
        if line == end_line and source[column : column + len(text)] == text:
            return ScalarNode(text, span, quoted, (Stretch(0, line + 1, column + 1),))
        if line != end_line:
            span = replace(span, length=max(1, len(source.rstrip()) - start))
        return ScalarNode(text, span, quoted, self._align(event, quoted))

    def _align(self, event: yaml.ScalarEvent, quoted: bool) -> tuple[Stretch, ...] | None:
        """Match a text that was folded over lines with the source, letter by letter; None where an escape is used."""
        source = self._letters(event, skip=1 if quoted else 0, after_header=event.style in ("|", ">"))
        stretches: list[Stretch] = []
        for at, letter in enumerate(event.value):
            if letter.isspace():
                continue
            line, column, found = next(source, (0, 0, ""))
            if found != letter:
                return None
            if stretches:
                last = stretches[-1]
                if last.line == line and last.column + at - last.start == column:
                    continue
            stretches.append(Stretch(at if stretches else 0, line, column - (0 if stretches else at)))
        return tuple(stretches)

    def _letters(self, event: yaml.ScalarEvent, skip: int, after_header: bool) -> Iterator[tuple[int, int, str]]:
        """The letters of the source, without blanks, over the extent of a scalar."""
        (first, first_column), (last, last_column) = _ends(event)
        for line in range(first + (1 if after_header else 0), min(last, len(self.lines) - 1) + 1):
            start = first_column + skip if line == first else 0
            stop = last_column if line == last else len(self.lines[line])
            for column in range(start, stop):
                letter = self.lines[line][column]
                if not letter.isspace():
                    yield line + 1, column + 1, letter

    def _close(self, opened: _Open, event: Event) -> Node:
        span = opened.span
        _, (end_line, end_column) = _ends(event)
        if opened.flow and end_line + 1 == span.line:
            span = replace(span, length=max(1, end_column + 1 - span.column))
        elif opened.entries:
            span = replace(span, length=opened.entries[0].key.span.length)
        if opened.is_mapping:
            return MappingNode(tuple(opened.entries), span)
        return SequenceNode(tuple(opened.items), span)

    def _put(self, node: Node) -> None:
        if not self._stack:
            self.root = node
            return
        opened = self._stack[-1]
        if not opened.is_mapping:
            opened.items.append(node)
        elif opened.key_failed:
            opened.key_failed = False
        elif opened.key is not None:
            opened.entries.append(Entry(opened.key, node))
            opened.key = None
        else:
            self._put_key(opened, node)

    def _put_key(self, opened: _Open, node: Node) -> None:
        if not isinstance(node, ScalarNode):
            self.faults.add("key-not-a-word", node.span, f"a key cannot be {describe(node)}", "a word")
            opened.key_failed = True
            return
        earlier = opened.keys.get(node.text)
        if earlier is not None:
            said, expected = f"'{clip(node.text)}' stands here a second time", "each key once in a mapping"
            where = f"the first is at line {earlier.line}, column {earlier.column}"
            self.faults.add("duplicate-key", node.span, said, expected, context=(where,))
            opened.key_failed = True
            return
        opened.keys[node.text] = node.span
        opened.key = node
