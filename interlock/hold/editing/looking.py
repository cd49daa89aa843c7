"""What stands at a place: the name there, where it is given and used, what the field or word is; and an outline."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from interlock.diagnostics.frozen import frozen
from interlock.diagnostics.spans import Span
from interlock.hold.editing.cursor import MARK, place_at
from interlock.hold.editing.known import Known, span_within
from interlock.hold.editing.meanings import Mentioned
from interlock.hold.floor import lay_out, parts_of
from interlock.hold.kinds import CONTROL_KINDS, DEVICE_KINDS, Kind, control_kind
from interlock.hold.language.declarations import Field
from interlock.hold.language.model import SECTIONS
from interlock.hold.language.nodes import MappingNode, Node, ScalarNode, SequenceNode
from interlock.hold.language.references import id_of
from interlock.hold.loader import beside


@frozen
class Told:
    """What is told of a place: of a field, of a kind of device or control, or of a thing.

    Of a thing: what it `is`, what people call it, what it can be said to be (`states`), what can be asked for of it
    (`steps`), what it has behind a dot (`parts`), and where it is given.
    """

    span: Span
    title: str
    field: Field | None = None
    kind: Kind | None = None
    about: str = ""
    states: tuple[str, ...] = ()
    steps: tuple[str, ...] = ()
    parts: tuple[str, ...] = ()
    given: Span | None = None


def mentioned_at(known: Known, line: int, column: int) -> Mentioned | None:
    """The name at a place; of several that a repetition makes of it, the first."""
    found = [one for one in known.mentions if span_within(one.span, line, column)]
    # a name that is one of something goes before a word that only may be one
    named = [one for one in found if known.section_of(one.name) is not None or _is_bay(known, one.name)]
    return min(named or found, key=lambda one: one.span.length, default=None)


def _is_bay(known: Known, name: str) -> bool:
    return known.hold is not None and name in known.hold.layout.bay_names


def is_same(known: Known, one: Mentioned, name: str) -> bool:
    """Whether a name that was written speaks of the thing of this name: as it is, as a place at its door, as a part."""
    return one.name == name or one.name in derived_names(known, name)


def derived_names(known: Known, name: str) -> frozenset[str]:
    """Names that are made of this one: of places on the loader of a door, and of parts of a unit."""
    if known.hold is None or known.world is None:
        return frozenset()
    parts = {part.id for unit in known.hold.units if unit.id == name for part in parts_of(unit)}
    doors = {door.id for door in known.hold.doorways if door.id == name}
    outside = {id for id, at in _outside(known) if at in doors}
    return frozenset((parts | outside) - {name})


def _outside(known: Known) -> Iterator[tuple[str, str]]:
    if known.hold is not None:
        for name, cell in lay_out(known.hold).cells.items():
            if cell.door is not None:
                yield name, cell.door


def definition_of(known: Known, line: int, column: int) -> Span | None:
    """Where the name at a place is given, or the file that is named there begins."""
    file = file_named_at(known, line, column)
    if file is not None:
        return Span(file, 1, 1)
    at = mentioned_at(known, line, column)
    if at is None:
        return None
    for one in sorted(known.given, key=lambda one: one.is_requirement):
        if is_same(known, at, one.name):
            return one.span
    if _is_bay(known, at.name) and known.hold is not None:
        return known.hold.layout.span
    return None


def file_named_at(known: Known, line: int, column: int) -> str | None:
    """The file that is named at a place, as it is looked for."""
    for node in (None if known.root is None else known.root.value(key) for key in ("modifies", "hold")):
        if isinstance(node, ScalarNode) and span_within(node.span, line, column):
            return beside(known.source.name, node.text.strip())
    return None


def references_of(known: Known, line: int, column: int, others: Iterable[Known] = ()) -> tuple[Span, ...]:
    """Everywhere that the thing at a place is named, its own place among them; in these files and in `others`."""
    at = mentioned_at(known, line, column)
    if at is None:
        return ()
    own = next((one.name for one in known.given if is_same(known, at, one.name)), at.name)
    found: dict[Span, None] = {}
    for mentions in (known.mentions, *known.others.values(), *(other.mentions for other in others)):
        for one in mentions:
            if is_same(known, one, own):
                found[one.span] = None
    return tuple(sorted(found, key=lambda span: (span.file != known.source.name, span.file, span.line, span.column)))


def told_at(known: Known, line: int, column: int) -> Told | None:
    """What is told of a place; None where there is nothing to say."""
    field = _field_at(known, line, column)
    if field is not None:
        return field
    at = mentioned_at(known, line, column)
    if at is not None:
        return _thing(known, at)
    return _kind_at(known, line, column)


def _thing(known: Known, at: Mentioned) -> Told | None:
    given = next((one for one in known.given if is_same(known, at, one.name)), None)
    thing = None if known.world is None else known.world.things.get(at.name)
    group = None if known.world is None else known.world.groups.get(at.name)
    states = () if thing is None else tuple(thing.states)
    steps = () if thing is None else tuple(thing.verbs)
    parts = () if thing is None else tuple(thing.parts)
    if given is None or given.section is None:
        if thing is None:
            if group is None:
                return None
            members = ", ".join(one.id for one in group) or "nothing"
            return Told(at.span, at.name, about=f"a group: {members}")
        return Told(at.span, at.name, about=str(thing.sort), states=states, steps=steps, parts=parts)
    noun = SECTIONS[given.section].declaration.noun
    written = {} if given.whole is None else {entry.key.text: entry.value for entry in given.whole.entries}
    called = written.get("name", written.get("text"))
    about = f"{noun}: {called.text}" if isinstance(called, ScalarNode) else noun
    kind = _kind(written.get("kind"))
    return Told(at.span, at.name, None, kind, about, states, steps, parts, given.span)


def _kind(node: Node | None) -> Kind | None:
    if not isinstance(node, ScalarNode):
        return None
    if node.text in CONTROL_KINDS:
        return control_kind(node.text, ("off", "on"), "off", False)
    return DEVICE_KINDS.get(node.text)


def _field_at(known: Known, line: int, column: int) -> Told | None:
    """What is told of the key at a place."""
    key = _key_at(known.root, line, column)
    if key is None:
        return None
    # as if the key were being written
    text = known.lines[line - 1]
    start = key.span.column - 1
    bare = (*known.lines[: line - 1], text[:start] + MARK, *known.lines[line:])
    place = place_at(bare, line, start + 1, known.sort, known.section_of)
    fields = () if place is None else place.fields
    found = next((one for one in fields if one.key == key.text), None)
    return None if found is None else Told(key.span, key.text, found)


def _key_at(node: Node | None, line: int, column: int) -> ScalarNode | None:
    open_ones = [node] if node is not None else []
    while open_ones:
        one = open_ones.pop()
        if isinstance(one, SequenceNode):
            open_ones.extend(one.items)
        elif isinstance(one, MappingNode):
            for entry in one.entries:
                span = entry.key.span
                if span.line == line and span.column <= column < span.column + span.length:
                    return entry.key
                open_ones.append(entry.value)
    return None


def _kind_at(known: Known, line: int, column: int) -> Told | None:
    for node in _scalars(known.root):
        if span_within(node.span, line, column) and (kind := _kind(node)) is not None:
            return Told(node.span, node.text, kind=kind)
    return None


def _scalars(node: Node | None) -> Iterator[ScalarNode]:
    open_ones = [node] if node is not None else []
    while open_ones:
        one = open_ones.pop()
        match one:
            case ScalarNode():
                yield one
            case SequenceNode():
                open_ones.extend(one.items)
            case MappingNode():
                open_ones.extend(entry.value for entry in one.entries)


# --- an outline


@frozen
class Part:
    """A part of a file for its outline: what it is called, what it is, from where to which line, its own parts."""

    name: str
    about: str
    span: Span
    last_line: int
    section: str
    parts: tuple[Part, ...] = ()


def outline(known: Known) -> tuple[Part, ...]:
    """The keys of a file, and under those of lists the items that have an id, as written."""
    if known.root is None:
        return ()
    entries = known.root.entries
    found = []
    for at, entry in enumerate(entries):
        end = entries[at + 1].key.span.line - 1 if at + 1 < len(entries) else len(known.lines)
        last = max(entry.key.span.line, end)
        about = entry.value.text if isinstance(entry.value, ScalarNode) else ""
        items = _items(entry.value, entry.key.text, last) if isinstance(entry.value, SequenceNode) else ()
        found.append(Part(entry.key.text or '""', about, entry.key.span, last, entry.key.text, items))
    return tuple(found)


def _items(listed: SequenceNode, section: str, last: int) -> tuple[Part, ...]:
    items = [one for one in listed.items if isinstance(one, MappingNode)]
    found = []
    for at, item in enumerate(items):
        given = id_of(item) or (item.entries[0].value if item.entries else None)
        if not isinstance(given, ScalarNode) or not given.text:
            continue
        end = items[at + 1].span.line - 1 if at + 1 < len(items) else last
        called = item.value("name")
        about = called.text if isinstance(called, ScalarNode) else ""
        found.append(Part(given.text, about, given.span, max(given.span.line, end), section))
    return tuple(found)


__all__ = [
    "Part",
    "Told",
    "definition_of",
    "derived_names",
    "mentioned_at",
    "outline",
    "references_of",
    "told_at",
]
