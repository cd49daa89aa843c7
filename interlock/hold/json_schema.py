"""The JSON Schema (draft-07) by which editors help to write descriptions, made from the language's declarations."""

from __future__ import annotations

from collections.abc import Iterator

from interlock.hold.language.declarations import Field, Record, Schema, defined
from interlock.hold.language.field_types import Listed, RecordOf, records_within
from interlock.hold.language.fleets import Fleet
from interlock.hold.language.model import Catalogue, Hold, Specification
from interlock.hold.language.rates import FailureRates
from interlock.hold.language.text_types import SCALAR
from interlock.hold.overlay.changes import CHANGES, Modification
from interlock.hold.overlay.repetition import NOT_REPEATED
from interlock.hold.procedure.model import Procedure, Step

_REPETITION: Schema = {
    "type": "object",
    "minProperties": 1,
    "description": "Repeats this item: variables with their values, such as {r: 1..6, l: [L, R]}.",
    "additionalProperties": {
        "anyOf": [
            {"type": "string", "pattern": r"^\s*(\d+|\{[^}]*\})\s*\.\.\s*(\d+|\{[^}]*\})\s*$"},
            {"type": "array", "minItems": 1, "items": SCALAR},
        ]
    },
}
_REPEATED: Schema = {"for": defined("repetition")}

_TOLD_BY = {
    "catalogue": "catalogue",
    "rates": "failure_rates",
    "procedure": "procedure",
    "specification": "specification",
    "fleet": "fleet",
    "modification": "modifies",
}
"""The sorts of file but the plain one, by the key that only they have; the last wins over those before."""


def hold_schema() -> Schema:
    """The schema of all seven sorts of file."""
    files = Hold, Modification, Specification, Procedure, Catalogue, FailureRates, Fleet
    found = [one for file in files for one in records_within(file)]
    repeated = {one for record in found for one in _repeated(record)}
    definitions = {one.declaration.name: _record(one, one in repeated) for one in found}
    definitions["change"] = {"oneOf": [_titled(one) for one in CHANGES.values()]}
    definitions["step"] = {"anyOf": [{**SCALAR}, _titled(Step)]}
    definitions["repetition"] = _REPETITION
    chosen: Schema = defined("description")
    for sort, key in _TOLD_BY.items():
        chosen = {"if": {"required": [key]}, "then": defined(sort), "else": chosen}
    return {
        "$schema": "http://json-schema.org/draft-07/schema#",
        "title": "A hold, a modification, a specification, a procedure, a catalogue or rates of failures, a fleet",
        "type": "object",
        **chosen,
        "definitions": dict(sorted(definitions.items())),
    }


def _repeated(record: type[Record]) -> Iterator[type[Record]]:
    """The records that stand in those of its lists whose items can be repeated."""
    for field in record.declaration.fields:
        if isinstance(field.type, Listed) and isinstance(field.type.item, RecordOf) and field.key not in NOT_REPEATED:
            yield field.type.item.record


def _record(record: type[Record], is_repeated: bool) -> Schema:
    declaration = record.declaration
    properties = {field.key: _field(field) for field in declaration.fields}
    return {
        "type": "object",
        "description": declaration.about,
        "properties": {**properties, **(_REPEATED if is_repeated else {})},
        "required": [field.key for field in declaration.fields if field.required],
        "additionalProperties": False,
    }


def _titled(record: type[Record]) -> Schema:
    return {**_record(record, is_repeated=True), "title": record.declaration.noun}


def _field(field: Field) -> Schema:
    schema = field.type.schema()
    # beside a reference draft-07 ignores every other key
    return {**({"allOf": [schema]} if "$ref" in schema else schema), "description": field.about}
