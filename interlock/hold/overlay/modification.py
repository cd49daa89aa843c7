"""Carries out the changes of a modification on the node tree of the hold that it modifies.

Working on nodes keeps every position: what a change writes is read later like anything else, and faults in it point
into the file of the modification.  Repeated items are expanded before, so that one of them can be changed.
"""

from __future__ import annotations

from collections.abc import Mapping
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
        entries = []
        known = set()
        for entry in self.root.entries:
            key = entry.key.text
            known.add(key)
            if key in self.sections:
                entries.append(Entry(entry.key, SequenceNode(self._items(key), entry.value.span)))
            else:
                entries.append(entry)
        for section in self.sections:
            items = self._items(section)
            if items and section not in known:
                entries.append(
                    Entry(ScalarNode(section, items[0].span, False, None), SequenceNode(items, items[0].span))
                )
        return MappingNode(tuple(entries), self.root.span, self.root.context)

    def _items(self, section: str) -> tuple[Node, ...]:
        return tuple(item for item in self.sections[section] if item is not None)


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


def apply_modification(description: OverlaidDescription, modification: MappingNode, faults: Faults) -> None:
    """Carry out the changes of a modification in order, and give the description its title."""
    heads = {key: entry for key in ("title", "about") if (entry := modification.entry(key)) is not None}
    kept = tuple(entry for entry in description.root.entries if entry.key.text not in heads)
    description.root = MappingNode((*heads.values(), *kept), description.root.span)
    changes = modification.value("changes")
    if not isinstance(changes, SequenceNode):
        return  # told with the top of the modification
    for item in changes.items:
        _Carrier(description, faults, item.context if isinstance(item, MappingNode) else ()).carry_out(item)


class _Carrier:
    """Carries out one change."""

    def __init__(self, description: OverlaidDescription, faults: Faults, context: tuple[str, ...]) -> None:
        self._description = description
        self._faults = faults
        self._context = context

    def carry_out(self, item: Node) -> None:
        verbs = ", ".join(CHANGES)
        if not isinstance(item, MappingNode):
            self._add("unknown-change", item.span, f"a change cannot be {describe(item)}", f"one of {verbs}")
            return
        found = [entry for entry in item.entries if entry.key.text in CHANGES]
        if len(found) != 1:
            first = item.entries[0].key if item.entries else None
            said = "a change does one thing" if found else "this does not say what is changed"
            nearest = self._faults.hint(first.text, CHANGES) if first is not None and not found else None
            span = found[1].key.span if found else item.span
            self._add("unknown-change", span, said, f"one of {verbs}", nearest)
            return
        verb = found[0].key.text
        change = read_record(CHANGES[verb], item, Reader(self._faults, None, self._context))
        match change:
            case Remove(remove=target):
                self._remove(target)
            case Fix(fix=target):
                self._fix(target, item)
            case Defer(defer=target):
                self._defer(target, item)
            case ChangeFields(change=target, to=fields):
                self._change(target, {entry.key.text: entry for entry in fields.entries})
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

    def _fix(self, target: ScalarNode, item: MappingNode) -> None:
        place = self._place(target)
        if place is not None and self._is_of(target, place, FIXED_SECTIONS, "a device or a control"):
            self._set(target, place, _fixed(item))
            self._note("fix", target)

    def _defer(self, target: ScalarNode, item: MappingNode) -> None:
        place = self._place(target)
        if place is not None and self._is_of(target, place, ("devices",), "a device"):
            reason = tuple(entry for entry in item.entries if entry.key.text in Deferral.declaration.keys)
            deferral = MappingNode(reason, target.span, self._context or self._as_changed(target))
            self._set(target, place, {**_fixed(item), "deferred": Entry(_key("deferred", target), deferral)})
            self._note("defer", target)

    def _change(self, target: ScalarNode, fields: Mapping[str, Entry]) -> None:
        if target.text == "layout":
            self._change_layout(target, fields)
            return
        place = self._place(target)
        if place is None:
            return
        if "id" in fields:
            self._add(
                "id-cannot-change",
                fields["id"].key.span,
                f"'{clip(target.text)}' keeps its id",
                "a removal and an addition, where it is another thing",
            )
            return
        self._set(target, place, fields)
        self._note("change", target)

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
                self._add(
                    "unknown-field",
                    entry.key.span,
                    f"nothing can be added to '{clip(section)}'",
                    "one of " + ", ".join(SECTIONS),
                    self._faults.hint(section, SECTIONS),
                )
                continue
            if not isinstance(entry.value, SequenceNode):
                self._add("not-a-list", entry.value.span, f"'{section}' cannot be {describe(entry.value)}", "a list")
                continue
            for item in entry.value.items:
                given = self._description.append(section, item)
                if given is not None:
                    self._description.removed.pop(given.text, None)
                name = given.text if given is not None else _nameless(section, item)
                self._description.changes.append(Change("add", name, given.span if given is not None else item.span))

    # --- parts of them

    def _set(self, target: ScalarNode, place: tuple[str, int], fields: Mapping[str, Entry]) -> None:
        section, at = place
        item = self._description.sections[section][at]
        if isinstance(item, MappingNode):
            self._description.sections[section][at] = _replaced(item, fields, self._as_changed(target))

    def _is_of(self, target: ScalarNode, place: tuple[str, int], sections: tuple[str, ...], expected: str) -> bool:
        if place[0] in sections:
            return True
        noun = SECTIONS[place[0]].declaration.noun
        self._add("wrong-object-kind", target.span, f"'{clip(target.text)}' is {noun}", expected)
        return False

    def _place(self, target: ScalarNode) -> tuple[str, int] | None:
        """Where the thing is that is to be changed; None with a fault noted where nothing has that name."""
        place = self._description.index.get(target.text)
        if place is None:
            self._unknown(target)
        return place

    def _unknown(self, target: ScalarNode) -> None:
        if target.text in self._description.removed:
            gone = self._description.removed[target.text]
            self._add(
                "unknown-name",
                target.span,
                f"'{clip(target.text)}' was taken out before",
                f"something that is still there (it went at {gone.file}, line {gone.line})",
            )
            return
        self._add(
            "unknown-name",
            target.span,
            f"nothing is called '{clip(target.text)}' in the hold that is modified",
            "the id of something listed there",
            self._faults.hint(target.text, self._description.index),
        )

    def _as_changed(self, target: ScalarNode) -> tuple[str, ...]:
        return (f"as changed in {target.span.file}, line {target.span.line}", *self._context)

    def _note(self, verb: str, target: ScalarNode) -> None:
        self._description.changes.append(Change(verb, target.text, target.span))

    def _add(
        self, code: str, span: Span, message: str, expected: str | None = None, nearest: str | None = None
    ) -> None:
        self._faults.add(code, span, message, expected=expected, nearest=nearest, context=self._context)


def _nameless(section: str, item: Node) -> str:
    """What an item without an id is called: a failure by the thing and how it fails, else the noun."""
    of, mode = (item.value("of"), item.value("mode")) if isinstance(item, MappingNode) else (None, None)
    if isinstance(of, ScalarNode) and isinstance(mode, ScalarNode):
        return f"{of.text}.{mode.text}"
    return SECTIONS[section].declaration.noun


def _fixed(item: MappingNode) -> dict[str, Entry]:
    """What `in` says, as the field that keeps a thing in one state."""
    state = item.entry("in")
    return {} if state is None else {"fixed": Entry(_key("fixed", state.key), state.value)}


def _key(name: str, like: ScalarNode) -> ScalarNode:
    return ScalarNode(name, like.span, False, None)


def _replaced(node: MappingNode, fields: Mapping[str, Entry], context: tuple[str, ...]) -> MappingNode:
    """The mapping with these fields in the place of its own; new ones come last."""
    entries = [fields.get(entry.key.text, entry) for entry in node.entries]
    known = {entry.key.text for entry in node.entries}
    entries.extend(entry for key, entry in fields.items() if key not in known)
    return MappingNode(tuple(entries), node.span, (*context, *node.context))
