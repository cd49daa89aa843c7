"""A checklist as JSON for other programs; the layout is versioned."""

from __future__ import annotations

import json
from typing import Any

from interlock import __version__
from interlock.kernel.claims import Holds
from interlock.report.assumptions import CAUTIONS
from interlock.report.checklist_text import exit_code_of
from interlock.report.checklist_words import SCHEME, Guard, StepWords, Words, goal_words
from interlock.study.checklist import Checklist, Leg, NoChecklist, Step

SCHEMA = 1
"""Counts up when a reader of the old layout would go wrong."""


def checklist_document(label: str, result: Checklist | NoChecklist, words: Words | None) -> str:
    """One result; keys in a fixed order, no clock."""
    head: dict[str, Any] = {
        "schema": SCHEMA,
        "program": {"name": "interlock", "version": __version__},
        "exit_code": exit_code_of(result),
        "description": label,
        "title": result.compiled.hold.title,
        "situation": result.compiled.situation,
        "goal": goal_words(result.compiled, result.goal),
    }
    if isinstance(result, NoChecklist):
        head["checklist"] = None
        head["reason"] = result.reason
        head["broken"] = list(result.broken)
        head["out_of_reach"] = isinstance(result.finding, Holds)
        head["checked_by"] = result.finding.checked_by if isinstance(result.finding, Holds) else None
    else:
        assert words is not None  # noqa: S101 -- a checklist has words
        head["checklist"] = {
            "before": list(words.before),
            "parts": [
                {
                    "title": spoken.title,
                    "timed": leg.timed,
                    "steps": [_step(step, said) for step, said in zip(leg.steps, spoken.steps, strict=True)],
                    "checks": list(spoken.checks),
                    "order": _order(leg),
                    "length": leg.shortness.length,
                    "no_way_of_up_to": leg.shortness.excluded,
                    "shown_shortest": leg.shortness.is_shown,
                    "caution": None if spoken.timing is None else _guard(spoken.timing),
                }
                for leg, spoken in zip(result.legs, words.legs, strict=True)
            ],
            "states_checked": result.check.states,
            "requirements_checked": result.check.requirements,
            "claims": list(words.claims),
        }
        head["scheme"] = SCHEME
    head["cautions"] = list(CAUTIONS)
    return json.dumps(head, indent=1, ensure_ascii=False) + "\n"


def _step(step: Step, said: StepWords) -> dict[str, Any]:
    return {
        "number": step.number,
        "instruction": said.instruction,
        "results": list(said.results),
        "guards": [_guard(guard) for guard in said.guards],
        "rules": list(step.course.rules),
        "slips": [
            {
                "kind": slip.kind.value,
                "instead": None if slip.instead is None else list(slip.instead.heads),
                "broken": list(slip.broken),
                "stops_at": step.number + slip.stops if slip.stops else None,
                "unnoticed": slip.unnoticed,
            }
            for slip in step.slips
        ],
    }


def _order(leg: Leg) -> dict[str, Any]:
    first = leg.steps[0].number if leg.steps else 0
    return {
        "before": [[first + earlier, first + later] for earlier, later in leg.freedom.pairs],
        "orders": leg.freedom.count,
    }


def _guard(guard: Guard) -> dict[str, str]:
    return {
        "label": guard.label,
        "hazard": guard.hazard,
        "avoid": guard.avoid,
        "consequence": guard.consequence,
    }
