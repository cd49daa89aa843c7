"""Carries out the changes of a modification on the node tree of the hold that it modifies.

Working on nodes keeps every position: what a change writes is read later like anything else, and faults in it point
into the file of the modification.  Repeated items are expanded before, so that one of them can be changed.
"""

from __future__ import annotations

from collections.abc import Collection, Container, Mapping
from dataclasses import dataclass, field, replace

from interlock.diagnostics.faults import Faults
from interlock.diagnostics.spans import Span
from interlock.hold.language.declarations import Record
from interlock.hold.language.model import SECTIONS, Change, Deferral
from interlock.hold.language.nodes import Entry, MappingNode, Node, ScalarNode, SequenceNode, clip, describe
from interlock.hold.language.reader import FAILED, Failed, Reader
from interlock.hold.language.records import read_record
from interlock.hold.language.references import id_of
from interlock.hold.overlay.changes import CHANGES, Add, ChangeFields, Defer, Fit, Fix, Remove

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
    fitted: dict[str, Span] = field(default_factory=dict)
    """The options that are fitted, and where that is said."""
    written: dict[tuple[str, str], str] = field(default_factory=dict)
    """Which option gave a field of a thing its value."""

    def copy(self) -> OverlaidDescription:
        """The same, to be modified by itself."""
        sections = {key: list(items) for key, items in self.sections.items()}
        return replace(
            self,
            sections=sections,
            index=dict(self.index),
            changes=list(self.changes),
            removed=dict(self.removed),
            fitted=dict(self.fitted),
            written=dict(self.written),
        )

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


def fit_options(description: OverlaidDescription, fitted: Collection[str], faults: Faults) -> None:
    """Carry out the changes of these options of the description, in the order in which it lists them."""
    for item in list(description.sections.get("options", ())):
        given = id_of(item) if isinstance(item, MappingNode) else None
        if given is not None and given.text in fitted:
            description.items += 1
            _Carrier(description, Reader(faults, None)).fit(given)


def check_options(description: OverlaidDescription, faults: Faults) -> None:
    """Note what is wrong with changes of options that are not fitted, and with options that are fitted together."""
    for item in description.sections.get("options", ()):
        given = id_of(item) if isinstance(item, MappingNode) else None
        if given is None or not isinstance(item, MappingNode):
            continue  # told when it is read
        if given.text not in description.fitted:
            trial = description.copy()
            for one in _items(item, "changes"):
                reader = Reader(faults, None, item.context)
                if description.fitted:  # what those have changed or taken out says nothing of this one by itself
                    read_change(one, reader)
                else:
                    _Carrier(trial, reader, given.text).carry_out(one)
            continue
        span = description.fitted[given.text]
        for other in _items(item, "excludes"):
            if isinstance(other, ScalarNode) and other.text in description.fitted:
                said = f"'{clip(given.text)}' and '{clip(other.text)}' are never fitted together"
                faults.add("options-exclude", span, said, "one of them")
        for other in _items(item, "needs"):
            if isinstance(other, ScalarNode) and other.text not in description.fitted:
                said = f"'{clip(given.text)}' is never fitted without '{clip(other.text)}'"
                faults.add("option-needs", span, said, f"'{clip(other.text)}' fitted too")


def _items(item: MappingNode, key: str) -> tuple[Node, ...]:
    node = item.value(key)
    return node.items if isinstance(node, SequenceNode) else () if node is None else (node,)


def read_change(item: Node, reader: Reader) -> Record | Failed:
    """One change as the record that says what it does."""
    expected = f"one of {', '.join(CHANGES)}"
    if not isinstance(item, MappingNode):
        reader.fail("unknown-change", item.span, f"a change cannot be {describe(item)}", expected)
        return FAILED
    found = [entry for entry in item.entries if entry.key.text in CHANGES]
    if len(found) != 1:
        first = item.entries[0].key if item.entries else None
        said = "a change does one thing" if found else "this does not say what is changed"
        nearest = reader.faults.hint(first.text, CHANGES) if first is not None and not found else None
        span = found[1].key.span if found else item.span
        reader.fail("unknown-change", span, said, expected, nearest)
        return FAILED
    return read_record(CHANGES[found[0].key.text], item, reader)


class _Carrier:
    """Carries out one change; `option` is the option that it belongs to."""

    def __init__(self, description: OverlaidDescription, reader: Reader, option: str = "") -> None:
        self._description = description
        self._reader = reader
        self._option = option

    def carry_out(self, item: Node) -> None:
        record = read_change(item, self._reader)
        if record is FAILED or not isinstance(item, MappingNode):
            return
        match record:
            case Fit(fit=target) if self._option:
                said = f"'{clip(self._option)}' fits another option"
                self._reader.fail(
                    "unknown-change", target.span, said, f"`needs: {clip(target.text)}` beside the changes"
                )
            case Fit(fit=target):
                self.fit(target)
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

    def fit(self, target: ScalarNode) -> None:
        """Carries out the changes of an option."""
        place = self._place(target)
        if place is None:
            return
        section, at = place
        item = self._description.sections[section][at]
        if section != "options" or not isinstance(item, MappingNode):
            noun = SECTIONS[section].declaration.noun
            self._reader.fail("wrong-object-kind", target.span, f"'{clip(target.text)}' is {noun}", "an option")
            return
        if target.text in self._description.fitted:
            self._reader.fail("listed-twice", target.span, f"'{clip(target.text)}' is fitted already", "each once")
            return
        self._description.fitted[target.text] = target.span
        self._note("fit", target)
        for one in _items(item, "changes"):
            _Carrier(self._description, Reader(self._reader.faults, None, item.context), target.text).carry_out(one)

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
        self._note_written(target, fields)
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
        self._note_written(target, fields)
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

    def _note_written(self, target: ScalarNode, fields: Mapping[str, Entry]) -> None:
        """Two options that give one field two values would mean something else in another order: a fault."""
        if not self._option:
            return
        for key, entry in fields.items():
            earlier = self._description.written.setdefault((target.text, key), self._option)
            if earlier != self._option:
                said = f"'{clip(earlier)}' changes {key} of '{clip(target.text)}' too"
                expected = "options that exclude each other, or something of its own for each to change"
                self._reader.fail("options-collide", entry.key.span, said, expected)

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
