"""Pieces of JSON Schema (draft-07) of which the schemas of results are made."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, TypeAlias

Schema: TypeAlias = Mapping[str, Any]

DRAFT = "http://json-schema.org/draft-07/schema#"
TEXT: Schema = {"type": "string"}
TEXTS: Schema = {"type": "array", "items": TEXT}
COUNT: Schema = {"type": "integer", "minimum": 0}
YES_NO: Schema = {"type": "boolean"}


def object_of(properties: Mapping[str, Schema]) -> Schema:
    """An object with exactly these members."""
    return {
        "type": "object",
        "properties": dict(properties),
        "required": list(properties),
        "additionalProperties": False,
    }


def list_of(item: Schema) -> Schema:
    """An array of such items."""
    return {"type": "array", "items": item}


def or_null(schema: Schema) -> Schema:
    """The same, or null."""
    return {"oneOf": [{"type": "null"}, schema]}


def refer(name: str) -> Schema:
    """What stands under that name in the definitions."""
    return {"$ref": f"#/definitions/{name}"}


REASON = object_of({"text": TEXT, "because": list_of(refer("reason"))})
"""The definition that `refer("reason")` needs."""
PROGRAM = object_of({"name": {"const": "interlock"}, "version": TEXT})
