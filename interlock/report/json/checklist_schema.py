"""The JSON Schema (draft-07) of what `checklist_document` writes."""

from __future__ import annotations

from interlock.report.json.checklist import SCHEMA
from interlock.report.json.schema_parts import (
    COUNT,
    DRAFT,
    PROGRAM,
    TEXT,
    TEXTS,
    YES_NO,
    Schema,
    list_of,
    object_of,
    or_null,
    refer,
)
from interlock.report.views.checklist_printed import CAUTION, NOTE, WARNING
from interlock.report.views.slips import EFFECT_HEADS
from interlock.study.procedure.slip_audit import Effect
from interlock.study.procedure.slips import TAXONOMY, SlipKind

KIND: Schema = {"enum": [kind.word for kind in SlipKind]}
MODE: Schema = {"enum": [None, *sorted({kind.mode for kind in SlipKind if kind.mode})]}
EFFECT: Schema = {"enum": [effect.value for effect in Effect]}
_EFFECTS = dict.fromkeys(EFFECT_HEADS.values(), COUNT)
_GUARD = object_of({"label": {"enum": [WARNING, CAUTION, NOTE]}, "hazard": TEXT, "avoid": TEXT, "consequence": TEXT})
_SLIP = object_of(
    {
        "kind": KIND,
        "error_mode": MODE,
        "instead": or_null(TEXT),
        "effect": EFFECT,
        "breaks": TEXTS,
        "cannot_be_made": YES_NO,
        "shows_at": list_of(or_null(COUNT)),
    }
)
_STEP = object_of(
    {
        "number": COUNT,
        "instruction": TEXT,
        "results": TEXTS,
        "guards": list_of(refer("guard")),
        "rules": TEXTS,
        "slips": list_of(_SLIP),
    }
)
_ORDER = object_of(
    {
        "before": list_of({"type": "array", "items": COUNT, "minItems": 2, "maxItems": 2}),
        "orders": or_null({"type": "integer", "minimum": 1}),
    }
)
_PART = object_of(
    {
        "title": TEXT,
        "timed": YES_NO,
        "steps": list_of(_STEP),
        "checks": TEXTS,
        "check_guards": list_of(refer("guard")),
        "audit_findings": TEXTS,
        "order": _ORDER,
        "length": COUNT,
        "no_way_of_up_to": {"type": "integer", "minimum": -1},
        "shown_shortest": YES_NO,
        "caution": or_null(refer("guard")),
    }
)
_SLIPS = object_of(
    {
        "followed": TEXT,
        "taxonomy": {"const": TAXONOMY},
        "effects": object_of(_EFFECTS),
        "kinds": list_of(object_of({"kind": KIND, "error_mode": MODE, **_EFFECTS})),
        "hazardous": list_of(object_of({"slip": TEXT, "breaks": TEXTS})),
        "fewest": list_of(
            object_of(
                {"requirement": TEXT, "hazard": TEXT, "severity": TEXT, "slips": COUNT, "combinations": list_of(TEXTS)}
            )
        ),
        "second_count": TEXT,
    }
)
_CHECKLIST = object_of(
    {
        "before": TEXTS,
        "parts": list_of(_PART),
        "states_checked": COUNT,
        "requirements_checked": COUNT,
        "claims": TEXTS,
        "slips": or_null(_SLIPS),
        "left_open": TEXTS,
    }
)
_HEAD: Schema = {
    "schema": {"const": SCHEMA},
    "program": PROGRAM,
    "exit_code": {"enum": [0, 1, 3, 4]},
    "description": TEXT,
    "title": TEXT,
    "situation": or_null(TEXT),
    "goal": TEXT,
}

CHECKLIST_SCHEMA: Schema = {
    "$schema": DRAFT,
    "title": "A checklist, or why there is none",
    "oneOf": [
        object_of({**_HEAD, "checklist": _CHECKLIST, "scheme": TEXT, "cautions": TEXTS}),
        object_of(
            {
                **_HEAD,
                "checklist": {"type": "null"},
                "reason": TEXT,
                "broken": TEXTS,
                "out_of_reach": YES_NO,
                "checked_by": or_null(TEXT),
                "instead": or_null(refer("instead")),
                "cautions": TEXTS,
            }
        ),
    ],
    "definitions": {
        "guard": _GUARD,
        "instead": object_of({"in_the_way": TEXTS, "left_out": TEXTS, "goals": list_of(TEXTS)}),
    },
}
