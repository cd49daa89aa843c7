"""Evidence that a stranger can check again without this program; makes texts, writes no file."""

from __future__ import annotations

import json
from collections.abc import Generator, Iterator, Mapping, Sequence
from dataclasses import dataclass
from hashlib import sha256
from typing import TypeAlias
from urllib.parse import quote

from interlock.confirm.recovery import RecoveryFinding, recovery_obligations
from interlock.confirm.smtlib import safe_obligation, start_obligation, step_obligation
from interlock.kernel.claims import Certificate, Disputed, Fails, Finding, Holds, Trace, Undecided
from interlock.kernel.evaluator import as_mapping
from interlock.kernel.expressions import TRUE, And, Const, Expr, Is, Not, Ref, each, fold
from interlock.kernel.machine import Machine, Question
from interlock.kernel.recovery import HasDeadEnd, Recovers, RecoveryQuestion, restarted

Json: TypeAlias = bool | int | str | Sequence["Json"] | Mapping[str, "Json"] | None

FINDINGS = {Holds: "holds", Fails: "fails", Undecided: "undecided", Disputed: "disputed"}
WAYS_BACK = {**FINDINGS, Recovers: "recovers", HasDeadEnd: "traps"}
"""What the files call each kind of finding; part of their format."""


@dataclass(frozen=True, slots=True)
class CertificateFolder:
    """The folder of the evidence in which a certificate lies, and the questions that it answers, in their order."""

    name: str
    certificate: Certificate
    questions: tuple[Question, ...]


def certificate_folders(questions: Sequence[Question], findings: Sequence[Finding]) -> tuple[CertificateFolder, ...]:
    """Every certificate on which a finding rests, each once, in the order of the questions."""
    served: dict[int, tuple[Certificate, list[Question]]] = {}
    for question, finding in zip(questions, findings, strict=True):
        if isinstance(finding, Holds) and finding.claim.certificate is not None:
            certificate = finding.claim.certificate
            served.setdefault(id(certificate), (certificate, []))[1].append(question)
    numbered = enumerate(served.values(), 1)
    return tuple(
        CertificateFolder(f"certificate-{n}", certificate, tuple(asked)) for n, (certificate, asked) in numbered
    )


def way_folder(number: int) -> str:
    """The folder of the evidence about a way back; `number` counts them from 1."""
    return f"way-back-{number}"


def evidence_files(
    machine: Machine,
    questions: Sequence[Question],
    findings: Sequence[Finding],
    recoveries: Sequence[tuple[RecoveryQuestion, RecoveryFinding]] = (),
    beside: Mapping[str, str] | None = None,
) -> Mapping[str, str]:
    """Relative file name -> text: the machine, every certificate's obligations, every trace, and how to check them.

    `findings[i]` must answer `questions[i]`.  `beside` are texts for readers that go with the evidence and are no part
    of it.  Names use forward slashes and are safe on any system; same input, same texts.  Raises ValueError where the
    two sequences differ in length.
    """
    files = {**(beside or {}), "machine.json": _document(machine_as_json(machine))}
    folders = certificate_folders(questions, findings)
    folder_of = {id(folder.certificate): folder.name for folder in folders}
    drawn: dict[int, str] = {}
    rows: list[Json] = []
    for question, finding in zip(questions, findings, strict=True):
        row: dict[str, Json] = {"question": question.id, "finding": FINDINGS[type(finding)]}
        if isinstance(finding, Holds):
            row |= {"engine": finding.claim.engine, "checked_by": finding.checked_by}
            certificate = finding.claim.certificate
            diagram = finding.claim.diagram
            if certificate is not None:
                row["evidence"] = folder_of[id(certificate)]
            elif diagram is not None:
                name = row["evidence"] = drawn.setdefault(id(diagram), f"diagram-{len(drawn) + 1}.json")
                files[name] = _document({"order": diagram.order, "root": diagram.root, "nodes": diagram.nodes})
            else:
                row["states"] = finding.claim.states
        elif isinstance(finding, Fails):
            name = f"traces/{len(rows) + 1:04}-{quote(question.id, safe='', errors='replace')[:80]}.json"
            files[name] = _document(_trace_as_json(machine, question, finding.claim.trace))
            row |= {"engine": finding.claim.engine, "steps": finding.claim.trace.depth, "evidence": name}
        else:
            row["reason"] = finding.what if isinstance(finding, Disputed) else finding.reason
        row["target"] = expr_as_json(question.target)
        rows.append(row)
    for number, (back, way) in enumerate(recoveries, 1):
        folder = way_folder(number)
        rows.append(_way_back_row(folder, back, way))
        files.update({f"{folder}/{name}": text for name, text in _way_back_files(machine, back, way)})
    files["findings.json"] = _document({"findings": rows})
    for one in folders:
        files |= {f"{one.name}/{name}": text for name, text in _proof_files(machine, one.certificate, one.questions)}
    files["README.txt"] = _README
    files["MANIFEST.sha256"] = "".join(f"{_digest(files[name])}  {name}\n" for name in sorted(files))
    return files


def _way_back_row(folder: str, question: RecoveryQuestion, finding: RecoveryFinding) -> dict[str, Json]:
    row: dict[str, Json] = {"question": question.id, "finding": WAYS_BACK[type(finding)]}
    if isinstance(finding, Recovers | HasDeadEnd):
        row |= {"engine": finding.claim.engine, "checked_by": finding.checked_by, "evidence": folder}
    else:
        row["reason"] = finding.what if isinstance(finding, Disputed) else finding.reason
    return row | {"goal": expr_as_json(question.goal)}


def _way_back_files(
    machine: Machine, question: RecoveryQuestion, finding: RecoveryFinding
) -> Iterator[tuple[str, str]]:
    if isinstance(finding, Recovers):
        recovery = finding.claim.recovery
        for obligation in recovery_obligations(machine, question, recovery):
            yield f"{obligation.name}.smt2", obligation.text
        stages: list[Json] = []
        for stage in recovery.stages:
            cases: list[Json] = [
                {"when": [expr_as_json(f) for f in e.when], "rules": e.rules, "into": e.into} for e in stage.entries
            ]
            stages.append({"goal": expr_as_json(stage.goal), "measure": stage.rank, "cases": cases})
        yield "ways.json", _document({"stages": stages})
    elif isinstance(finding, HasDeadEnd):
        claim = finding.claim
        target = Question(question.id, question.goal)
        yield "trace.json", _document(_trace_as_json(machine, Question(question.id, TRUE), claim.trace))
        yield from _proof_files(restarted(machine, claim.trace.states[-1]), claim.certificate, [target])


def _proof_files(
    machine: Machine, certificate: Certificate, questions: Sequence[Question]
) -> Iterator[tuple[str, str]]:
    for obligation in (
        start_obligation(machine, certificate),
        step_obligation(machine, certificate),
        safe_obligation(machine, certificate, questions),
    ):
        yield f"{obligation.name}.smt2", obligation.text


def machine_as_json(machine: Machine) -> dict[str, Json]:
    """The machine as plain values; the README of the evidence says how to read them."""
    return {
        "variables": [{"name": v.name, "domain": v.domain, "init": v.init} for v in machine.variables],
        "signals": [{"name": s.name, "definition": expr_as_json(s.definition)} for s in machine.signals],
        "start": expr_as_json(machine.start),
        "rules": [
            {"name": r.name, "actor": r.actor.value, "guard": expr_as_json(r.guard), "update": dict(r.update)}
            for r in machine.rules
        ],
    }


def expr_as_json(expr: Expr) -> Json:
    """The expression as nested lists that begin with `is`, `signal`, `not`, `and` or `or`, or as true or false."""
    return fold(_as_json, expr)


def _as_json(expr: Expr) -> Generator[Expr, Json, Json]:
    if isinstance(expr, Const):
        return expr.value
    if isinstance(expr, Is):
        return ["is", expr.variable, expr.value]
    if isinstance(expr, Ref):
        return ["signal", expr.signal]
    if isinstance(expr, Not):
        return ["not", (yield expr.arg)]
    args: list[Json] = yield from each(expr.args)
    return ["and" if isinstance(expr, And) else "or", *args]


def _trace_as_json(machine: Machine, question: Question, trace: Trace) -> dict[str, Json]:
    steps: list[Json] = []
    for rule, before, after in zip(trace.rules, trace.states, trace.states[1:], strict=False):
        old = as_mapping(machine, before)
        changed = {name: value for name, value in as_mapping(machine, after).items() if value != old[name]}
        steps.append({"step": len(steps) + 1, "rule": rule, "changed": changed})
    return {
        "question": question.id,
        "target": expr_as_json(question.target),
        "initial": [{name: value} for name, value in as_mapping(machine, trace.states[0]).items()],
        "steps": steps,
    }


def _document(parts: Mapping[str, Json]) -> str:
    """JSON with one line for each item of each part, so that a person can read it and compare two."""
    return "{\n" + ",\n".join(f"{json.dumps(key)}: {_part(value)}" for key, value in parts.items()) + "\n}\n"


def _part(value: Json) -> str:
    if isinstance(value, list | tuple) and value and isinstance(value[0], dict | tuple):
        return "[\n " + ",\n ".join(fold(_text, item) for item in value) + "\n]"
    return fold(_text, value)


def _text(value: Json) -> Generator[Json, str, str]:
    """As the library would write it, which cannot write formulas that are nested a thousand deep."""
    if isinstance(value, Mapping):
        parts: list[str] = yield from each(value.values())
        return "{" + ", ".join(f"{json.dumps(key)}: {part}" for key, part in zip(value, parts, strict=True)) + "}"
    if isinstance(value, list | tuple):
        parts = yield from each(value)
        return "[" + ", ".join(parts) + "]"
    return json.dumps(value)


def _digest(text: str) -> str:
    return sha256(text.encode()).hexdigest()


_README = """\
WHAT THIS FOLDER IS

Evidence for what is written in findings.json about the machine in machine.json.  Every question asks whether the
machine can reach a state in which a formula, the target, is true.  "holds": it cannot.  "fails": it can.
"undecided" and "disputed" have no evidence here and must be read as "not known".

You need neither the program that wrote this nor trust in it.  To see that the files are as they were written:

    sha256sum -c MANIFEST.sha256

HOW TO READ machine.json

variables   each has a name, the values it can take, and the values it may have at the start.
signals     names for formulas; they have no memory.
start       a formula that the initial state satisfies as well.
rules       guard: when the rule may fire.  update: the values that it writes, all at once; everything else stays.
formulas    ["is", x, v]: variable x has value v.  ["signal", s]: the formula that s names.
            ["not", f]   ["and", f, g, ...]: all of them.   ["or", f, g, ...]: one or more of them.   true   false

A run begins in an initial state.  In each step one rule fires whose guard is true at that moment.  Which one is not
determined.  Where no guard is true the run ends.

HOW TO CHECK "holds" WITH ANY SOLVER THAT READS SMT-LIB 2.6

findings.json names a folder for each question that holds by a certificate.  The folder has three files:

    start.smt2   the states at the start satisfy every clause of the certificate
    step.smt2    from states that satisfy every clause, each rule leads only to states that do
    safe.smt2    no state that satisfies every clause satisfies a target

Together they say, by induction over the number of steps, that no run reaches a target.  Run each file through a
solver of your choice that can push and pop, for example

    cvc5 --incremental certificate-1/step.smt2
    z3 certificate-1/step.smt2

Every answer must be "unsat", as many as the first lines of the file announce.  "sat", "unknown", an error or a
missing answer means that the certificate is not borne out.  The text is made to be read: a comment before each query
says what it asks, the names are those of machine.json, and a person can compare the two.  Where the header of step.smt2
gives k above 1, the induction looks back over k states, and start.smt2 covers the first k of every run.

Where a folder has a file in-words.md, that tells the clauses in the words of the trade and lists the requirements that
rest on them.  It is for reading: the program wrote it from the same clauses, no check needs it, and where it differs
from the .smt2 files these count.  To compare: the formula below each sentence is asserted in step.smt2, in that order.

HOW TO CHECK "holds" BY A DIAGRAM

Where findings.json names a file diagram-1.json, that is a set of states.  "nodes" are numbered from 2, in the order in
which they stand there.  To see whether a state is in the set begin at "root"; the first name in "order" says which
variable to look at: of its values, in the order of their domain, the place of the one in the state says which number in
the node to go on with, and so on along "order".  A state that comes to 0 is not in the set, one that comes to 1 at the
end is.  Variables that are not in "order" do not matter.  Three things make a proof, and each can be seen by following
nodes down, a pair at a time (where a state is, where the state after the step is), without listing states:
every initial state is in the set; from no state of the set a rule leads to one that is not; no state of the set
satisfies the target.

A question that holds without a folder or file was decided by visiting every reachable state, by two searches that
share no code but the meaning of a step; "states" is how many there are.  To check it, write a search of your own.

HOW TO CHECK "recovers" AND "traps"

These answer another question: from every state that can be reached, can the formula "goal" still be brought about by
rules other than those whose actor is "failure"?  "recovers": it can.  The folder has start.smt2 and step.smt2 for an
invariant, as above; stage-1.smt2, stage-2.smt2 and so on; and goal.smt2.  ways.json lists the cases of each stage:
when all of "when" is true, "rules" may fire one after the other; afterwards the goal of the stage is true, or the
goal of the stage before is and the measure is smaller; or that goal is, the measure is no greater, and the case at
place "into" of the list, counted from 0 and listed before this one, applies.  The measure is a list of sums, compared
from the left: each item [x, v, w] adds w where variable x has value v.  Whether it is smaller, or no greater, is not
asked of the solver, as it can be seen: it depends only on what the rules write and on what "when" says that those
variables were before (of one of which "when" says nothing, take the value that weighs least).  The files of stages ask
all else.  As there are finitely many states, a measure cannot shrink for ever, nor can the place of the first case
that applies while the measure stays, so every stage is completed.
"traps": trace.json leads to a state, as under "fails" below; start.smt2, step.smt2 and safe.smt2 speak of the machine
without its failures, begun in that state, and say that the goal is never true from there on.

HOW TO CHECK "fails" BY HAND

Take the file under traces/ that findings.json names.
1. "initial" gives every variable a value that is among its "init" values, and satisfies "start".
2. For each step: find the rule in machine.json; its guard is true for the present values; write its "update"
   into them.  "changed" lists the values that differ afterwards.
3. After the last step the target is true.

WHAT THE EVIDENCE RESTS ON

It is about the machine in machine.json.  Whether that machine is true to the equipment, its wiring, its mechanisms and
what people can do with it is not proved here and cannot be.  Only the variables and rules written there
exist: what is not described never happens in it.  Nothing is said about time, forces or wear.  That a trace is the
shortest possible, where a report says so, is not part of this evidence.

This evidence approves nothing.  Where it differs from the approved maintenance data for the aircraft, the approved data
govern.
"""
