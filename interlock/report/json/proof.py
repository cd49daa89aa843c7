"""Verifications as JSON for other programs; the layout is versioned and told by `PROOF_SCHEMA`."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, TypeAlias

from interlock import __version__
from interlock.diagnostics.spans import Diagnostic, Span
from interlock.hold.tell import Reason, Story
from interlock.kernel.claims import Disputed, Fails, Finding, Holds, Trace, Undecided
from interlock.kernel.evaluator import as_mapping
from interlock.kernel.machine import Machine
from interlock.kernel.recovery import Recovers, Traps
from interlock.report.languages import in_json
from interlock.report.text.grounds import grounds_document
from interlock.report.text.proof import Proof, forbidden_of
from interlock.report.views.assumptions import CAUTIONS, assumptions_of, checkers_of
from interlock.study.verify import Answer, Status, Verification

SCHEMA = 1
"""Counts up when a reader of the old layout would go wrong."""

Json: TypeAlias = Any  # values that JSON has; a recursive alias would help nobody who reads them by key


def proof_document(proofs: Sequence[Proof], rejected: Mapping[str, Sequence[Diagnostic]], code: int) -> str:
    """All results of one call; keys in a fixed order, no clock, no path that the caller did not write."""
    document = {
        "schema": SCHEMA,
        "program": {"name": "interlock", "version": __version__},
        "exit_code": code,
        "holds": [_hold(proof) for proof in proofs],
        "rejected": [
            {"description": label, "diagnostics": [_diagnostic(one) for one in found]}
            for label, found in rejected.items()
        ],
        "cautions": list(CAUTIONS),
    }
    return in_json(document)


def _hold(proof: Proof) -> Json:
    verification = proof.verification
    compiled = verification.compiled
    known = {instance.origin.id for instance in compiled.instances}
    return {
        "description": proof.label,
        "title": compiled.hold.title,
        "situation": compiled.situation,
        "exit_code": proof.exit_code,
        "counts": {
            "hold": verification.count(Status.HOLDS) + verification.count(Status.VACUOUS),
            "hold_vacuously": verification.count(Status.VACUOUS),
            "fail": verification.count(Status.FAILS),
            "undecided": verification.count(Status.UNDECIDED),
            "disputed": verification.count(Status.DISPUTED),
        },
        "machine": {"variables": len(verification.machine.variables), "rules": len(verification.machine.rules)},
        "modifications": [{"verb": c.verb, "object": c.object, "at": _span(c.span)} for c in compiled.hold.changes],
        "requirements": [_answer(verification, answer) for answer in verification.answers],
        "nothing_to_range_over": [text.id for text in proof.texts if text.id not in known],
        "checked_by": list(checkers_of(verification)),
        "assumptions": list(assumptions_of(compiled)),
        **({} if proof.grounds is None else {"grounds": grounds_document(proof.grounds)}),
    }


def _answer(verification: Verification, answer: Answer) -> Json:
    instance = answer.instance
    origin = instance.origin
    return {
        "id": instance.requirement.id,
        "from": origin.id,
        "bindings": dict(instance.bindings),
        "kind": origin.kind,
        "text": instance.text,
        "hazard": origin.hazard,
        "severity": origin.severity,
        "scheme": origin.scheme,
        "source": origin.source,
        "written_at": _span(origin.span),
        "status": answer.status.value,
        "situation_arises": _arises(answer.occasion),
        "finding": _finding(answer.finding),
        "story": None if answer.story is None else _story(answer.story),
        "forbidden_steps": list(forbidden_of(verification, answer)) if answer.status is Status.FAILS else [],
        "trace": _trace(verification.machine, answer.finding.claim.trace)
        if isinstance(answer.finding, Fails | Traps)
        else None,
    }


def _arises(occasion: Finding | None) -> Json:
    """True or false; None where it is not known, or where the requirement speaks of every state."""
    return {Fails: True, Holds: False}.get(type(occasion))


def _finding(finding: Finding | Recovers | Traps) -> Json:
    if isinstance(finding, Recovers):
        cases = sum(len(stage.entries) for stage in finding.claim.recovery.stages)
        return {
            "always_possible": True,
            "engine": finding.claim.engine,
            "checked_by": finding.checked_by,
            "cases": cases,
        }
    if isinstance(finding, Traps):
        return {
            "always_possible": False,
            "engine": finding.claim.engine,
            "checked_by": finding.checked_by,
            "steps": finding.claim.trace.depth,
            "shortest": finding.claim.shortest,
        }
    if isinstance(finding, Holds):
        return {
            "reachable": False,
            "engine": finding.claim.engine,
            "checked_by": finding.checked_by,
            "states": finding.claim.states,
        }
    if isinstance(finding, Fails):
        return {
            "reachable": True,
            "engine": finding.claim.engine,
            "steps": finding.claim.trace.depth,
            "shortest": finding.claim.shortest,
        }
    if isinstance(finding, Undecided):
        return {"reachable": None, "reason": finding.reason, "excluded_up_to_steps": finding.depth}
    assert isinstance(finding, Disputed)  # noqa: S101 -- the four findings are all there are
    return {"reachable": None, "engine": finding.claim.engine, "disputed": finding.what}


def _story(story: Story) -> Json:
    return {
        "start": list(story.start),
        "steps": [
            {
                "number": step.number,
                "actor": step.actor.value,
                "text": step.text,
                "responses": list(step.responses),
                "after": list(step.after),
            }
            for step in story.steps
        ],
        "last_step_possible": [_reason(reason) for reason in story.possible],
        "reached": [_reason(reason) for reason in story.reached],
    }


def _reason(reason: Reason) -> Json:
    return {"text": reason.text, "because": [_reason(inner) for inner in reason.because]}


def _trace(machine: Machine, trace: Trace) -> Json:
    steps = []
    for rule, before, after in zip(trace.rules, trace.states[:-1], trace.states[1:], strict=True):
        old = as_mapping(machine, before)
        changed = {name: value for name, value in as_mapping(machine, after).items() if value != old[name]}
        steps.append({"rule": rule, "changed": changed})
    return {"initial": as_mapping(machine, trace.states[0]), "steps": steps}


def _span(span: Span) -> Json:
    return {"file": span.file, "line": span.line, "column": span.column, "length": span.length}


def _diagnostic(one: Diagnostic) -> Json:
    return {
        "code": one.code,
        "at": _span(one.span),
        "message": one.message,
        "expected": one.expected,
        "nearest": one.nearest,
        "context": list(one.context),
    }
