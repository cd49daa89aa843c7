"""`interlock repair`: what mends, what does not, what is written, and what is never claimed."""

from __future__ import annotations

import json
from pathlib import Path

import jsonschema
import pytest
from msgspec import convert, structs

from interlock import cli
from interlock.cli.exit_codes import DONE, FOUND, REJECTED, UNDECIDED
from interlock.report.json.writing import schema
from interlock.report.views.repair import RepairView
from interlock.report.views.repair_facts import RepairFacts
from tests.golden.wired_hold import WIRED, WIRED_ASKED

FLAWED = WIRED.replace("GP is on and door_open", "door_open")
ASKED = ("--no-standing", "--requirements", "asked.yaml")
POWER = (*ASKED, "--only", "powered-drives")


@pytest.fixture(autouse=True)
def in_a_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Every test works in a folder with a hold whose drive permit does not ask for power."""
    monkeypatch.chdir(tmp_path)
    Path("hold.yaml").write_text(FLAWED)
    Path("sound.yaml").write_text(WIRED)
    Path("asked.yaml").write_text(WIRED_ASKED)
    Path("deep").mkdir()


def said(capsys: pytest.CaptureFixture[str]) -> str:
    """Standard output as one line."""
    return " ".join(capsys.readouterr().out.split())


def test_what_is_proposed_is_proved_as_it_is_written(capsys: pytest.CaptureFixture[str]) -> None:
    """The file that is written, in whatever folder, is a modification with which nothing that was asked fails."""
    assert cli.run(["prove", "hold.yaml", *POWER]) == FOUND
    assert cli.run(["repair", "hold.yaml", *POWER, "-o", "deep/mended.yaml"]) == DONE
    assert 'modifies: "../hold.yaml"' in Path("deep/mended.yaml").read_text()
    assert cli.run(["prove", "deep/mended.yaml", *POWER]) == DONE
    assert cli.run(["repair", "hold.yaml", *POWER, "--number", "2", "-o", "second.yaml"]) == DONE
    assert Path("second.yaml").read_text() != Path("deep/mended.yaml").read_text()
    assert cli.run(["prove", "second.yaml", *POWER]) == DONE


def test_what_is_told(capsys: pytest.CaptureFixture[str]) -> None:
    """The contact that was left out, its modification, what is assumed of it, and that it is no approved data."""
    assert cli.run(["repair", "hold.yaml", *POWER]) == DONE
    out = said(capsys)
    assert "add the contact 'GP is on' in series" in out
    assert "does what it is there for: a sensor behind it exists and tells the truth" in out
    assert "done only with approved data" in out
    assert "interlock failures" in out


def test_the_result_for_programs(capsys: pytest.CaptureFixture[str]) -> None:
    """It is as its schema says, and each proposal holds the text that was proved."""
    assert cli.run(["repair", "hold.yaml", *POWER, "--format", "json"]) == DONE
    found = json.loads(capsys.readouterr().out)
    jsonschema.validate(found, schema(RepairFacts))
    assert found["outcome"] == "mended"
    assert 1 <= len(found["proposals"]) <= 3
    assert all("changes:" in one["modification"] for one in found["proposals"])
    # where nothing mends all of several that fail, it says to ask about one after the other
    facts = convert(found, RepairFacts, strict=False)
    assert "prove it again" in RepairView(facts).next_step
    none = structs.replace(facts, proposals=(), outcome="nothing found")
    assert RepairView(none).next_step == ""
    (one,) = facts.failing
    other = structs.replace(none, failing=(one, structs.replace(one, id="other[Z]", from_="other")))
    assert "'--only powered-drives'" in RepairView(other).next_step


def test_proposals_fit_the_screen(capsys: pytest.CaptureFixture[str]) -> None:
    """What is shown of the modification to be written is not broken by the screen, caution and long texts neither."""
    assert cli.run(["repair", "hold.yaml", *POWER]) == DONE
    out = capsys.readouterr().out
    assert "| # " in out
    assert all(len(line) <= 80 for line in out.splitlines())


def test_where_nothing_fails_nothing_is_proposed(capsys: pytest.CaptureFixture[str]) -> None:
    """Of a sound hold it says so, and looks no further."""
    assert cli.run(["repair", "sound.yaml", *POWER]) == DONE
    out = said(capsys)
    assert "Nothing fails: there is nothing to mend" in out
    assert "PROPOSALS" not in out


def test_nothing_that_was_read_is_overwritten(capsys: pytest.CaptureFixture[str]) -> None:
    """The description stays as it is, and no file is written where there is no such proposal."""
    assert cli.run(["repair", "hold.yaml", *POWER, "-o", "hold.yaml"]) == REJECTED
    assert Path("hold.yaml").read_text() == FLAWED
    assert cli.run(["repair", "hold.yaml", *POWER, "--number", "9", "-o", "ninth.yaml"]) == DONE
    assert not Path("ninth.yaml").exists()
    assert "3 changes proposed" in " ".join(capsys.readouterr().err.split())


def test_out_of_time_nothing_is_claimed(capsys: pytest.CaptureFixture[str]) -> None:
    """Neither that a contact mends it, nor that none does."""
    assert cli.run(["repair", "hold.yaml", *ASKED, "--time", "0.001"]) == UNDECIDED
    out = said(capsys)
    assert "UNDECIDED" in out
    assert "All are settled" not in out


def test_standard_input_is_refused(capsys: pytest.CaptureFixture[str]) -> None:
    """A proposal is a modification, which names the file that it modifies."""
    assert cli.run(["repair", "-"]) == REJECTED
    assert "Name a file" in capsys.readouterr().err


def test_a_hostile_title_stays_a_text(capsys: pytest.CaptureFixture[str]) -> None:
    """Quotes, signs of YAML and hidden characters of the hold's title: what is written reads back, nothing hidden."""
    Path("hold.yaml").write_text(FLAWED.replace("title: Wired hold", 'title: "a \\"b\\": #c \\u202e - {d} \\\\ end"'))
    assert cli.run(["repair", "hold.yaml", *POWER, "-o", "mended.yaml"]) == DONE
    assert "\u202e" not in Path("mended.yaml").read_text()
    assert cli.run(["prove", "mended.yaml", *POWER]) == DONE
