"""Reads nodes into records by their declarations, and notes every fault on the way."""

from __future__ import annotations

from typing import TypeVar

from interlock.diagnostics.spans import Span
from interlock.hold.language.declarations import Declaration, Field, Record, Values, Written
from interlock.hold.language.nodes import MappingNode, Node, ScalarNode, clip, describe, is_absent
from interlock.hold.language.reader import FAILED, Failed, Made, Reader

R = TypeVar("R", bound=Record)


def read_record(record: type[R], node: Node, reader: Reader) -> R | Failed:
    """The record that a node holds, or FAILED."""
    declaration = record.declaration
    if not isinstance(node, MappingNode):
        expected = "the fields " + ", ".join(field.key for field in declaration.fields if field.required)
        return reader.fail("not-a-mapping", node.span, f"{declaration.noun} cannot be {describe(node)}", expected)
    outer, mentions, expressions = reader.context, len(reader.mentions), len(reader.expressions)
    reader.context = node.context or outer
    try:
        values, fits = read_values(declaration, node, reader)
        made = record(**values) if fits else None
        named, said = reader.mentions[mentions:], [syntax for syntax, _ in reader.expressions[expressions:]]
        reader.made.append(Made(record, made, values, reader.context, tuple(named), tuple(said)))
        return FAILED if made is None else made
    finally:
        reader.context = outer


def read_values(declaration: Declaration, node: MappingNode, reader: Reader) -> tuple[Values, bool]:
    """The values of a record by attribute, FAILED where one cannot be read, and whether they make a record."""
    note_unknown_keys(declaration, node, reader)
    title = node.value("id")
    if isinstance(title, ScalarNode) and title.text:
        span, noun = title.span, f"{declaration.noun.partition(' ')[2]} '{clip(title.text)}'"
    else:
        span, noun = node.span, declaration.noun
    values: Values = {"span": span}
    for field in declaration.fields:
        if field.derived is not None and node.entry(field.key) is None:
            values[field.attribute] = field.derived(values)
        else:
            values[field.attribute] = read_field(field, node, span, noun, reader)
    fits = not any(value is FAILED for value in values.values())
    if declaration.rule is not None:
        for fault in declaration.rule(Written(node, span, noun, values)):
            fits = False
            reader.fail(fault.code, fault.span, fault.message, fault.expected, fault.nearest)
    return values, fits


def note_unknown_keys(declaration: Declaration, node: MappingNode, reader: Reader) -> None:
    """Note a fault for every key that the record does not have."""
    keys = declaration.keys
    for entry in node.entries:
        key = entry.key
        if key.text in keys:
            continue
        said = f"{declaration.noun} has no field '{clip(key.text)}'"
        chooser = _chooser(declaration, key.text, node)
        if key.text == "for":
            said = f"{declaration.noun} cannot be repeated here"
            reader.fail("repetition-not-here", key.span, said, "`for` in the items of a list")
        elif " " in key.text and isinstance(entry.value, ScalarNode) and not entry.value.text:
            expected = "quotes around a text with a comma, if this belongs to the text before"
            reader.fail("unknown-field", key.span, said, expected)
        elif chooser is not None:
            expected = f"`{chooser.key}: {key.text}`, and what it speaks of in fields of its own"
            reader.fail("unknown-field", key.span, said, expected)
        else:
            nearest = reader.faults.hint(key.text, keys)
            reader.fail("unknown-field", key.span, said, "one of " + ", ".join(keys), nearest)


def read_field(field: Field, node: MappingNode, span: Span, noun: str, reader: Reader) -> object:
    """The value of a field of a mapping, its default, or FAILED.  `span` and `noun` tell of the mapping."""
    entry = node.entry(field.key)
    if entry is None:
        if field.required:
            expected = f"`{field.key}:` ({first_lower(field.about)})"
            return reader.fail("missing-field", span, f"{noun} lacks '{field.key}'", expected)
        return field.default
    if is_absent(entry.value):
        said = f"'{field.key}' has no value"
        return reader.fail("missing-value", entry.key.span, said, first_lower(field.about))
    return field.type.read(entry.value, field.key, reader)


def _chooser(declaration: Declaration, word: str, node: MappingNode) -> Field | None:
    """The field, not written here, for which `word` is one of the choices: it was written as the key by mistake."""
    for field in declaration.fields:
        if field.type.offers(word) and node.entry(field.key) is None:
            return field
    return None


def first_lower(text: str) -> str:
    """A sentence as the part of another one."""
    return text[:1].lower() + text[1:].rstrip(".")
