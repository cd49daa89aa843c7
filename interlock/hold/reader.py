"""Reads nodes by the field tables into the records of the model, and notes every fault on the way."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any, Final

from interlock.diagnostics.faults import Faults
from interlock.diagnostics.spans import Span
from interlock.hold import model
from interlock.hold.bay_names import BayNames
from interlock.hold.builders import BUILDERS
from interlock.hold.field_types import (
    Amount,
    Bay,
    Bays,
    Choice,
    Directions,
    Expression,
    Field,
    FieldType,
    Id,
    Listed,
    OrNone,
    Quantifiers,
    Record,
    RecordOf,
    Reference,
    SideText,
    States,
    StepText,
    Text,
    Version,
    Whole,
    Word,
    YesNo,
)
from interlock.hold.nodes import MappingNode, Node, ScalarNode, SequenceNode, clip, describe
from interlock.hold.parser import KEYWORDS, is_name, parse_expression, parse_path, parse_step
from interlock.hold.record_rules import RULES, Written
from interlock.hold.schema_fields import DIRECTION_WORDS, FILES, RECORDS, VERSION
from interlock.hold.syntax import Path, Syntax, Truth
from interlock.hold.wording import first_lower, shape_of, what_of


class _Failed:
    """Stands for a value that could not be read; the fault is noted already."""


FAILED: Final = _Failed()

_WHOLE = re.compile(r"-?\d+\Z", re.ASCII)
_AMOUNT = re.compile(r"\d{1,9}(\.\d{1,6})?\Z", re.ASCII)
_SAYS_YES = {"yes": "true", "on": "true", "y": "true", "no": "false", "off": "false", "n": "false"}
_DIGITS_READ = 9
LONGEST_HINT = 60
"""Characters of a text that are read as the list that was meant."""


@dataclass(frozen=True, slots=True)
class Mention:
    """A name used in a field, to be looked up when every section is known.

    `sections` lists where it may be defined, besides the bays where `bays` is set; `kind` narrows it further.
    """

    name: str
    sections: tuple[str, ...]
    kind: str | None
    bays: bool
    span: Span
    context: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Made:
    """A record of the model that was read, with its context."""

    value: Any
    context: tuple[str, ...]


class Reader:
    """Reads nodes of one description.

    `mentions` collects the names to be looked up afterwards, `expressions` every expression with its context, `made`
    every record.
    """

    def __init__(self, faults: Faults, bays: BayNames | None, context: tuple[str, ...] = ()) -> None:
        self.faults = faults
        self.bays = bays
        self.mentions: list[Mention] = []
        self.expressions: list[tuple[Syntax, tuple[str, ...]]] = []
        self.made: list[Made] = []
        self._context = context

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
        return self._scalar(kind, node, key)

    def _scalar(self, kind: FieldType, node: ScalarNode, key: str) -> Any:
        match kind:
            case Text():
                text = node.text.strip()
                if not text:
                    self._add("missing-value", node.span, f"'{key}' is empty", expected="a text")
                    return FAILED
                return text
            case Version():
                if node.text == VERSION:
                    return node.text
                self._add(
                    "unknown-version",
                    node.span,
                    f"version {describe(node)} of the language is not known here",
                    expected=f"`interlock: {VERSION}`",
                )
                return FAILED
            case Id():
                return node.text if self.is_new_name(node, "a name") else FAILED
            case Word(what):
                return node.text if self.is_new_name(node, f"a {what}") else FAILED
            case Whole(low, high):
                return self._whole(low, high, node, key)
            case Amount(unit):
                if _AMOUNT.match(node.text) and float(node.text) > 0:
                    return float(node.text)
                self._add(
                    "not-an-amount",
                    node.span,
                    f"'{key}' cannot be {describe(node)}",
                    expected=f"a positive number of {unit}, without the unit",
                )
                return FAILED
            case YesNo():
                if node.text in ("true", "false"):
                    return node.text == "true"
                self._add(
                    "not-true-or-false",
                    node.span,
                    f"'{key}' cannot be {describe(node)}",
                    expected="true or false",
                    nearest=_SAYS_YES.get(node.text.lower()),
                )
                return FAILED
            case Choice(options):
                return self._choice(options, node, key)
            case Expression(never_is_none):
                found = parse_expression(node, self.faults, self._context)
                if found is None:
                    return FAILED
                self.expressions.append((found, self._context))
                return None if never_is_none and isinstance(found, Truth) and not found.value else found
            case StepText():
                step = parse_step(node, self.faults, self._context)
                return FAILED if step is None else step
            case Reference(sections, narrower):
                if not self._is_name(node, "a name"):
                    return FAILED
                self.mentions.append(Mention(node.text, sections, narrower, False, node.span, self._context))
                return node.text
            case Bay(outside):
                if outside and node.text == "outside":
                    return None
                return node.text if self._is_bay(node.text, node.span) else FAILED
            case SideText():
                return self._side(node)
        raise AssertionError(kind)  # every type of a scalar is above

    def _whole(self, low: int, high: int, node: ScalarNode, key: str) -> Any:
        expected = f"a whole number from {low} to {high}"
        if not _WHOLE.match(node.text):
            self._add("not-a-whole-number", node.span, f"'{key}' cannot be {describe(node)}", expected=expected)
            return FAILED
        # int() of thousands of digits is slow or raises; more than nine are out of every range we have
        if len(node.text) > _DIGITS_READ or not low <= int(node.text) <= high:
            self._add("number-out-of-range", node.span, f"'{key}' cannot be {describe(node)}", expected=expected)
            return FAILED
        return int(node.text)

    def _choice(self, options: tuple[str, ...], node: ScalarNode, key: str) -> Any:
        text = " ".join(node.text.split())
        if text in options:
            return model.Direction(text) if options == DIRECTION_WORDS else text
        self._add(
            "unknown-choice",
            node.span,
            f"'{key}' cannot be {describe(node)}",
            expected="one of " + ", ".join(options),
            nearest=self.faults.hint(text, options),
        )
        return FAILED

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

    # --- names, bays and sides

    def is_new_name(self, node: ScalarNode, what: str) -> bool:
        """Whether a text can be a name or state of somebody's choosing; notes a fault otherwise."""
        if not self._is_name(node, what):
            return False
        if node.text in KEYWORDS:
            self._add("reserved-name", node.span, f"'{node.text}' is a word of the language", expected="another name")
            return False
        return True

    def _is_name(self, node: ScalarNode, what: str) -> bool:
        if is_name(node.text) and any(letter.isalnum() for letter in node.text):
            return True
        nearest = re.sub(r"\W+", "_", node.text.strip(), flags=re.ASCII).strip("_")
        self._add(
            "bad-name",
            node.span,
            f"{describe(node)} cannot be {what}",
            expected="letters, digits, `_` and `-`",
            nearest=nearest
            if nearest and len(nearest) <= 40 and node.text.isascii() and "{" not in node.text
            else None,
        )
        return False

    def _is_bay(self, name: str, span: Span, missing_too: bool = False) -> bool:
        if self.bays is None:
            return True
        if name in self.bays.missing and not missing_too:
            self._add(
                "bay-taken-out",
                span,
                f"bay '{name}' does not exist: a rule of the layout takes it out",
                expected="a bay that exists",
            )
            return False
        if name in self.bays:
            return True
        known = self.bays.places
        lanes = ", ".join(self.bays.lanes)
        self._add(
            "unknown-bay",
            span,
            f"there is no bay '{clip(name)}'",
            expected=f"a row from 1 to {self.bays.rows} with a lane of {lanes}, such as {next(iter(known))}",
            nearest=self.faults.hint(name, known),
        )
        return False

    def _side(self, node: ScalarNode) -> Any:
        bay, dot, direction = node.text.partition(".")
        if not dot or direction not in DIRECTION_WORDS:
            start = len(bay) + 1 if dot else 0
            self._add(
                "no-such-side",
                node.place_of(start, max(start + 1, len(node.text))) or node.span,
                f"{describe(node)} is no side of a bay",
                expected="a bay, a dot and one of " + ", ".join(DIRECTION_WORDS),
                nearest=self.faults.hint(direction, DIRECTION_WORDS) if dot else None,
            )
            return FAILED
        if not self._is_bay(bay, node.place_of(0, max(1, len(bay))) or node.span):
            return FAILED
        return model.Side(bay, model.Direction(direction), node.span)

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

    def _add(
        self, code: str, span: Span, message: str, expected: str | None = None, nearest: str | None = None
    ) -> None:
        self.faults.add(code, span, message, expected=expected, nearest=nearest, context=self._context)


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
