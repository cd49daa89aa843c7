"""Proofs in the Static Analysis Results Interchange Format: SARIF 2.1.0, an OASIS Standard.

Section numbers are those of the standard.  A requirement text is a rule, a requirement that does not plainly hold a
result of it.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from hashlib import sha256
from typing import Any, TypeAlias

from interlock.hold.loader import Part
from interlock.report.languages import in_sarif, in_sarif_message, in_uri
from interlock.report.views.assumptions import CAUTIONS
from interlock.report.views.facts import PROGRAM, Place
from interlock.report.views.outcomes import (
    FAULT_OF_PROGRAM,
    NOTHING_ASKED,
    Outcome,
    described_in,
    outcomes_of,
    refused,
)
from interlock.report.views.proof import Group, ProofView
from interlock.report.views.proof_facts import HoldFacts, ProofFacts, Rejection, Status
from interlock.report.views.wording import listed, sentence

Object: TypeAlias = dict[str, Any]

SCHEMA = "https://docs.oasis-open.org/sarif/sarif/v2.1.0/errata01/os/schemas/sarif-schema-2.1.0.json"
LEVELS = {
    Status.DISPUTED: "error",
    Status.FAILS: "error",
    Status.UNDECIDED: "warning",
    Status.VACUOUS: "note",
    Status.HOLDS: "note",
}
"""3.27.10.  The kind of every result is left at `fail` (3.27.9): of any other the level would have to be `none`, and
what is undecided would be hidden."""


def proof_sarif(facts: ProofFacts, proofs: Sequence[ProofView]) -> str:
    """One log with a run for each hold that was proved, in order, then one for each that was refused."""
    runs = [_run(proof, facts.exit_code) for proof in proofs]
    runs += [_refusal(rejection, facts.exit_code) for rejection in facts.rejected]
    return in_sarif({"$schema": SCHEMA, "version": "2.1.0", "runs": runs})


def _run(proof: ProofView, code: int) -> Object:
    facts = proof.facts
    notes = [*proof.cautions, *proof.scope]
    starts = "" if facts.situation is None else f"{in_uri(facts.situation)}/"
    told = [_notification("error", FAULT_OF_PROGRAM)] if facts.counts.disputed else []
    told += [] if proof.groups else [_notification("warning", NOTHING_ASKED)]
    rules = {group.text.from_: number for number, group in enumerate(proof.groups)}
    return {
        "tool": _tool(map(_rule, proof.groups)),
        "automationDetails": {"id": f"prove/{in_uri(facts.description)}/{starts}"},
        "columnKind": "unicodeCodePoints",
        "invocations": [
            _invocation(not facts.counts.disputed, code, [*told, *(_notification("note", text) for text in notes)])
        ],
        "artifacts": [
            {
                "location": {"uri": in_uri(one.name)},
                "description": _message(one.part),
                "roles": ["analysisTarget"] if one.part is Part.DESCRIPTION else [],
                "hashes": {"sha-256": one.sha256},
            }
            for one in facts.identification.files
        ],
        "results": [
            _result(facts, outcome, rules[outcome.answer.facts.from_])
            for outcome in outcomes_of(proof)
            if not outcome.is_plain
        ],
        "properties": {
            "description": facts.description,
            "title": facts.title,
            "situation": facts.situation,
            "summary": proof.summary(),
            "holdExitCode": facts.exit_code,
            "cautions": list(proof.cautions),
            "assumptions": list(proof.assumptions),
            "madeWith": facts.identification.made_with,
        },
    }


def _refusal(rejection: Rejection, code: int) -> Object:
    """No results are told, which says that none were looked for (3.14.23)."""
    faults = [
        {**_notification("error", text), "locations": [_location(one.at.file, one.at)]}
        for text, one in zip(refused(rejection), rejection.diagnostics, strict=True)
    ]
    return {
        "tool": _tool(()),
        "automationDetails": {"id": f"prove/{in_uri(rejection.description)}/"},
        "columnKind": "unicodeCodePoints",
        "invocations": [_invocation(False, code, faults)],
        "properties": {"description": rejection.description, "cautions": list(CAUTIONS)},
    }


def _tool(rules: Iterable[Object]) -> Object:
    return {"driver": {"name": PROGRAM.name, "version": PROGRAM.version, "rules": list(rules)}}


def _invocation(successful: bool, code: int, notifications: list[Object]) -> Object:
    return {"executionSuccessful": successful, "exitCode": code, "toolExecutionNotifications": notifications}


def _notification(level: str, text: str) -> Object:
    return {"level": level, "message": _message(text)}


def _rule(group: Group) -> Object:
    text = group.text
    harm = None if text.harm is None else listed(text.harm) or "nobody and nothing"
    help = {
        "Hazard": text.hazard,
        "Harm to": harm,
        "Severity": text.severity + (f" ({text.scheme})" if text.scheme else ""),
        "Source": text.source,
    }
    return {
        "id": text.from_,
        "shortDescription": _message(sentence(group.pattern)),
        "help": _message("\n".join(f"{name}: {said}" for name, said in help.items() if said)),
        "defaultConfiguration": {"level": "error"},
        "properties": {
            "kind": text.kind,
            "hazard": text.hazard,
            "harm": text.harm and list(text.harm),
            "severity": text.severity,
            "scheme": text.scheme,
            "source": text.source,
        },
    }


def _result(facts: HoldFacts, outcome: Outcome, rule: int) -> Object:
    told, steps = outcome.answer.facts, outcome.steps
    result = {
        "ruleId": told.from_,
        "ruleIndex": rule,
        "level": LEVELS[told.status],
        "message": _message("\n\n".join((outcome.verdict, *outcome.more))),
        "locations": [_location(outcome.file, outcome.at)],
        "partialFingerprints": {"requirement/v1": _fingerprint(facts, told.id)},
        "properties": {"requirement": told.id, "status": told.status, "about": dict(told.bindings)},
    }
    if steps:
        where = described_in(facts)
        texts = [*([outcome.begins] if outcome.begins else ()), *steps]
        flow = [{"location": {**_location(where, None), "message": _message(text)}} for text in texts]
        result["codeFlows"] = [{"threadFlows": [{"locations": flow}]}]
    return result


def _fingerprint(facts: HoldFacts, requirement: str) -> str:
    """Of what is asked of which hold, from where it starts: no line and no verdict is in it (3.27.17)."""
    return sha256(json.dumps([facts.description, facts.situation, requirement]).encode()).hexdigest()


def _location(file: str, at: Place | None) -> Object:
    physical: Object = {"artifactLocation": {"uri": in_uri(file)}}
    if at is not None and at.line and at.column:
        physical["region"] = {"startLine": at.line, "startColumn": at.column, "endColumn": at.column + at.length}
    return {"physicalLocation": physical}


def _message(text: str) -> Object:
    return {"text": in_sarif_message(text)}
