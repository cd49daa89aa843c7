"""The JSON Schema (draft-07) by which editors help to write descriptions, made from the reader's own tables.

It says less than the reader: names are not looked up, expressions not parsed.  Numbers and truth values may also be
texts, since a repetition can fill them in.
"""

from __future__ import annotations

from typing import Any

from interlock.hold.language.field_types import (
    Amount,
    Anything,
    Bay,
    Bays,
    Choice,
    Directions,
    Expression,
    Field,
    FieldType,
    Id,
    Listed,
    NewFields,
    NewItems,
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
from interlock.hold.language.schema_fields import DIRECTION_WORDS, RECORDS
from interlock.hold.language.schema_files import CHANGES, FILES, SECTIONS, VERSION
from interlock.hold.overlay.repetition import NOT_REPEATED
from interlock.hold.procedure.fields import OTHER_KEYS, PROCEDURE, STEP

Schema = dict[str, Any]
"""A schema, or a part of one: JSON values."""

_FILLED = {"type": "string", "pattern": r"\{"}
_SCALAR: Schema = {"type": ["string", "number", "boolean"]}
_NAME: Schema = {"type": ["string", "integer"], "pattern": r"^[A-Za-z0-9_-]+$|\{"}
_REPETITION: Schema = {
    "type": "object",
    "minProperties": 1,
    "description": "Repeats this item: variables with their values, such as {r: 1..6, l: [L, R]}.",
    "additionalProperties": {
        "anyOf": [
            {"type": "string", "pattern": r"^\s*(\d+|\{[^}]*\})\s*\.\.\s*(\d+|\{[^}]*\})\s*$"},
            {"type": "array", "minItems": 1, "items": _SCALAR},
        ]
    },
}

_STEPS: Schema = {"type": "array", "minItems": 1, "items": {"$ref": "#/definitions/step"}}


def hold_schema() -> Schema:
    """The schema of all four sorts of file."""
    definitions = {name: _record(record) for name, record in RECORDS.items()}
    definitions |= {name: _record(record) for name, record in FILES.items()}
    for name in _repeated():
        definitions[name]["properties"]["for"] = {"$ref": "#/definitions/repetition"}
    definitions["change"] = {"oneOf": [_with_repetition(_record(record), record) for record in CHANGES.values()]}
    definitions["repetition"] = _REPETITION
    definitions["procedure"], definitions["step"] = _procedure(), _step()
    return {
        "$schema": "http://json-schema.org/draft-07/schema#",
        "title": "A hold, a modification of one, a specification, or a procedure",
        "type": "object",
        "if": {"required": ["modifies"]},
        "then": {"$ref": "#/definitions/modification"},
        "else": {
            "if": {"required": ["specification"]},
            "then": {"$ref": "#/definitions/specification"},
            "else": {
                "if": {"required": ["procedure"]},
                "then": {"$ref": "#/definitions/procedure"},
                "else": {"$ref": "#/definitions/description"},
            },
        },
        "definitions": dict(sorted(definitions.items())),
    }


def _procedure() -> Schema:
    schema = _record(PROCEDURE)
    start = {"anyOf": [{**_NAME}, _type(States())], "description": OTHER_KEYS["start"]}
    steps = {**_STEPS, "description": OTHER_KEYS["steps"]}
    return {
        **schema,
        "properties": {**schema["properties"], "start": start, "steps": steps},
        "required": [*schema["required"], "steps"],
    }


def _step() -> Schema:
    schema = _with_repetition(_record(STEP), STEP)
    return {"anyOf": [{**_SCALAR}, {**schema, "properties": {**schema["properties"], "steps": _STEPS}}]}


def _repeated() -> list[str]:
    """The records that stand in lists whose items can be repeated."""
    left_alone = {section.record for key, section in SECTIONS.items() if key in NOT_REPEATED}
    found = {section.record for section in SECTIONS.values()}
    for record in RECORDS.values():
        for field in record.fields:
            if isinstance(field.type, Listed) and isinstance(field.type.item, RecordOf):
                found.add(field.type.item.record)
    return sorted(found - left_alone)


def _with_repetition(schema: Schema, record: Record) -> Schema:
    properties = {**schema["properties"], "for": {"$ref": "#/definitions/repetition"}}
    return {**schema, "properties": properties, "title": record.noun}


def _record(record: Record) -> Schema:
    return {
        "type": "object",
        "description": record.about,
        "properties": {field.key: _field(field) for field in record.fields},
        "required": [field.key for field in record.fields if field.required],
        "additionalProperties": False,
    }


def _field(field: Field) -> Schema:
    schema = _type(field.type)
    # beside a reference draft-07 ignores every other key
    return (
        {"allOf": [schema], "description": field.about} if "$ref" in schema else {**schema, "description": field.about}
    )


def _type(kind: FieldType) -> Schema:
    match kind:
        case Text() | Expression() | StepText():
            return {**_SCALAR}
        case Version():
            return {"enum": [int(VERSION), VERSION]}
        case Word(_, known) if known:
            return {"anyOf": [{"enum": list(known)}, _FILLED]}
        case Id() | Word() | Reference() | Bay() | Anything():
            return {**_NAME}
        case Whole(low, high):
            return {"anyOf": [{"type": "integer", "minimum": low, "maximum": high}, _number(r"^\d+$"), _FILLED]}
        case Amount():
            return {"anyOf": [{"type": "number", "exclusiveMinimum": 0}, _number(r"^\d+(\.\d+)?$"), _FILLED]}
        case YesNo():
            return {"anyOf": [{"type": "boolean"}, {"enum": ["true", "false"]}, _FILLED]}
        case Choice(options):
            return {"anyOf": [{"enum": list(options)}, _FILLED]}
        case SideText():
            return {"type": "string", "pattern": rf"^[A-Za-z0-9_-]+\.({'|'.join(DIRECTION_WORDS)})$|\{{"}
        case OrNone(inner):
            return {"anyOf": [{"const": "none"}, _type(inner)]}
        case Listed(item, one, least):
            listed: Schema = {"type": "array", "items": _type(item), **({"minItems": least} if least else {})}
            return {"anyOf": [_type(item), listed]} if one else listed
        case Bays(_, least, _):
            bay = {"type": ["string", "integer"], "pattern": r"^[A-Za-z0-9_. -]+$|\{"}
            return {"anyOf": [bay, {"type": "array", "items": bay, **({"minItems": least} if least else {})}]}
        case Directions():
            return {
                "type": "object",
                "minProperties": 1,
                "properties": {way: {**_SCALAR} for way in DIRECTION_WORDS},
                "additionalProperties": False,
            }
        case States() | Quantifiers():
            return {"type": "object", "minProperties": 1, "additionalProperties": {**_SCALAR}}
        case NewFields():
            return {"type": "object", "minProperties": 1}
        case NewItems():
            properties = {
                key: {"type": "array", "items": {"$ref": f"#/definitions/{section.record}"}}
                for key, section in SECTIONS.items()
            }
            return {"type": "object", "minProperties": 1, "properties": properties, "additionalProperties": False}
        case RecordOf(record):
            return {"$ref": f"#/definitions/{record}"}
    raise AssertionError(kind)  # every type is above


def _number(pattern: str) -> Schema:
    return {"type": "string", "pattern": pattern}
