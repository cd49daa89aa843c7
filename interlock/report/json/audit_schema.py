"""The JSON Schema (draft-07) of what `audit_document` writes; the words come from the enumerations that it writes."""

from __future__ import annotations

from interlock.kernel.machine import Actor
from interlock.report.json.audit import SCHEMA
from interlock.report.json.schema_parts import (
    COUNT,
    DRAFT,
    PROGRAM,
    REASON,
    TEXT,
    TEXTS,
    YES_NO,
    Schema,
    list_of,
    object_of,
    or_null,
    refer,
)
from interlock.report.text.interrupted import DONE
from interlock.study.procedure.audit import Overall, Verdict
from interlock.study.procedure.holders import Holder
from interlock.study.procedure.interruptions import Resumption
from interlock.study.procedure.slip_audit import MOST_SLIPS, Effect
from interlock.study.procedure.slips import SlipKind

_ACTOR: Schema = {"enum": [actor.value for actor in Actor]}
KIND: Schema = {"enum": [kind.word for kind in SlipKind]}
MODE: Schema = {"enum": [None, *sorted({kind.mode for kind in SlipKind if kind.mode})]}
EFFECT: Schema = {"enum": [effect.value for effect in Effect]}
_STEP = object_of(
    {
        "number": COUNT,
        "actor": _ACTOR,
        "text": TEXT,
        "responses": TEXTS,
        "after": TEXTS,
        "action": or_null(COUNT),
        "slip": or_null(TEXT),
    }
)
_RUN = object_of({"steps": list_of(_STEP), "because": list_of(refer("reason"))})
_RESCUE = object_of({"steps": list_of(object_of({"actor": _ACTOR, "text": TEXT})), "breaks": TEXTS})
_RUN_OR_NULL, _RESCUE_OR_NULL = or_null(refer("run")), or_null(refer("way_out"))
_ACTION = object_of(
    {
        "number": COUNT,
        "text": TEXT,
        "note": TEXT,
        "line": COUNT,
        "verdict": {"enum": [verdict.value for verdict in Verdict]},
        "why": list_of(refer("reason")),
        "run": _RUN_OR_NULL,
        "way_out": _RESCUE_OR_NULL,
    }
)
_INTERRUPTION = object_of(
    {
        "before_action": COUNT,
        "in_the_middle": YES_NO,
        "can_be_broken": TEXTS,
        "can_be_broken_if_power_is_lost": TEXTS,
        "left_behind": TEXTS,
        "afterwards": {"enum": [*(one.value for one in Resumption), DONE]},
        "way_to_the_goal": _RESCUE_OR_NULL,
    }
)
_SLIP = object_of(
    {
        "id": TEXT,
        "kind": KIND,
        "sherpa": MODE,
        "action": COUNT,
        "text": TEXT,
        "effect": EFFECT,
        "breaks": TEXTS,
        "shows_at": list_of(COUNT),
        "cannot_be_made": YES_NO,
        "why": list_of(refer("reason")),
        "run": _RUN_OR_NULL,
    }
)
_REQUIREMENT = object_of(
    {
        "id": TEXT,
        "from": TEXT,
        "text": TEXT,
        "hazard": TEXT,
        "severity": TEXT,
        "scheme": TEXT,
        "source": TEXT,
        "held_by": {"enum": [holder.value for holder in Holder]},
        "situation_arises": YES_NO,
        "fewest_slips": or_null({"type": "integer", "minimum": 1, "maximum": MOST_SLIPS}),
        "single_failures": or_null(COUNT),
    }
)

AUDIT_SCHEMA: Schema = {
    "$schema": DRAFT,
    "title": "Result of auditing a written procedure",
    **object_of(
        {
            "schema": {"const": SCHEMA},
            "program": PROGRAM,
            "exit_code": {"enum": [0, 1, 3, 4]},
            "procedure": TEXT,
            "title": TEXT,
            "hold": TEXT,
            "start": TEXT,
            "overall": {"enum": [one.value for one in Overall]},
            "undecided": TEXTS,
            "disputed": list_of(object_of({"question": TEXT, "what": TEXT})),
            "places": object_of({"supplies_steady": COUNT, "power_lost_or_interrupted": COUNT}),
            "actions": list_of(_ACTION),
            "goal_missed": _RUN_OR_NULL,
            "broken": list_of(object_of({"requirement": TEXT, "only_when_power_is_lost": YES_NO, "run": _RUN_OR_NULL})),
            "interruptions": list_of(_INTERRUPTION),
            "slips": or_null(list_of(_SLIP)),
            "combinations": or_null(list_of(object_of({"requirement": TEXT, "slips": TEXTS, "run": _RUN_OR_NULL}))),
            "second_count": or_null(object_of({"slips_together": COUNT, "states": COUNT, "why_not": or_null(TEXT)})),
            "failures": or_null(
                object_of(
                    {
                        "declared": COUNT,
                        "not_followed": or_null(TEXT),
                        "hazardous": list_of(object_of({"failure": TEXT, "breaks": TEXTS, "run": refer("run")})),
                    }
                )
            ),
            "requirements": list_of(_REQUIREMENT),
            "assumptions": TEXTS,
            "cautions": TEXTS,
        }
    ),
    "definitions": {"reason": REASON, "run": _RUN, "way_out": _RESCUE},
}
