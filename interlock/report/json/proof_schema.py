"""The JSON Schema (draft-07) of what `proof_document` writes."""

from __future__ import annotations

from typing import Any

from interlock.report.json.proof import SCHEMA
from interlock.study.verify import Status

_TEXT = {"type": "string"}
_TEXTS = {"type": "array", "items": _TEXT}
_COUNT = {"type": "integer", "minimum": 0}


def _object(properties: dict[str, Any], optional: tuple[str, ...] = ()) -> dict[str, Any]:
    return {
        "type": "object",
        "properties": properties,
        "required": [name for name in properties if name not in optional],
        "additionalProperties": False,
    }


def _or_null(kind: str) -> dict[str, Any]:
    return {"type": [kind, "null"]}


def _listed(item: dict[str, Any]) -> dict[str, Any]:
    return {"type": "array", "items": item}


def _refer(name: str) -> dict[str, str]:
    return {"$ref": f"#/definitions/{name}"}


_VALUES = {"type": "object", "additionalProperties": {"type": ["boolean", "integer", "string"]}}
_PLACE = _object({"file": _TEXT, "line": _COUNT, "column": _COUNT, "length": _COUNT})
_REASON = _object({"text": _TEXT, "because": _listed(_refer("reason"))})
_STEP = _object(
    {
        "number": _COUNT,
        "actor": {"enum": ["crew", "mechanism", "plant", "failure"]},
        "text": _TEXT,
        "responses": _TEXTS,
        "after": _TEXTS,
    }
)
_STORY = _object(
    {
        "start": _TEXTS,
        "steps": _listed(_STEP),
        "last_step_possible": _listed(_refer("reason")),
        "reached": _listed(_refer("reason")),
    }
)
_TRACE = _object({"initial": _VALUES, "steps": _listed(_object({"rule": _TEXT, "changed": _VALUES}))})
_FINDING = {
    "oneOf": [
        _object(
            {"reachable": {"const": False}, "engine": _TEXT, "checked_by": _TEXT, "states": _or_null("integer")},
        ),
        _object({"reachable": {"const": True}, "engine": _TEXT, "steps": _COUNT, "shortest": {"type": "boolean"}}),
        _object(
            {"reachable": {"type": "null"}, "reason": _TEXT, "excluded_up_to_steps": {"type": "integer", "minimum": -1}}
        ),
        _object({"reachable": {"type": "null"}, "engine": _TEXT, "disputed": _TEXT}),
        _object({"always_possible": {"const": True}, "engine": _TEXT, "checked_by": _TEXT, "cases": _COUNT}),
        _object(
            {
                "always_possible": {"const": False},
                "engine": _TEXT,
                "checked_by": _TEXT,
                "steps": _COUNT,
                "shortest": {"type": "boolean"},
            }
        ),
    ]
}
_REQUIREMENT = _object(
    {
        "id": _TEXT,
        "from": _TEXT,
        "bindings": {"type": "object", "additionalProperties": _TEXT},
        "kind": _TEXT,
        "text": _TEXT,
        "hazard": _TEXT,
        "severity": _TEXT,
        "scheme": _TEXT,
        "source": _TEXT,
        "written_at": _refer("place"),
        "status": {"enum": [status.value for status in Status]},
        "situation_arises": _or_null("boolean"),
        "finding": _FINDING,
        "story": {"oneOf": [{"type": "null"}, _STORY]},
        "forbidden_steps": _TEXTS,
        "trace": {"oneOf": [{"type": "null"}, _TRACE]},
    }
)
_HOLD = _object(
    {
        "description": _TEXT,
        "title": _TEXT,
        "situation": _or_null("string"),
        "exit_code": {"enum": [0, 1, 3, 4]},
        "counts": _object(dict.fromkeys(("hold", "hold_vacuously", "fail", "undecided", "disputed"), _COUNT)),
        "machine": _object({"variables": _COUNT, "rules": _COUNT}),
        "modifications": _listed(_object({"verb": _TEXT, "object": _TEXT, "at": _refer("place")})),
        "requirements": _listed(_REQUIREMENT),
        "nothing_to_range_over": _TEXTS,
        "checked_by": _TEXTS,
        "assumptions": _TEXTS,
        "grounds": _listed(
            _object(
                {
                    "requirement": _TEXT,
                    "clauses": _COUNT,
                    "counted": {"type": "boolean"},
                    "facts": _listed(_object({"text": _TEXT, "places": _TEXTS})),
                }
            )
        ),
    },
    optional=("grounds",),
)
_DIAGNOSTIC = _object(
    {
        "code": _TEXT,
        "at": _refer("place"),
        "message": _TEXT,
        "expected": _or_null("string"),
        "nearest": _or_null("string"),
        "context": _TEXTS,
    }
)

PROOF_SCHEMA: dict[str, Any] = {
    "$schema": "http://json-schema.org/draft-07/schema#",
    "title": "Result of proving the requirements of cargo holds",
    **_object(
        {
            "schema": {"const": SCHEMA},
            "program": _object({"name": {"const": "interlock"}, "version": _TEXT}),
            "exit_code": {"enum": [0, 1, 2, 3, 4]},
            "holds": _listed(_HOLD),
            "rejected": _listed(_object({"description": _TEXT, "diagnostics": _listed(_DIAGNOSTIC)})),
            "cautions": _TEXTS,
        }
    ),
    "definitions": {"place": _PLACE, "reason": _REASON},
}
