"""What studies find, in the Static Analysis Results Interchange Format: SARIF 2.1.0, an OASIS Standard.

Section numbers are those of the standard.  A requirement text is a rule, a requirement that does not plainly hold a
result of it; of other studies each sort of point is a rule.  In a comparison the first hold is the baseline (3.27.24)
of the results of the second.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from hashlib import sha256
from typing import Any, TypeAlias

from interlock.hold.loader import Part
from interlock.report.languages import in_sarif, in_sarif_message, in_uri
from interlock.report.views.assumptions import CAUTIONS, IN_SHORT
from interlock.report.views.blame import said_changes
from interlock.report.views.comparison import COMPARED, ORDER, ComparisonView
from interlock.report.views.comparison_facts import ComparisonFacts, DifferenceFacts, What
from interlock.report.views.facts import PROGRAM, Place
from interlock.report.views.gathered import How, Line, Point, Sort
from interlock.report.views.identification import FileFacts
from interlock.report.views.outcomes import (
    FAULT_OF_PROGRAM,
    NOTHING_ASKED,
    Outcome,
    described_in,
    grounds_of,
    outcomes_of,
    refused,
    told_steps,
)
from interlock.report.views.proof import Group, ProofView
from interlock.report.views.proof_facts import HoldFacts, ProofFacts, Rejection, Status
from interlock.report.views.study_outcomes import StudyView, gathered
from interlock.report.views.wording import count_of, listed, sentence

Object: TypeAlias = dict[str, Any]

SCHEMA = "https://docs.oasis-open.org/sarif/sarif/v2.1.0/errata01/os/schemas/sarif-schema-2.1.0.json"
LEVELS = {
    Status.DISPUTED: "error",
    Status.FAILS: "error",
    Status.UNDECIDED: "warning",
    Status.VACUOUS: "note",
    Status.HOLDS: "note",
}
POINTS = {
    How.DISPUTED: "error",
    How.REJECTED: "error",
    How.AMISS: "error",
    How.OPEN: "warning",
    How.SHOWS_NOTHING: "note",
}
"""3.27.10.  The kind of every result is left at `fail` (3.27.9): of any other the level would have to be `none`, and
what is undecided would be hidden."""

CHANGED = {
    What.OTHERWISE: ("warning", "updated"),
    What.GAINED: ("warning", "new"),
    What.ON: ("warning", "new"),
    What.LOST: ("note", "absent"),
    What.OFF: ("note", "absent"),
}
"""Level (3.27.10) and baseline state (3.27.24) of what is otherwise: that something can now be done, or has another
outcome, is for somebody to look at; that it can no longer be is told."""


def proof_sarif(facts: ProofFacts, proofs: Sequence[ProofView]) -> str:
    """One log with a run for each hold that was proved, in order, then one for each that was refused."""
    runs = [_run(proof, facts.exit_code) for proof in proofs]
    runs += [_refusal(rejection, facts.exit_code) for rejection in facts.rejected]
    return in_sarif({"$schema": SCHEMA, "version": "2.1.0", "runs": runs})


def _run(proof: ProofView, code: int) -> Object:
    facts = proof.facts
    notes = [*proof.cautions, *proof.scope]
    told_of = outcomes_of(proof)
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
            _artifact(one, ("analysisTarget",) if one.part is Part.DESCRIPTION else ())
            for one in facts.identification.files
        ],
        "results": [
            _result(facts, outcome, rules[outcome.answer.facts.from_]) for outcome in told_of if not outcome.is_plain
        ],
        "properties": {
            "description": facts.description,
            "title": facts.title,
            "situation": facts.situation,
            "summary": proof.summary(),
            "holdExitCode": facts.exit_code,
            "cautions": list(proof.cautions),
            "assumptions": list(proof.assumptions),
            "restsOn": {one.answer.facts.id: one.rests_on for one in told_of if one.rests_on},
            "grounds": list(grounds_of(facts)),
            "madeWith": facts.identification.made_with,
        },
    }


def comparison_sarif(view: ComparisonView, both: tuple[ProofView, ProofView] | None) -> str:
    """One log with one run: of the second hold, and what is otherwise than in the first; `both` are their proofs."""
    facts = view.facts
    run = _compared(facts) if both is None else _run(both[1], facts.exit_code)
    run["automationDetails"] = {"id": f"compare/{in_uri(facts.first.description)}/{in_uri(facts.second.description)}/"}
    if both is not None:
        old, new = both
        rules = run["tool"]["driver"]["rules"]
        rules += [rule for rule in map(_rule, old.groups) if rule["id"] not in {one["id"] for one in rules}]
        run["results"] = _turned(_run(old, facts.exit_code)["results"], run["results"], rules, new.facts)
    known = {one["location"]["uri"] for one in run["artifacts"]}
    run["artifacts"] += [_artifact(one, ()) for one in facts.identification.files if in_uri(one.name) not in known]
    where = next((one.name for one in facts.identification.files if one.part is Part.DESCRIPTION), "")
    for what in ORDER:
        found = view.of(what)
        if found:
            id = f"behaviour/{what.name.lower()}"
            run["tool"]["driver"]["rules"].append(
                {
                    "id": id,
                    "shortDescription": _message(sentence(what)),
                    "help": _message(" ".join(COMPARED)),
                    "defaultConfiguration": {"level": CHANGED[what][0]},
                }
            )
            number = len(run["tool"]["driver"]["rules"]) - 1
            run["results"] += [_difference(one, id, number, where) for one in found]
    told = [_notification("error", FAULT_OF_PROGRAM)] if facts.disputed is not None else []
    told += [_notification("warning" if facts.exit_code == 3 else "note", text) for text in (view.summary, *COMPARED)]
    told += [_notification("warning", f"Not known: {sentence(text)}") for text in facts.open]
    (invocation,) = run["invocations"]
    invocation["executionSuccessful"] &= facts.disputed is None
    invocation["toolExecutionNotifications"] = [*told, *invocation["toolExecutionNotifications"]]
    run["properties"]["comparedWith"] = {"description": facts.first.description, "title": facts.first.title}
    return in_sarif({"$schema": SCHEMA, "version": "2.1.0", "runs": [run]})


def _compared(facts: ComparisonFacts) -> Object:
    """A run without verdicts, which were not asked for."""
    return {
        "tool": _tool(()),
        "columnKind": "unicodeCodePoints",
        "invocations": [_invocation(True, facts.exit_code, [_notification("note", text) for text in facts.cautions])],
        "artifacts": [],
        "results": [],
        "properties": {
            "description": facts.second.description,
            "title": facts.second.title,
            "cautions": list(facts.cautions),
            "assumptions": list(facts.assumptions),
            "madeWith": facts.identification.made_with,
        },
    }


def _turned(old: Sequence[Object], new: Sequence[Object], rules: Sequence[Object], facts: HoldFacts) -> list[Object]:
    """The results of the second hold, and as absent those that only the first has."""
    before = {result["properties"]["requirement"]: result for result in old}
    found: list[Object] = []
    for result in new:
        was = before.pop(result["properties"]["requirement"], None)
        state = "new" if was is None else "unchanged" if _says(was) == _says(result) else "updated"
        found.append({**result, "baselineState": state})
    places = {rule["id"]: number for number, rule in enumerate(rules)}
    for id, result in before.items():
        fingerprint = {"requirement/v1": _fingerprint(facts, id)}
        own = {"ruleIndex": places[result["ruleId"]], "partialFingerprints": fingerprint, "baselineState": "absent"}
        found.append({**result, **own})
    return found


def _says(result: Object) -> tuple[object, ...]:
    """All that a result says, but for where: a line that has moved makes no other result of it."""
    flows = [
        [step["location"]["message"]["text"] for thread in flow["threadFlows"] for step in thread["locations"]]
        for flow in result.get("codeFlows", ())
    ]
    return result["level"], result["message"]["text"], flows


def _difference(one: DifferenceFacts, rule: str, number: int, where: str) -> Object:
    level, state = CHANGED[one.what]
    said = [f"{sentence(one.what)} {sentence(one.text)}"]
    said += [f"So too: {sentence(listed(one.others))}"] if one.others else []
    said += (
        [f"Comes from {' or '.join(map(said_changes, one.comes_from))} (tried, not proved)."] if one.comes_from else []
    )
    said += [f"After {count_of(one.steps, 'step')} that both can take."]
    at = one.comes_from[0][0].at if one.comes_from else None
    return {
        "ruleId": rule,
        "ruleIndex": number,
        "level": level,
        "message": _message("\n\n".join((*said, IN_SHORT))),
        "locations": [_location(where if at is None else at.file, at)],
        "baselineState": state,
        **_flow(where, told_steps(one.story)),
        "properties": {"what": one.what, "about": one.text},
    }


def study_sarif(view: StudyView) -> str:
    """One log with one run: a result for each point of what was studied that is not fine."""
    study = gathered(view)
    points = [one for one in study.points if one.how is not How.FINE]
    disputed = any(one.how is How.DISPUTED for one in points)
    told = [_notification("error", FAULT_OF_PROGRAM)] if disputed else []
    told += [_notification("note", text) for text in (study.summary, *study.notes, *study.cautions)]
    run = {
        "tool": _tool(map(_sort, study.sorts)),
        "automationDetails": {"id": f"{study.command}/{in_uri(study.file)}/"},
        "columnKind": "unicodeCodePoints",
        "invocations": [_invocation(not disputed, study.exit_code, told)],
        "artifacts": [
            _artifact(one, ("analysisTarget",) if one.part is study.part else ()) for one in study.identification.files
        ],
        "results": [_pointed(study.file, point, study.sorts.index(point.sort)) for point in points],
        "properties": {
            **dict(study.of),
            "title": study.title,
            "summary": study.summary,
            "cautions": list(study.cautions),
            "assumptions": list(study.assumptions),
            "madeWith": study.identification.made_with,
        },
    }
    return in_sarif({"$schema": SCHEMA, "version": "2.1.0", "runs": [run]})


def _sort(one: Sort) -> Object:
    help = "\n".join(f"{name}: {said}" for name, said in one.help if said)
    return {
        "id": one.id,
        "shortDescription": _message(one.says),
        **({"help": _message(help)} if help else {}),
        "defaultConfiguration": {"level": "error"},
    }


def _pointed(file: str, point: Point, rule: int) -> Object:
    location = _location(file, None)
    if point.line is not None:
        location["physicalLocation"]["region"] = {"startLine": point.line}
    digest = sha256(json.dumps([file, point.sort.id, point.id]).encode()).hexdigest()
    return {
        "ruleId": point.sort.id,
        "ruleIndex": rule,
        "level": POINTS[point.how],
        "message": _message("\n\n".join((point.says, *point.more))),
        "locations": [location],
        "partialFingerprints": {"point/v1": digest},
        **_flow(file, point.steps),
        "properties": {"point": point.id, "how": point.how},
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


def _artifact(one: FileFacts, roles: Sequence[str]) -> Object:
    return {
        "location": {"uri": in_uri(one.name)},
        "description": _message(one.part),
        "roles": list(roles),
        "hashes": {"sha-256": one.sha256},
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
    told = outcome.answer.facts
    return {
        "ruleId": told.from_,
        "ruleIndex": rule,
        "level": LEVELS[told.status],
        "message": _message("\n\n".join((outcome.verdict, *outcome.more))),
        "locations": [_location(outcome.file, outcome.at)],
        "partialFingerprints": {"requirement/v1": _fingerprint(facts, told.id)},
        **_flow(described_in(facts), outcome.steps),
        "properties": {"requirement": told.id, "status": told.status, "about": dict(told.bindings)},
    }


def _flow(file: str, steps: Sequence[Line]) -> Object:
    """A run as one thread flow (3.36): each step where what acts or is acted upon is written, or else in the file."""
    if not steps:
        return {}
    flow = [
        {"location": {**_location(file if one.at is None else one.at.file, one.at), "message": _message(one.text)}}
        for one in steps
    ]
    return {"codeFlows": [{"threadFlows": [{"locations": flow}]}]}


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
