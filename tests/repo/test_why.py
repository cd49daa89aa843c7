"""What proofs rest on: told by `prove --why`, and in words beside the evidence."""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Mapping
from functools import cache
from hashlib import sha256
from pathlib import Path

import jsonschema
import pytest

from interlock import cli
from interlock.confirm.evidence import evidence_files
from interlock.hold.explain import explain_clause
from interlock.kernel.claims import Holds, Limits
from interlock.prove.decide import decide
from interlock.report.json.writing import schema
from interlock.report.markdown.certificates import certificate_files
from interlock.report.text.lines import WIDTH
from interlock.report.views.assumptions import IN_SHORT
from interlock.report.views.certificates import certificate_views
from interlock.report.views.proof_facts import ProofFacts
from interlock.report.views.wording import sentence
from interlock.study.verify import Status, Verification, verify
from tests.agreement.hold_texts import compile_file, compile_source, overlay, standing
from tests.golden.small_hold import REQUIREMENTS, TEXT

pytestmark = pytest.mark.usefixtures("done_once")

FACT = "Whenever side door is locked, side door is latched."
"""What the small hold's proof that a locked door is latched rests on."""


@pytest.fixture
def small(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A folder with the small hold and its requirements, of which one fails."""
    monkeypatch.chdir(tmp_path)
    Path("small.yaml").write_text(TEXT)
    Path("asked.yaml").write_text(REQUIREMENTS)


def prove(*args: str) -> int:
    return cli.run(("prove", "--no-standing", "--requirements", "asked.yaml", *args))


# ---- the command -------------------------------------------------------------------------------------------------


@pytest.mark.usefixtures("small")
def test_why_tells_the_facts_after_the_report(capsys: pytest.CaptureFixture[str]) -> None:
    """The facts come between the report and its last line; nothing else changes, the exit code included."""
    assert prove("small.yaml", "--method", "reachability") == 1
    plain = capsys.readouterr().out.splitlines()
    assert prove("small.yaml", "--method", "reachability", "--why") == 1
    asked = capsys.readouterr().out.splitlines()
    # the last line tells the time
    assert asked[: len(plain) - 1] == plain[:-1]
    added = asked[len(plain) - 1 : -1]
    assert "WHAT THE PROOFS REST ON" in added
    assert f"  - {FACT}" in added[added.index("latched-when-locked") :]
    assert "secured-behind-door" not in added, "what fails rests on no proof"
    assert [line for line in asked if len(line) > WIDTH or line != line.rstrip()] == []


@pytest.mark.usefixtures("small")
def test_why_keeps_the_exit_code_of_what_holds(capsys: pytest.CaptureFixture[str]) -> None:
    """Where all that was asked holds, the code is 0 with the reasons as without."""
    assert prove("small.yaml", "--method", "reachability", "--why", "--only", "latched-when-locked") == 0
    assert FACT in capsys.readouterr().out


@pytest.mark.usefixtures("small")
def test_why_of_a_count_is_that_every_state_was_visited(capsys: pytest.CaptureFixture[str]) -> None:
    """Where every state was looked at, no fact is made up."""
    assert prove("small.yaml", "--method", "enumeration", "--why") == 1
    told = " ".join(capsys.readouterr().out.split())
    assert "by visiting every state that can be reached" in told
    assert "Whenever" not in told


@pytest.mark.usefixtures("small")
def test_why_in_json(capsys: pytest.CaptureFixture[str]) -> None:
    """With --format json the facts stand under `grounds`, as the schema has them, and only when asked for."""
    assert prove("small.yaml", "--method", "reachability", "--format", "json", "--why", "--quiet") == 1
    document = json.loads(capsys.readouterr().out)
    jsonschema.validate(document, schema(ProofFacts))
    grounds = {one["requirement"]: one for one in document["holds"][0]["grounds"]}
    assert FACT.lower() in [fact["text"] + "." for fact in grounds["latched-when-locked"]["facts"]]
    assert not any(one["counted"] for one in grounds.values())
    assert "secured-behind-door" not in grounds
    assert prove("small.yaml", "--method", "reachability", "--format", "json", "--quiet") == 1
    assert "grounds" not in json.loads(capsys.readouterr().out)["holds"][0]


@pytest.mark.usefixtures("small")
def test_why_is_not_for_the_brief(capsys: pytest.CaptureFixture[str]) -> None:
    """--quiet says only what does not hold, so no reason why something does."""
    assert prove("small.yaml", "--method", "reachability", "--why", "--quiet") == 1
    assert capsys.readouterr().out.splitlines() == ["small.yaml: FAILS secured-behind-door: 1 of 1", IN_SHORT]


# ---- in words, beside the evidence -------------------------------------------------------------------------------


@cache
def sound() -> Verification:
    """The small demonstration hold."""
    return verify(compile_file("models/single-lane.yaml", standing()), decide, Limits())


@cache
def flawed() -> Verification:
    """The same with a bay that cannot be filled and, besides, a dead end."""
    changes = (
        "- {fix: M2, in: raised}\n"
        "- {change: guard_down, to: {is: key_power and door_open and SGS is lower and not at1}}"
    )
    ids = ["bay-can-be-filled", "can-always-be-emptied-and-shut"]
    return verify(compile_source(overlay("single-lane", changes), standing()), decide, Limits(), chosen=ids)


def written(verification: Verification) -> Mapping[str, str]:
    return evidence_files(
        verification.machine,
        verification.questions,
        verification.findings,
        verification.recoveries,
        certificate_files(certificate_views(verification)),
    )


def listed_under(text: str, title: str) -> list[str]:
    """The ids in the list below a heading; none where there is no such heading."""
    part = text.partition(f"## {title}")[2].partition("\n## ")[0]
    return re.findall(r"^- `([^`]+)`", part, re.MULTILINE)


@pytest.mark.parametrize("verified", [sound, flawed])
def test_every_clause_stands_in_words_above_its_formula(verified: Callable[[], Verification]) -> None:
    """In every folder with a step.smt2, the formulas told are all those that are asserted there, in their order."""
    files = written(verified())
    folders = [name.partition("/")[0] for name in files if name.endswith("/step.smt2")]
    assert folders
    for folder in folders:
        text = files[f"{folder}/in-words.md"]
        told = re.findall(r"^\d+\. (.*)\n   `(.*)`$", text, re.MULTILINE)
        assert told
        asserted = files[f"{folder}/step.smt2"].partition("(push")[0]
        clauses = re.findall(r"^\(assert (.*)\)$", asserted, re.MULTILINE)
        assert clauses[len(clauses) - len(told) :] == [formula for _, formula in told]
        assert f"## {len(told)} clause" in text


def test_the_sentences_are_those_of_the_clauses() -> None:
    """Each clause of the certificate is told by the sentence that explains it, in its place."""
    verification = sound()
    certificate = next(f.claim.certificate for f in verification.findings if isinstance(f, Holds))
    assert certificate is not None
    text = written(verification)["certificate-1/in-words.md"].replace("\\", "")
    glossary = verification.compiled.glossary
    for number, clause in enumerate(certificate.clauses, 1):
        assert f"\n{number}. {sentence(explain_clause(verification.machine, glossary, clause))}\n" in text
    assert "Whenever side door is closed, nothing is on its way over the sill of side door." in text


def test_requirements_stand_where_their_evidence_is() -> None:
    """What rests on a certificate is named in its folder: what holds, and what is shown never to arise."""
    verification = sound()
    files = written(verification)
    evidence = {row["question"]: row.get("evidence") for row in json.loads(files["findings.json"])["findings"]}
    listed = {name: text for name, text in files.items() if name.endswith("in-words.md")}
    for answer in verification.answers:
        if isinstance(answer.finding, Holds):
            folder = evidence[answer.finding.question]
            assert answer.instance.requirement.id in listed_under(
                listed[f"{folder}/in-words.md"], "Requirements that hold"
            )
    lasting = listed_under(files["way-back-1/in-words.md"], "Requirement whose ways back")
    assert lasting == ["can-always-be-emptied-and-shut"]


def test_what_fails_by_a_certificate_is_not_said_to_hold() -> None:
    """A bay that can never be filled, and a dead end, are told as failures."""
    verification = flawed()
    files = written(verification)
    never = [
        answer.instance.requirement.id
        for answer in verification.answers
        if answer.status is Status.FAILS and isinstance(answer.finding, Holds)
    ]
    assert "bay-can-be-filled[3C,HALF]" in never
    texts = [text for name, text in files.items() if re.fullmatch(r"certificate-\d+/in-words.md", name)]
    assert sorted(id for text in texts for id in listed_under(text, "Requirements that fail")) == sorted(never)
    assert not any(listed_under(text, "Requirements that hold") for text in texts)
    trap = files["way-back-1/in-words.md"]
    assert listed_under(trap, "Requirement that it shows to fail") == ["can-always-be-emptied-and-shut"]
    assert "every state after the dead end" in trap


def test_words_are_listed_and_explained_and_the_same_each_time() -> None:
    """The manifest has their digest, README.txt says what they are for, and a second run writes the same bytes."""
    files = written(sound())
    names = [name for name in files if name.endswith("in-words.md")]
    lines = (line.split("  ") for line in files["MANIFEST.sha256"].splitlines())
    listed = {name: digest for digest, name in lines}
    assert {name: listed[name] for name in names} == {name: sha256(files[name].encode()).hexdigest() for name in names}
    readme = " ".join(files["README.txt"].split())
    assert "in-words.md, that tells the clauses in the words of the trade" in readme
    again = verify(compile_file("models/single-lane.yaml", standing()), decide, Limits())
    assert written(again) == files


def test_words_take_nothing_away() -> None:
    """Everything else in the folder is what it is without them."""
    verification = sound()
    files = written(verification)
    plain = evidence_files(verification.machine, verification.questions, verification.findings, verification.recoveries)
    others = {name: text for name, text in files.items() if not name.endswith(("in-words.md", "MANIFEST.sha256"))}
    assert others == {name: text for name, text in plain.items() if name != "MANIFEST.sha256"}
