"""Reads nodes by the field tables into the records of the model, and notes every fault on the way."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from interlock.diagnostics.faults import Faults
from interlock.diagnostics.spans import Span
from interlock.hold.language import model
from interlock.hold.language.bay_names import BayNames
from interlock.hold.language.builders import BUILDERS
from interlock.hold.language.field_types import (
    Bays,
    Choice,
    Directions,
    Expression,
    Field,
    FieldType,
    Listed,
    OrNone,
    Quantifiers,
    Record,
    RecordOf,
    States,
    Text,
    Word,
)
from interlock.hold.language.nodes import MappingNode, Node, ScalarNode, SequenceNode, clip, describe
from interlock.hold.language.parser import is_name, parse_path
from interlock.hold.language.record_rules import RULES, Written
from interlock.hold.language.scalars import FAILED, Mention, ScalarReader
from interlock.hold.language.schema_fields import DIRECTION_WORDS, RECORDS
from interlock.hold.language.schema_files import FILES
from interlock.hold.language.syntax import Path
from interlock.hold.language.wording import first_lower, shape_of, what_of

LONGEST_HINT = 60
"""Characters of a text that are read as the list that was meant."""


@dataclass(frozen=True, slots=True)
class Made:
    """A record of the model that was read, with its context."""

    value: Any
    context: tuple[str, ...]


class Reader(ScalarReader):
    """Reads nodes of one description; `made` collects every record."""

    def __init__(self, faults: Faults, bays: BayNames | None, context: tuple[str, ...] = ()) -> None:
        super().__init__(faults, bays, context)
        self.made: list[Made] = []

    # --- records

    def record(self, name: str, node: Node) -> Any:  # records of every type of the model, chosen by a name
        """The record of that name that a node holds, or FAILED."""
        record = RECORDS[name] if name in RECORDS else FILES[name]
        if not isinstance(node, MappingNode):
            self._add(
                "not-a-mapping", node.span, f"{record.noun} cannot be {describe(node)}", expected=shape_of(record)
            )
            return FAILED
        outer = self._context
        self._context = node.context or outer
        try:
            return self._fields(name, record, node)
        finally:
            self._context = outer

    def _fields(self, name: str, record: Record, node: MappingNode) -> Any:
        self.note_unknown_keys(record, node)
        title = node.value("id")
        titled = isinstance(title, ScalarNode) and title.text != ""
        span = title.span if titled and title is not None else node.span
        noun = (
            f"{record.noun.partition(' ')[2]} '{clip(title.text)}'"
            if isinstance(title, ScalarNode) and titled
            else record.noun
        )
        values: dict[str, Any] = {}
        failed = False
        for field in record.fields:
            value = self.field(field, node, span, noun)
            failed = failed or value is FAILED
            values[field.target] = value
        written = Written(node, span, noun, values)
        for fault in RULES.get(name, _no_rule)(written):
            self._add(fault.code, fault.span, fault.message, expected=fault.expected)
            failed = True
        if failed:
            return FAILED
        made = BUILDERS[name](values, span)
        self.made.append(Made(made, self._context))
        return made

    def note_unknown_keys(self, record: Record, node: MappingNode) -> None:
        """Note a fault for every key that the record does not have."""
        keys = [field.key for field in record.fields]
        for entry in node.entries:
            key = entry.key
            if key.text in keys:
                continue
            if key.text == "for":
                self._add(
                    "repetition-not-here",
                    key.span,
                    f"{record.noun} cannot be repeated here",
                    expected="`for` in the items of a list",
                )
            elif " " in key.text and isinstance(entry.value, ScalarNode) and not entry.value.text:
                self._add(
                    "unknown-field",
                    key.span,
                    f"{record.noun} has no field '{clip(key.text)}'",
                    expected="quotes around a text with a comma, if this belongs to the text before",
                )
            else:
                chooser = _chooser(record, key.text, node)
                self._add(
                    "unknown-field",
                    key.span,
                    f"{record.noun} has no field '{clip(key.text)}'",
                    expected="one of " + ", ".join(keys)
                    if chooser is None
                    else f"`{chooser.key}: {key.text}`, and what it speaks of in fields of its own",
                    nearest=self.faults.hint(key.text, keys) if chooser is None else None,
                )

    def field(self, field: Field, node: MappingNode, span: Span, noun: str) -> Any:
        """The value of a field of a mapping, its default, or FAILED.  `span` and `noun` tell of the mapping."""
        entry = node.entry(field.key)
        if entry is None:
            if field.required:
                self._add(
                    "missing-field",
                    span,
                    f"{noun} lacks '{field.key}'",
                    expected=f"`{field.key}:` ({first_lower(field.about)})",
                )
                return FAILED
            return field.default
        if is_absent(entry.value):
            self._add("missing-value", entry.key.span, f"'{field.key}' has no value", expected=first_lower(field.about))
            return FAILED
        return self.value(field.type, entry.value, field.key)

    # --- values

    def value(self, kind: FieldType, node: Node, key: str) -> Any:
        """The value of a type that a node holds, or FAILED.  `key` is what messages call it."""
        match kind:
            case RecordOf(record):
                return self.record(record, node)
            case Listed(item, one, least):
                return self._listed(item, one, least, node, key)
            case OrNone(inner):
                if isinstance(node, ScalarNode) and node.text == "none":
                    return None
                return self.value(inner, node, key)
            case Bays():
                return self._bays(kind, node, key)
            case Directions():
                return self._directions(node, key)
            case States():
                return self._states(node, key)
            case Quantifiers():
                return self._quantifiers(node, key)
        if not isinstance(node, ScalarNode):
            self._add("not-a-text", node.span, f"'{key}' cannot be {describe(node)}", expected=what_of(kind))
            return FAILED
        return self.scalar(kind, node, key)

    def _listed(self, item: FieldType, one: bool, least: int, node: Node, key: str) -> Any:
        if isinstance(node, SequenceNode):
            nodes = node.items
        elif one:
            if self._is_unmarked_list(item, least, node, key):
                return FAILED
            nodes = (node,)
        else:
            self._add("not-a-list", node.span, f"'{key}' cannot be {describe(node)}", expected="a list")
            return FAILED
        if len(nodes) < least:
            self._add("empty-list", node.span, f"'{key}' is an empty list", expected="at least one in it")
            return FAILED
        values: list[Any] = []
        seen: set[str] = set()
        failed = False
        for one_node in nodes:
            value = self.value(item, one_node, key)
            if value is FAILED:
                failed = True
                continue
            if isinstance(one_node, ScalarNode):
                if one_node.text in seen:
                    self._add(
                        "listed-twice",
                        one_node.span,
                        f"'{clip(one_node.text)}' is in the list already",
                        expected="each once",
                    )
                    failed = True
                seen.add(one_node.text)
            values.append(value)
        return FAILED if failed else tuple(values)

    def _is_unmarked_list(self, item: FieldType, least: int, node: Node, key: str) -> bool:
        """Whether a text was meant as a list, as in `stops: fore, aft` or `drift: none`; notes a fault then."""
        if not isinstance(node, ScalarNode) or isinstance(item, Text):
            return False
        parts = [part.strip() for part in node.text[:LONGEST_HINT].split(",")]
        if len(parts) > 1 and all(map(is_name, parts)):
            meant = f"[{', '.join(parts)}]"
        elif node.text == "none" and not least and isinstance(item, Choice):
            meant = "[]"
        else:
            return False
        said = f"'{key}' cannot be {describe(node)}"
        self._add("not-a-list", node.span, said, expected="a list in brackets", nearest=meant)
        return True

    # --- bays

    def _bays(self, kind: Bays, node: Node, key: str) -> Any:
        nodes = node.items if isinstance(node, SequenceNode) else (node,)
        if len(nodes) < kind.least:
            self._add("empty-list", node.span, f"'{key}' is an empty list", expected="at least one in it")
            return FAILED
        names: list[str] = []
        failed = False
        for item in nodes:
            found = self._bay_item(kind, item, key)
            if found is None:
                failed = True
                continue
            for name in found:
                if name in names:
                    self._add("listed-twice", item.span, f"'{clip(name)}' is in the list already", expected="each once")
                    failed = True
                else:
                    names.append(name)
        return FAILED if failed else tuple(names)

    def _bay_item(self, kind: Bays, item: Node, key: str) -> tuple[str, ...] | None:
        if not isinstance(item, ScalarNode):
            self._add("not-a-text", item.span, f"'{key}' cannot hold {describe(item)}", expected="names of bays")
            return None
        first, dots, last = (part.strip() for part in item.text.partition(".."))
        if not dots:
            if kind.members:
                if not self._is_name(item, "a name"):
                    return None
                self.mentions.append(Mention(item.text, ("*",), None, True, item.span, self._context))
                return (item.text,)
            return (first,) if self._is_bay(first, item.span, kind.missing) else None
        if self.bays is None:
            return ()
        starts = item.text.find(last, len(first))
        first_known = self._is_bay(first, item.place_of(0, len(first)) or item.span, kind.missing)
        last_known = self._is_bay(last, item.place_of(starts, len(item.text)) or item.span, kind.missing)
        if not (first_known and last_known):
            return None
        between = self.bays.between(first, last)
        if between is None:
            self._add(
                "bad-bay-range",
                item.span,
                f"there is no straight way from {first} to {last}",
                expected="two bays of one lane or one row, the first one first, such as 1L..6L",
            )
        return between

    # --- mappings whose keys are names

    def _directions(self, node: Node, key: str) -> Any:
        if not isinstance(node, MappingNode) or not node.entries:
            self._add("not-a-mapping", node.span, f"'{key}' cannot be {describe(node)}", expected="directions")
            return FAILED
        found: list[tuple[model.Direction, Any]] = []
        failed = False
        for entry in node.entries:
            if entry.key.text not in DIRECTION_WORDS:
                self._add(
                    "unknown-field",
                    entry.key.span,
                    f"'{clip(entry.key.text)}' is no direction",
                    expected="one of " + ", ".join(DIRECTION_WORDS),
                    nearest=self.faults.hint(entry.key.text, DIRECTION_WORDS),
                )
                failed = True
                continue
            value = self.value(Expression(), entry.value, entry.key.text)
            failed = failed or value is FAILED
            found.append((model.Direction(entry.key.text), value))
        return FAILED if failed else tuple(found)

    def _states(self, node: Node, key: str) -> Any:
        if not isinstance(node, MappingNode) or not node.entries:
            self._add(
                "not-a-mapping", node.span, f"'{key}' cannot be {describe(node)}", expected="things with their states"
            )
            return FAILED
        found: list[tuple[str, str, Span]] = []
        failed = False
        for entry in node.entries:
            if not self._is_name(entry.key, "a name"):
                failed = True
                continue
            self.mentions.append(Mention(entry.key.text, ("*",), None, True, entry.key.span, self._context))
            value = self.value(Word("state"), entry.value, entry.key.text)
            failed = failed or value is FAILED
            found.append((entry.key.text, value, entry.value.span))
        return FAILED if failed else tuple(found)

    def _quantifiers(self, node: Node, key: str) -> Any:
        if not isinstance(node, MappingNode) or not node.entries:
            self._add(
                "not-a-mapping",
                node.span,
                f"'{key}' cannot be {describe(node)}",
                expected="variables with their groups, such as `for: {b: bays}`",
            )
            return FAILED
        found: list[tuple[str, Path]] = []
        failed = False
        for entry in node.entries:
            named = self.is_new_name(entry.key, "a variable")
            if not isinstance(entry.value, ScalarNode):
                self._add(
                    "not-a-text", entry.value.span, f"a group cannot be {describe(entry.value)}", expected="a group"
                )
                failed = True
                continue
            path = parse_path(entry.value, self.faults, self._context)
            if path is None or not named:
                failed = True
                continue
            found.append((entry.key.text, path))
        return FAILED if failed else tuple(found)


def is_absent(node: Node) -> bool:
    """Whether a key was written without a value."""
    return isinstance(node, ScalarNode) and not node.text and not node.quoted


def _chooser(record: Record, word: str, node: MappingNode) -> Field | None:
    """The field, not written here, for which `word` is one of the choices: it was written as the key by mistake."""
    for field in record.fields:
        if isinstance(field.type, Choice) and word in field.type.options and node.entry(field.key) is None:
            return field
    return None


def _no_rule(written: Written) -> tuple[()]:
    return ()
