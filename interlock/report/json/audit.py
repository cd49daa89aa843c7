"""An audit of a procedure as JSON for other programs; the layout is versioned."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, TypeAlias

from interlock import __version__
from interlock.hold.tell import Reason
from interlock.kernel.claims import Disputed
from interlock.report.languages import in_json
from interlock.report.text.audit import audit_assumptions, audit_findings, start_of
from interlock.report.text.interrupted import DONE, is_done
from interlock.report.views.assumptions import CAUTIONS
from interlock.study.procedure.audit import Audit
from interlock.study.procedure.failing import FailureAudit
from interlock.study.procedure.interruptions import Interruption
from interlock.study.procedure.rescue import Rescue
from interlock.study.procedure.runs import Run
from interlock.study.procedure.slip_audit import Combination, SlipAudit, SlipResult

SCHEMA = 1
"""Counts up when a reader of the old layout would go wrong."""

Json: TypeAlias = Any  # values that JSON has


def audit_document(audit: Audit, label: str, code: int) -> str:
    """The whole audit, with the program's exit code; keys in a fixed order, no clock, no path but those given."""
    procedure = audit.bound.procedure
    document = {
        "schema": SCHEMA,
        "program": {"name": "interlock", "version": __version__},
        "exit_code": code,
        "procedure": label,
        "title": procedure.title,
        "hold": procedure.hold,
        "start": start_of(audit),
        "overall": audit.overall.value,
        "undecided": list(audit.open),
        "disputed": _disputed(audit),
        "places": {"supplies_steady": audit.states, "power_lost_or_interrupted": audit.states_lost},
        "actions": [
            {
                "number": one.number,
                "text": one.bound.action.text,
                "note": one.bound.action.note,
                "line": one.bound.action.span.line,
                "verdict": one.verdict.value,
                "why": _reasons(one.why),
                "run": _run(one.run),
                "way_out": _rescue(one.rescue),
            }
            for one in audit.actions
        ],
        "goal_missed": _run(audit.goal_missed),
        "broken": [
            {
                "requirement": one.hazard.instance.requirement.id,
                "only_when_power_is_lost": one.lost,
                "run": _run(one.run),
            }
            for one in audit.breaches
        ],
        "interruptions": [_interruption(one, len(audit.actions)) for one in audit.interruptions],
        "slips": None if audit.slips is None else [_slip(one) for one in audit.slips.results],
        "combinations": None if audit.slips is None else [_combination(one) for one in audit.slips.combinations],
        "second_count": None if audit.slips is None else _second_count(audit.slips),
        "failures": None if audit.failures is None else _failures(audit.failures),
        "requirements": [
            {
                "id": one.instance.requirement.id,
                "from": one.instance.origin.id,
                "text": one.instance.text,
                "hazard": one.instance.origin.hazard,
                "severity": one.instance.origin.severity,
                "scheme": one.instance.origin.scheme,
                "source": one.instance.origin.source,
                "held_by": one.holder.value,
                "situation_arises": one.arises,
                "fewest_slips": one.fewest,
                "single_failures": None
                if audit.failures is None or audit.failures.open
                else audit.failures.breaking(one.instance.requirement.id),
            }
            for one in audit.held
        ],
        "assumptions": list(audit_assumptions(audit)),
        "cautions": list(CAUTIONS),
    }
    return in_json(document)


def _disputed(audit: Audit) -> Json:
    found = [one for one in audit_findings(audit) if isinstance(one, Disputed)]
    return [{"question": one.question, "what": one.what} for one in found]


def _reasons(reasons: Sequence[Reason]) -> Json:
    return [{"text": one.text, "because": _reasons(one.because)} for one in reasons]


def _run(run: Run | None) -> Json:
    if run is None:
        return None
    steps = [
        {
            "number": step.number,
            "actor": step.actor.value,
            "text": step.text,
            "responses": list(step.responses),
            "after": list(step.after),
            "action": step.action,
            "slip": step.slip,
        }
        for step in run.steps
    ]
    return {"steps": steps, "because": _reasons(run.because)}


def _rescue(rescue: Rescue | None) -> Json:
    if rescue is None:
        return None
    steps = [{"actor": actor.value, "text": text} for actor, text in rescue.steps]
    return {"steps": steps, "breaks": list(rescue.breaks)}


def _interruption(one: Interruption, last: int) -> Json:
    return {
        "before_action": one.before,
        "in_the_middle": one.midway,
        "can_be_broken": list(one.at_risk),
        "can_be_broken_if_power_is_lost": list(one.at_risk_lost),
        "left_behind": list(one.left),
        "afterwards": DONE if is_done(one, last) else one.resumption.value,
        "way_to_the_goal": _rescue(one.rescue),
    }


def _slip(one: SlipResult) -> Json:
    return {
        "id": one.slip.id,
        "kind": one.slip.kind.word,
        "sherpa": one.slip.kind.mode or None,
        "action": one.slip.action + 1,
        "text": one.slip.text,
        "effect": one.effect.value,
        "breaks": list(one.hazards),
        "shows_at": list(one.shows_at),
        "cannot_be_made": one.impossible,
        "why": _reasons(one.why),
        "run": _run(one.run),
    }


def _second_count(slips: SlipAudit) -> Json:
    counted = slips.counted
    return {"slips_together": counted.together, "states": counted.states, "why_not": counted.why or None}


def _failures(failures: FailureAudit) -> Json:
    return {
        "declared": failures.declared,
        "not_followed": failures.open or None,
        "hazardous": [
            {"failure": one.text, "breaks": list(one.hazards), "run": _run(one.run)} for one in failures.results
        ],
    }


def _combination(one: Combination) -> Json:
    return {
        "requirement": one.hazard.instance.requirement.id,
        "slips": [slip.id for slip in one.slips],
        "run": _run(one.run),
    }
