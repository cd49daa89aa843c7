"""`interlock describe --format json`: what a description declares, for other programs; and completion in shells."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from interlock import cli
from interlock.report.json.writing import schema as schema_of
from interlock.report.views.description_facts import DescriptionFacts
from tests.some import some

MODELS = Path(__file__).parents[2] / "models"
FILES = ["single-lane", "twin-lane", "main-deck", "modified/twin-lane-options", "flawed/key-not-trapped"]


def described(name: str, capsys: pytest.CaptureFixture[str]) -> dict[str, Any]:
    """What is written of a description."""
    assert cli.run(["describe", name, "--format", "json"]) == 0
    found: dict[str, Any] = json.loads(capsys.readouterr().out)
    return found


@pytest.mark.parametrize("name", FILES)
def test_result_satisfies_its_schema(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    """Every demonstration gives what the published schema says, with assumptions and cautions."""
    found = described(f"demo:{name}", capsys)
    jsonschema.Draft202012Validator(schema_of(DescriptionFacts)).validate(found)
    assert found["assumptions"] and found["cautions"] and found["identification"]["files"]


@pytest.mark.parametrize("name", ["single-lane", "twin-lane"])
def test_what_is_declared_reads_back_as_the_same_hold(
    name: str, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    """Written as a description, what is declared is the same hold: it describes itself in the same words."""
    found = described(f"demo:{name}", capsys)
    (tmp_path / "again.yaml").write_text(json.dumps(found["declared"], indent=1), "utf-8")
    again = described(str(tmp_path / "again.yaml"), capsys)
    assert again["told"] == found["told"] and again["declared"] == found["declared"]
    assert len(found["declared"]["devices"]) > 5


def test_modifications_are_carried_out(capsys: pytest.CaptureFixture[str]) -> None:
    """Of a modified hold the values are those after the changes."""
    found = described("demo:flawed/sill-lock-switches-left-out", capsys)
    circuits = {one["id"]: one["is"] for one in found["declared"]["circuits"]}
    assert "sill_locks_up" not in circuits["door_free"]
    assert found["title"].startswith("Twin-lane hold, sill lock switches")


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish"])
def test_completion_scripts_are_made(shell: str) -> None:
    """For each shell that click knows a script comes, by the variable that the guide names."""
    done = complete({"_INTERLOCK_COMPLETE": f"{shell}_source"})
    assert "_INTERLOCK_COMPLETE" in done and "interlock" in done


def test_commands_options_and_choices_are_completed() -> None:
    """Commands, options and the words of choices come as they are asked for."""
    asked = {
        ("interlock pro", 1): {"prove"},
        ("interlock prove --wat", 2): {"--watch"},
        ("interlock prove x --format ", 4): {"text", "json", "html", "sarif", "junit"},
        ("interlock edit", 1): {"edit-server"},
    }
    for (words, at), wanted in some(asked.items()):
        said = complete({"_INTERLOCK_COMPLETE": "bash_complete", "COMP_WORDS": words, "COMP_CWORD": str(at)})
        assert {line.partition(",")[2] for line in said.splitlines()} == wanted, words


def complete(environment: dict[str, str]) -> str:
    """What the program says to a shell."""
    program = "import sys; sys.argv = ['interlock']; from interlock.__main__ import main; main()"
    done = subprocess.run(
        [sys.executable, "-c", program],
        capture_output=True,
        text=True,
        check=False,
        env={**os.environ, **environment},
    )
    return done.stdout
