"""A checklist as JSON for other programs; the layout is versioned."""

from __future__ import annotations

from typing import Any

from interlock import __version__
from interlock.kernel.claims import Holds
from interlock.report.languages import in_json
from interlock.report.text.checklist import goal_option
from interlock.report.views.assumptions import CAUTIONS
from interlock.report.views.checklist_printed import SCHEME, Guard, SlipsWords, StepWords, Words
from interlock.report.views.checklist_words import goal_words
from interlock.report.views.slips import EFFECT_HEADS
from interlock.study.checklist.audit import ChecklistAudit
from interlock.study.checklist.making import Checklist, Leg, NoChecklist, Step
from interlock.study.procedure.slip_audit import SlipResult
from interlock.study.procedure.slips import TAXONOMY

SCHEMA = 3
"""Counts up when a reader of the old layout would go wrong."""


def checklist_document(
    label: str, result: Checklist | NoChecklist, words: Words | None, audited: ChecklistAudit | None, code: int
) -> str:
    """One result; keys in a fixed order, no clock."""
    head: dict[str, Any] = {
        "schema": SCHEMA,
        "program": {"name": "interlock", "version": __version__},
        "exit_code": code,
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
        head["instead"] = _instead(result)
        head["checked_by"] = result.finding.checked_by if isinstance(result.finding, Holds) else None
    else:
        assert words is not None and audited is not None  # noqa: S101 -- a checklist has words
        head["checklist"] = {
            "before": list(words.before),
            "parts": [
                {
                    "title": spoken.title,
                    "timed": leg.timed,
                    "steps": [_step(step, said, audited) for step, said in zip(leg.steps, spoken.steps, strict=True)],
                    "checks": list(spoken.checks),
                    "check_guards": [_guard(guard) for guard in spoken.check_guards],
                    "audit_findings": list(spoken.findings),
                    "order": _order(leg),
                    "length": leg.shortness.length,
                    "no_way_of_up_to": leg.shortness.excluded,
                    "shown_shortest": leg.shortness.is_shown,
                    "caution": None if spoken.beware is None else _guard(spoken.beware),
                }
                for leg, spoken in zip(result.legs, words.legs, strict=True)
            ],
            "states_checked": result.check.states,
            "requirements_checked": result.check.requirements,
            "claims": list(words.claims),
            "slips": None if words.slips is None else _slips(words.slips),
            "left_open": list(words.open),
        }
        head["scheme"] = SCHEME
    head["cautions"] = list(CAUTIONS)
    return in_json(head)


def _instead(found: NoChecklist) -> dict[str, Any] | None:
    near = found.nearest
    if near is None:
        return None
    return {
        "in_the_way": ["+".join(unit.cells) for unit in near.in_the_way],
        "left_out": ["+".join(unit.cells) for unit in near.left_out],
        "goals": [list(goal_option(goal)) for goal in near.goals],
    }


def _step(step: Step, said: StepWords, audited: ChecklistAudit) -> dict[str, Any]:
    return {
        "number": step.number,
        "instruction": said.instruction,
        "results": list(said.results),
        "guards": [_guard(guard) for guard in said.guards],
        "rules": list(step.execution.rules),
        "slips": [_slip(one, audited) for one in audited.slips_at(step.number)],
    }


def _slip(one: SlipResult, audited: ChecklistAudit) -> dict[str, Any]:
    return {
        "kind": one.slip.kind.word,
        "error_mode": one.slip.kind.mode or None,
        "instead": None if one.slip.instead is None else one.slip.instead.action.text,
        "effect": one.effect.value,
        "breaks": list(one.hazards),
        "cannot_be_made": one.impossible,
        "shows_at": list(dict.fromkeys(audited.step_of(action) for action in one.shows_at)),
    }


def _slips(said: SlipsWords) -> dict[str, Any]:
    return {
        "followed": said.followed,
        "taxonomy": TAXONOMY,
        "effects": dict(said.counts),
        "kinds": [
            {
                "kind": row.kind,
                "error_mode": row.mode or None,
                **dict(zip(EFFECT_HEADS.values(), row.counts, strict=True)),
            }
            for row in said.kinds
        ],
        "hazardous": [{"slip": text, "breaks": list(broken)} for text, broken in said.hazards],
        "fewest": [
            {
                "requirement": row.requirement,
                "hazard": row.hazard,
                "severity": row.severity,
                "slips": row.number,
                "combinations": [list(those) for those in row.combinations],
            }
            for row in said.fewest
        ],
        "second_count": said.counted,
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
