"""Carries out the changes of a modification on the node tree of the hold that it modifies.

Working on nodes keeps every position: what a change writes is read later like anything else, and faults in it point
into the file of the modification.  Repeated items are expanded before, so that one of them can be changed.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from interlock.diagnostics.faults import Faults
from interlock.diagnostics.spans import Span
from interlock.hold.language.declarations import Declaration
from interlock.hold.language.model import SECTIONS, Change
from interlock.hold.language.nodes import Entry, MappingNode, Node, ScalarNode, SequenceNode, clip, describe, is_absent
from interlock.hold.language.reader import Reader
from interlock.hold.language.records import first_lower, note_unknown_keys
from interlock.hold.language.references import id_of
from interlock.hold.overlay.changes import CHANGES

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
        if changes is not None:
            faults.add("not-a-list", changes.span, f"'changes' cannot be {describe(changes)}", expected="a list")
        return
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
        declaration = CHANGES[verb].declaration
        note_unknown_keys(declaration, item, Reader(self._faults, None, self._context))
        if self._lacks(declaration, item):
            return
        value = found[0].value
        if verb == "add":
            self._add_items(value)
            return
        if not isinstance(value, ScalarNode):
            self._add("not-a-text", value.span, f"'{verb}' cannot be {describe(value)}", "the id of one thing")
            return
        if verb == "change" and value.text == "layout":
            self._change_layout(value, item)
            return
        place = self._description.index.get(value.text)
        if place is None:
            self._unknown(value)
            return
        getattr(self, f"_{verb}")(value, item, place)

    # --- the verbs

    def _remove(self, target: ScalarNode, item: MappingNode, place: tuple[str, int]) -> None:
        section, at = place
        self._description.sections[section][at] = None
        del self._description.index[target.text]
        self._description.removed[target.text] = target.span
        self._note("remove", target)

    def _fix(self, target: ScalarNode, item: MappingNode, place: tuple[str, int]) -> None:
        if self._is_of(target, place, FIXED_SECTIONS, "a device or a control"):
            state = item.entry("in")
            if state is not None:
                self._set(target, place, {"fixed": Entry(_key("fixed", state.key), state.value)})
                self._note("fix", target)

    def _defer(self, target: ScalarNode, item: MappingNode, place: tuple[str, int]) -> None:
        if not self._is_of(target, place, ("devices",), "a device"):
            return
        state, because, limit = item.entry("in"), item.entry("because"), item.entry("limit")
        if state is None or because is None or limit is None:
            return
        deferral = Entry(
            _key("deferred", target),
            MappingNode((because, limit), target.span, self._context or self._as_changed(target)),
        )
        self._set(target, place, {"fixed": Entry(_key("fixed", state.key), state.value), "deferred": deferral})
        self._note("defer", target)

    def _change(self, target: ScalarNode, item: MappingNode, place: tuple[str, int]) -> None:
        fields = self._new_fields(item)
        if fields is None:
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

    def _change_layout(self, target: ScalarNode, item: MappingNode) -> None:
        fields = self._new_fields(item)
        layout = self._description.root.entry("layout")
        if fields is None or layout is None or not isinstance(layout.value, MappingNode):
            return
        changed = Entry(layout.key, _replaced(layout.value, fields, self._as_changed(target)))
        entries = tuple(changed if entry is layout else entry for entry in self._description.root.entries)
        self._description.root = MappingNode(entries, self._description.root.span)
        self._note("change", target)

    def _add_items(self, value: Node) -> None:
        if not isinstance(value, MappingNode) or not value.entries:
            self._add("not-a-mapping", value.span, f"'add' cannot be {describe(value)}", "sections with lists")
            return
        for entry in value.entries:
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

    def _new_fields(self, item: MappingNode) -> dict[str, Entry] | None:
        fields = item.value("to")
        if isinstance(fields, MappingNode) and fields.entries:
            return {entry.key.text: entry for entry in fields.entries}
        if fields is not None:
            self._add("not-a-mapping", fields.span, f"'to' cannot be {describe(fields)}", "fields with new values")
        return None

    def _is_of(self, target: ScalarNode, place: tuple[str, int], sections: tuple[str, ...], expected: str) -> bool:
        if place[0] in sections:
            return True
        noun = SECTIONS[place[0]].declaration.noun
        self._add("wrong-object-kind", target.span, f"'{clip(target.text)}' is {noun}", expected)
        return False

    def _lacks(self, declaration: Declaration, item: MappingNode) -> bool:
        lacking = False
        for needed in declaration.fields:
            entry = item.entry(needed.key)
            expected = f"`{needed.key}:` ({first_lower(needed.about)})"
            if needed.required and entry is None:
                self._add("missing-field", item.span, f"{declaration.noun} lacks '{needed.key}'", expected)
                lacking = True
            elif entry is not None and is_absent(entry.value):
                self._add("missing-value", entry.key.span, f"'{needed.key}' has no value", expected)
                lacking = True
        return lacking

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


def _key(name: str, like: ScalarNode) -> ScalarNode:
    return ScalarNode(name, like.span, False, None)


def _replaced(node: MappingNode, fields: Mapping[str, Entry], context: tuple[str, ...]) -> MappingNode:
    """The mapping with these fields in the place of its own; new ones come last."""
    entries = [fields.get(entry.key.text, entry) for entry in node.entries]
    known = {entry.key.text for entry in node.entries}
    entries.extend(entry for key, entry in fields.items() if key not in known)
    return MappingNode(tuple(entries), node.span, (*context, *node.context))
