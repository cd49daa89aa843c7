"""Carries out the changes of a modification on the node tree of the hold that it modifies.

Working on nodes keeps every position: what a change writes is read later like anything else, and faults in it point
into the file of the modification.  Repeated items are expanded before, so that one of them can be changed.
"""

from __future__ import annotations

from collections.abc import Container, Mapping
from dataclasses import dataclass, field

from interlock.diagnostics.faults import Faults
from interlock.diagnostics.spans import Span
from interlock.hold.language.model import SECTIONS, Change, Deferral
from interlock.hold.language.nodes import Entry, MappingNode, Node, ScalarNode, SequenceNode, clip, describe
from interlock.hold.language.reader import Reader
from interlock.hold.language.records import read_record
from interlock.hold.language.references import id_of
from interlock.hold.overlay.changes import CHANGES, Add, ChangeFields, Defer, Fix, Remove

FIXED_SECTIONS = ("devices", "controls")


@dataclass(slots=True)
class OverlaidDescription:
    """A description while it is being modified.

    `sections` holds the items of each list, None where one was taken away; `index` tells where each id is.
    """

    root: MappingNode
    sections: dict[str, list[Node | None]]
    index: dict[str, tuple[str, int]]
    changes: list[Change] = field(default_factory=list)
    items: int = 0
    """How many items of lists of changes were met so far."""
    removed: dict[str, Span] = field(default_factory=dict)

    def append(self, section: str, item: Node) -> ScalarNode | None:
        """Add an item at the end of a section; gives its id."""
        items = self.sections.setdefault(section, [])
        given = id_of(item) if isinstance(item, MappingNode) else None
        if given is not None:
            self.index.setdefault(given.text, (section, len(items)))
        items.append(item)
        return given

    def tree(self) -> MappingNode:
        """The description as it is now."""
        entries = _by_key(self.root)
        for section, found in self.sections.items():
            items = tuple(item for item in found if item is not None)
            written = entries.get(section)
            if written is not None:
                entries[section] = Entry(written.key, SequenceNode(items, written.value.span))
            elif items:
                entries[section] = Entry(_key(section, items[0]), SequenceNode(items, items[0].span))
        return MappingNode(tuple(entries.values()), self.root.span, self.root.context)


def unchanged(root: MappingNode) -> OverlaidDescription:
    """A description before any change.  Sections that are no lists stay as they are, to be told when they are read.

    An object comes before a requirement of the same id.
    """
    description = OverlaidDescription(root, {}, {})
    for key in SECTIONS:
        node = root.value(key)
        if node is None:
            description.sections[key] = []
        elif isinstance(node, SequenceNode):
            description.sections[key] = []
            for item in node.items:
                description.append(key, item)
    return description


def apply_modification(
    description: OverlaidDescription, modification: MappingNode, faults: Faults, undone: frozenset[int] = frozenset()
) -> None:
    """Carry out the changes of a modification in order, but for those `undone`, and give the description its title."""
    heads = {key: entry for key in ("title", "about") if (entry := modification.entry(key)) is not None}
    kept = tuple(entry for entry in description.root.entries if entry.key.text not in heads)
    description.root = MappingNode((*heads.values(), *kept), description.root.span)
    changes = modification.value("changes")
    if not isinstance(changes, SequenceNode):
        return  # told with the top of the modification
    for item in changes.items:
        description.items += 1
        if description.items in undone:
            continue
        context = item.context if isinstance(item, MappingNode) else ()
        _Carrier(description, Reader(faults, None, context)).carry_out(item)


class _Carrier:
    """Carries out one change."""

    def __init__(self, description: OverlaidDescription, reader: Reader) -> None:
        self._description = description
        self._reader = reader

    def carry_out(self, item: Node) -> None:
        expected = f"one of {', '.join(CHANGES)}"
        if not isinstance(item, MappingNode):
            self._reader.fail("unknown-change", item.span, f"a change cannot be {describe(item)}", expected)
            return
        found = [entry for entry in item.entries if entry.key.text in CHANGES]
        if len(found) != 1:
            first = item.entries[0].key if item.entries else None
            said = "a change does one thing" if found else "this does not say what is changed"
            nearest = self._reader.faults.hint(first.text, CHANGES) if first is not None and not found else None
            span = found[1].key.span if found else item.span
            self._reader.fail("unknown-change", span, said, expected, nearest)
            return
        match read_record(CHANGES[found[0].key.text], item, self._reader):
            case Remove(remove=target):
                self._remove(target)
            case Fix(fix=target):
                self._set("fix", target, _fixed(item), FIXED_SECTIONS, "a device or a control")
            case Defer(defer=target):
                self._set("defer", target, {**_fixed(item), **self._deferred(target, item)}, ("devices",), "a device")
            case ChangeFields(change=target, to=fields) if target.text == "layout":
                self._change_layout(target, _by_key(fields))
            case ChangeFields(change=target, to=fields):
                self._change(target, _by_key(fields))
            case Add(add=sections):
                self._add_items(sections)

    # --- the verbs

    def _remove(self, target: ScalarNode) -> None:
        place = self._place(target)
        if place is not None:
            section, at = place
            self._description.sections[section][at] = None
            del self._description.index[target.text]
            self._description.removed[target.text] = target.span
            self._note("remove", target)

    def _set(
        self,
        verb: str,
        target: ScalarNode,
        fields: Mapping[str, Entry],
        sections: Container[str] = SECTIONS,
        expected: str = "",
    ) -> None:
        """Gives a thing of one of the sections other fields."""
        place = self._place(target)
        if place is None:
            return
        section, at = place
        if section not in sections:
            noun = SECTIONS[section].declaration.noun
            self._reader.fail("wrong-object-kind", target.span, f"'{clip(target.text)}' is {noun}", expected)
            return
        item = self._description.sections[section][at]
        if isinstance(item, MappingNode):
            self._description.sections[section][at] = _replaced(item, fields, self._as_changed(target))
        self._note(verb, target)

    def _deferred(self, target: ScalarNode, item: MappingNode) -> dict[str, Entry]:
        reason = tuple(entry for entry in item.entries if entry.key.text in Deferral.declaration.keys)
        deferral = MappingNode(reason, target.span, self._reader.context or self._as_changed(target))
        return {"deferred": Entry(_key("deferred", target), deferral)}

    def _change(self, target: ScalarNode, fields: Mapping[str, Entry]) -> None:
        if "id" not in fields:
            self._set("change", target, fields)
        elif self._place(target) is not None:
            said = f"'{clip(target.text)}' keeps its id"
            expected = "a removal and an addition, where it is another thing"
            self._reader.fail("id-cannot-change", fields["id"].key.span, said, expected)

    def _change_layout(self, target: ScalarNode, fields: Mapping[str, Entry]) -> None:
        layout = self._description.root.entry("layout")
        if layout is None or not isinstance(layout.value, MappingNode):
            return
        changed = Entry(layout.key, _replaced(layout.value, fields, self._as_changed(target)))
        entries = tuple(changed if entry is layout else entry for entry in self._description.root.entries)
        self._description.root = MappingNode(entries, self._description.root.span)
        self._note("change", target)

    def _add_items(self, sections: MappingNode) -> None:
        for entry in sections.entries:
            section = entry.key.text
            if section not in SECTIONS:
                said, expected = f"nothing can be added to '{clip(section)}'", "one of " + ", ".join(SECTIONS)
                nearest = self._reader.faults.hint(section, SECTIONS)
                self._reader.fail("unknown-field", entry.key.span, said, expected, nearest)
                continue
            if not isinstance(entry.value, SequenceNode):
                self._reader.unfit("not-a-list", entry.value, section, "a list")
                continue
            for item in entry.value.items:
                given = self._description.append(section, item)
                if given is not None:
                    self._description.removed.pop(given.text, None)
                name = given.text if given is not None else _nameless(section, item)
                self._description.changes.append(
                    self._noted("add", name, given.span if given is not None else item.span)
                )

    # --- parts of them

    def _place(self, target: ScalarNode) -> tuple[str, int] | None:
        """Where the thing is that is to be changed; None with a fault noted where nothing has that name."""
        place = self._description.index.get(target.text)
        gone = self._description.removed.get(target.text)
        if place is None and gone is not None:
            expected = f"something that is still there (it went at {gone.file}, line {gone.line})"
            self._reader.fail("unknown-name", target.span, f"'{clip(target.text)}' was taken out before", expected)
        elif place is None:
            said = f"nothing is called '{clip(target.text)}' in the hold that is modified"
            nearest = self._reader.faults.hint(target.text, self._description.index)
            self._reader.fail("unknown-name", target.span, said, "the id of something listed there", nearest)
        return place

    def _as_changed(self, target: ScalarNode) -> tuple[str, ...]:
        return (f"as changed in {target.span.file}, line {target.span.line}", *self._reader.context)

    def _note(self, verb: str, target: ScalarNode) -> None:
        self._description.changes.append(self._noted(verb, target.text, target.span))

    def _noted(self, verb: str, object: str, span: Span) -> Change:
        return Change(verb, object, span, self._description.items)


def _nameless(section: str, item: Node) -> str:
    """What an item without an id is called: a failure by the thing and how it fails, else the noun."""
    of, mode = (item.value("of"), item.value("mode")) if isinstance(item, MappingNode) else (None, None)
    if isinstance(of, ScalarNode) and isinstance(mode, ScalarNode):
        return f"{of.text}.{mode.text}"
    return SECTIONS[section].declaration.noun


def _by_key(fields: MappingNode) -> dict[str, Entry]:
    return {entry.key.text: entry for entry in fields.entries}


def _fixed(item: MappingNode) -> dict[str, Entry]:
    """What `in` says, as the field that keeps a thing in one state."""
    state = item.entry("in")
    return {} if state is None else {"fixed": Entry(_key("fixed", state.key), state.value)}


def _key(name: str, like: Node) -> ScalarNode:
    return ScalarNode(name, like.span, False, None)


def _replaced(node: MappingNode, fields: Mapping[str, Entry], context: tuple[str, ...]) -> MappingNode:
    """The mapping with these fields in the place of its own; new ones come last."""
    entries = {**_by_key(node), **fields}
    return MappingNode(tuple(entries.values()), node.span, (*context, *node.context))
