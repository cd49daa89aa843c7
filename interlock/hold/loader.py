"""From the bytes of files to a description as plain values, or to every fault in them."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, Generic, TypeVar

from interlock.diagnostics.faults import Faults
from interlock.diagnostics.spans import Diagnostic, Span
from interlock.hold.bay_names import MOST_BAYS, BayNames
from interlock.hold.model import Change, Hold, RequirementText
from interlock.hold.nodes import (
    MappingNode,
    Node,
    ScalarNode,
    SequenceNode,
    clip,
    compose,
    decode,
    describe,
    split_lines,
)
from interlock.hold.parser import is_name
from interlock.hold.reader import FAILED, Reader
from interlock.hold.references import collect_names, resolve_mentions
from interlock.hold.repetition import expand_repetitions
from interlock.hold.schema_fields import SECTIONS, Listed, RecordOf, Text

VERSION = "1"
"""The version of the language that this program reads."""

T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Source:
    """A file: its name as messages show it, and its bytes."""

    name: str
    content: bytes


@dataclass(frozen=True, slots=True)
class Loaded(Generic[T]):
    """What was read, or None if there is any error; the faults by place; the lines of every file that was read."""

    value: T | None
    diagnostics: tuple[Diagnostic, ...]
    sources: Mapping[str, tuple[str, ...]]


Fetch = Callable[[str], Source | None]


def load_hold(source: Source, fetch: Fetch) -> Loaded[Hold]:
    """Read a description, with all that it modifies.

    `fetch` brings a file by its name, written relative to where `source` is named from; None where there is none.
    """
    faults = Faults()
    sources: dict[str, tuple[str, ...]] = {}
    root = _root(source, faults, sources)
    hold = None if root is None else _read_hold(root, faults)
    return Loaded(None if faults else hold, faults.sorted(), sources)


def _root(source: Source, faults: Faults, sources: dict[str, tuple[str, ...]]) -> MappingNode | None:
    text = decode(source.name, source.content, faults)
    if text is None:
        return None
    lines = split_lines(text)
    sources[source.name] = lines
    node = compose(source.name, text, lines, faults)
    if node is None:
        return None
    if not isinstance(node, MappingNode):
        faults.add(
            "not-a-mapping", node.span, f"a description cannot be {describe(node)}", expected="`interlock: 1` first"
        )
        return None
    return expand_repetitions(node, faults)


def _read_hold(root: MappingNode, faults: Faults) -> Hold | None:
    bays = _bay_names(root.value("layout"))
    names = collect_names(root, bays, faults)
    reader = Reader(faults, bays)
    values: dict[str, Any] = {"title": "", "about": "", "layout": None}
    for key in ("title", "about"):
        node = root.value(key)
        if node is not None:
            values[key] = reader.value(Text(), node, key)
    layout = root.value("layout")
    if layout is not None:
        values["layout"] = reader.record("layout", layout)
    for key, section in SECTIONS.items():
        node = root.value(key)
        values[key] = () if node is None else reader.value(Listed(RecordOf(section.record)), node, key)
    resolve_mentions(reader.mentions, names, bays, {}, faults)
    if faults or FAILED in values.values():
        return None
    return Hold(**values, changes=(), span=root.span)


def _bay_names(layout: Node | None) -> BayNames | None:
    """The bays that a layout makes; None where it cannot be read, which is told elsewhere."""
    if not isinstance(layout, MappingNode):
        return None
    lanes, rows = layout.value("lanes"), layout.value("rows")
    if isinstance(lanes, ScalarNode):
        lanes = SequenceNode((lanes,), lanes.span)
    if not isinstance(lanes, SequenceNode) or not isinstance(rows, ScalarNode):
        return None
    names = tuple(item.text for item in lanes.items if isinstance(item, ScalarNode))
    if not names or not all(map(is_name, names)) or not rows.text.isascii() or not rows.text.isdigit():
        return None
    if len(rows.text) > 4 or not 0 < int(rows.text) * len(names) <= MOST_BAYS:
        return None
    return BayNames(names, int(rows.text))
