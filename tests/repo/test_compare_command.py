"""`interlock compare`: codes, what it is given, what it gives to people and to programs."""

from __future__ import annotations

import json
from pathlib import Path

import jsonschema
import pytest

from interlock import cli
from interlock.cli.exit_codes import DONE, FOUND, REJECTED, UNDECIDED
from interlock.report.json.writing import schema
from interlock.report.views.comparison_facts import ComparisonFacts
from tests.golden.small_hold import REQUIREMENTS, TEXT

MODIFIED = """\
interlock: 1
modifies: small.yaml
title: Small hold, unlocked while not latched
changes:
  - change: SL
    to: {name: latch at the sill}
  - change: D1
    to: {unlatch: {by: hand, when: "true"}}
"""
ASKED = ("--no-standing", "--requirements", "asked.yaml")


@pytest.fixture(autouse=True)
def in_a_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Every test works in a folder with the small hold, a modification of it and its requirements."""
    monkeypatch.chdir(tmp_path)
    Path("small.yaml").write_text(TEXT)
    Path("modified.yaml").write_text(MODIFIED)
    Path("asked.yaml").write_text(REQUIREMENTS)


def test_a_modification_is_compared_with_what_it_modifies(capsys: pytest.CaptureFixture[str]) -> None:
    """One file is enough; the step, the change that it comes from and the requirement that it breaks are told."""
    assert cli.run(["compare", "modified.yaml", *ASKED]) == FOUND
    one = capsys.readouterr().out
    assert "NEWLY POSSIBLE" in one
    assert "unlatch side door" in one
    assert "comes from: the change of D1" in " ".join(one.split())
    assert "latched-when-locked" in one.partition("Held, fails now")[2]
    assert "WARNING" not in one
    assert "approved maintenance data" in one
    assert cli.run(["compare", "small.yaml", "modified.yaml", *ASKED]) == FOUND
    assert capsys.readouterr().out.splitlines()[:-2] == one.splitlines()[:-2]


def test_the_same_behaviour_is_code_0_and_says_that_it_is_proved(capsys: pytest.CaptureFixture[str]) -> None:
    """A name that is otherwise changes nothing; the description says so all the same."""
    Path("renamed.yaml").write_text(TEXT.replace("name: sill latch", "name: latch at the sill"))
    assert cli.run(["compare", "small.yaml", "renamed.yaml", "--no-verdicts"]) == DONE
    out = capsys.readouterr().out
    assert "The two behave the same" in out
    assert "latch at the sill" in out


@pytest.mark.parametrize(
    ("args", "said"),
    [
        (("small.yaml",), "modifies no other hold"),
        (("small.yaml", "modified.yaml", "--same", "SL"), "not of the form OLD=NEW"),
        (("small.yaml", "modified.yaml", "--same", "XX=SL"), "there is no 'XX' in the first hold"),
        (("small.yaml", "modified.yaml", "--same", "SL=D1"), "'D1' in `doorways`"),
        (("missing.yaml", "modified.yaml"), "Cannot read missing.yaml"),
    ],
)
def test_what_cannot_be_compared_is_refused(
    args: tuple[str, ...], said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """Code 2, and what is wrong."""
    assert cli.run(["compare", *args]) == REJECTED
    assert said in " ".join(capsys.readouterr().err.split())


def test_out_of_time_is_no_verdict(capsys: pytest.CaptureFixture[str]) -> None:
    """Where nothing was found in time it is not said that the two are the same."""
    Path("rewired.yaml").write_text(
        TEXT.replace("when: D1 is latched", "when: D1 is latched and (D1 is latched or D1 is open)")
    )
    assert cli.run(["compare", "small.yaml", "rewired.yaml", "--no-verdicts"]) == DONE
    capsys.readouterr()
    assert cli.run(["compare", "modified.yaml", "--no-verdicts", "--time", "0.001"]) == UNDECIDED
    out = " ".join(capsys.readouterr().out.split())
    assert "it is not shown that there is none" in out
    assert "behave the same" not in out


def test_the_json_result_is_as_its_schema_says(capsys: pytest.CaptureFixture[str]) -> None:
    """With verdicts and differences in it, and with the sequence as a story."""
    assert cli.run(["compare", "modified.yaml", *ASKED, "--format", "json", "--every"]) == FOUND
    found = json.loads(capsys.readouterr().out)
    jsonschema.validate(found, schema(ComparisonFacts))
    gained = [one for one in found["differences"] if one["what"] == "newly possible"]
    assert gained
    assert gained[0]["story"]["steps"] is not None
    assert gained[0]["comes_from"][0][0]["object"] == "D1"
    turns = {one["id"]: one["turn"] for one in found["verdicts"]}
    assert turns["latched-when-locked[D1]"] == "held, fails now"


def test_the_files_of_the_two_are_told_apart(capsys: pytest.CaptureFixture[str]) -> None:
    """Each file says whether the second was read from it, or what it is compared with: no two are `description`."""
    Path("other.yaml").write_text(TEXT.replace("Small hold", "Another hold"))
    cli.run(["compare", "other.yaml", "small.yaml", *ASKED, "--no-verdicts", "--format", "json"])
    files = json.loads(capsys.readouterr().out)["identification"]["files"]
    parts = {one["name"]: one["part"] for one in files}
    assert parts["small.yaml"] == "description"
    assert parts["other.yaml"] == "description that it is compared with"
    # what a modification modifies is what it is compared with: one file, named once
    cli.run(["compare", "modified.yaml", *ASKED, "--no-verdicts", "--format", "json"])
    files = json.loads(capsys.readouterr().out)["identification"]["files"]
    assert [(one["name"], one["part"]) for one in files if one["part"] != "requirements"] == [
        ("modified.yaml", "description"),
        ("small.yaml", "description that it is compared with"),
    ]
