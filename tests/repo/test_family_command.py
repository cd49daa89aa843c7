"""`interlock family`: with which options something fails, what is compared, what is refused."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from jsonschema import Draft202012Validator

from interlock import cli
from interlock.cli.exit_codes import DONE, FOUND, REJECTED, UNDECIDED
from interlock.report.json.writing import schema
from interlock.report.views.family_facts import FamilyFacts
from interlock.study.families.configurations import MOST_OPTIONS
from tests.agreement.test_families import OPTIONS
from tests.golden.small_hold import REQUIREMENTS, TEXT

ASKED = ("--no-standing", "--requirements", "asked.yaml")


@pytest.fixture(autouse=True)
def _files(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    Path("hold.yaml").write_text(TEXT + OPTIONS)
    Path("asked.yaml").write_text(REQUIREMENTS)


def test_a_family_is_told(capsys: pytest.CaptureFixture[str]) -> None:
    """What fails is told with the options that do it, what makes no hold with why, and what was compared."""
    assert cli.run(["family", "hold.yaml", *ASKED, "--runs", "1"]) == FOUND
    out = " ".join(capsys.readouterr().out.split())
    assert "latched-when-locked[D1]" in out
    assert "fails with loose_lock" in out
    assert "- with no_latch and shuts_on_load: no hold" in out
    lines = (TEXT + OPTIONS).splitlines()
    at = next(number for number, line in enumerate(lines, 1) if "shuts_on_load" in line)
    assert "'no_latch' changes closes of 'D1' too (hold.yaml, line " in out
    assert int(out.partition("too (hold.yaml, line ")[2].partition(")")[0]) >= at
    assert "Of 20 configurations every one was compiled by itself" in out
    assert "approves nothing" in out
    assert "told of the hold with nothing more fitted" in out
    assert "HOW LATCHED-WHEN-LOCKED[D1] BREAKS, WITH LOOSE_LOCK FITTED" in out


def test_a_hold_without_options_is_said_to_have_none(capsys: pytest.CaptureFixture[str]) -> None:
    """Nobody is left to wonder at an empty list."""
    Path("hold.yaml").write_text(TEXT)
    cli.run(["family", "hold.yaml", *ASKED])
    out = " ".join(capsys.readouterr().out.split())
    assert "OPTIONS None are declared: this is one configuration" in out


def test_the_result_for_programs(capsys: pytest.CaptureFixture[str]) -> None:
    """The JSON result satisfies its schema, and its numbers add up."""
    assert cli.run(["family", "hold.yaml", *ASKED, "--format", "json"]) == FOUND
    facts = json.loads(capsys.readouterr().out)
    Draft202012Validator(schema(FamilyFacts)).validate(facts)
    assert (facts["allowed"], facts["asked"], facts["compared"], facts["whole"]) == (20, 16, 16, True)
    by_id = {one["id"]: one for one in facts["outcomes"]}
    loose = by_id["latched-when-locked[D1]"]
    assert [one["combination"] for one in loose["fails_with"]] == [{"fitted": ["loose_lock"], "without": []}]
    assert all(one["alone"] for one in loose["fails_with"])
    assert loose["fails_in"] == sum("loose_lock" in one for one in _configurations())


def _configurations() -> list[set[str]]:
    """What the options of the small hold allow, written out, but for those that make no hold."""
    found = []
    names = ("no_latch", "shuts_on_load", "loose_lock", "loader_only", "chocks")
    for number in range(32):
        one = {name for at, name in enumerate(names) if number >> at & 1}
        if not ({"shuts_on_load", "loader_only"} <= one or {"no_latch", "shuts_on_load"} <= one):
            found.append(one)
    return [one for one in found if "loader_only" not in one or "loose_lock" in one]


def test_a_hold_with_options_fitted(capsys: pytest.CaptureFixture[str]) -> None:
    """What a file fits is fitted in every configuration, and what that excludes is left out."""
    fitted = "interlock: 1\ntitle: Fitted\nmodifies: hold.yaml\nchanges:\n  - {fit: shuts_on_load}\n"
    Path("fitted.yaml").write_text(fitted)
    assert cli.run(["family", "fitted.yaml", *ASKED, "--format", "json"]) == FOUND
    facts = json.loads(capsys.readouterr().out)
    assert facts["fitted"] == ["shuts_on_load"]
    assert "shuts_on_load" not in [one["id"] for one in facts["options"]]
    assert facts["allowed"] == 8  # the loader's option is excluded: no latch, lock and chocks are left
    assert cli.run(["prove", "fitted.yaml", *ASKED, "--only", "latched-when-locked"]) == DONE


@pytest.mark.parametrize(
    ("text", "code", "said"),
    [
        (TEXT.replace("rows: 1", "rows: one"), REJECTED, "rows"),
        (
            TEXT
            + "options:\n"
            + "".join(
                f"  - {{id: O{n}, name: o, changes: [{{change: FS, to: {{name: s{n}}}}}]}}\n"
                for n in range(MOST_OPTIONS + 1)
            ),
            REJECTED,
            f"it has {MOST_OPTIONS + 1} options",
        ),
    ],
)
def test_what_cannot_be_asked(text: str, code: int, said: str, capsys: pytest.CaptureFixture[str]) -> None:
    """A description with a fault and one with too many options are refused with what is wrong."""
    Path("hold.yaml").write_text(text)
    assert cli.run(["family", "hold.yaml", *ASKED]) == code
    assert said in " ".join(capsys.readouterr().err.split())


def test_no_time_leaves_it_undecided(capsys: pytest.CaptureFixture[str]) -> None:
    """What is not decided is never called sound."""
    assert cli.run(["family", "hold.yaml", *ASKED, "--time", "0.001"]) == UNDECIDED
    out = capsys.readouterr().out
    assert "Nothing was asked: out of time (0.001 s)" in out
    assert "20 configurations; nothing was asked" in out
