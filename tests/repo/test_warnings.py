"""What is doubtful in a description is said, and keeps nobody from using it."""

from __future__ import annotations

from pathlib import Path

import pytest

from interlock import cli
from tests.golden.small_hold import REQUIREMENTS, TEXT


@pytest.fixture(autouse=True)
def in_a_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A folder with the small hold, its requirements, and a copy in which a unit passes over the sill latch."""
    monkeypatch.chdir(tmp_path)
    Path("small.yaml").write_text(TEXT)
    doubtful = TEXT.replace("stops: [left, right]", "stops: [left]")
    assert doubtful != TEXT
    Path("doubtful.yaml").write_text(doubtful)
    Path("asked.yaml").write_text(REQUIREMENTS)


def prove(name: str) -> int:
    options = ("--no-standing", "--requirements", "asked.yaml", "--method", "enumeration", "--quiet")
    return cli.run(("prove", name, *options, "--only", "latched-when-locked"))


def test_a_doubt_is_said_on_standard_error_alone(capsys: pytest.CaptureFixture[str]) -> None:
    """The warning names the device, the direction and its code; results and exit code are as without it."""
    assert prove("small.yaml") == 0
    plain = capsys.readouterr()
    assert prove("doubtful.yaml") == 0
    said = capsys.readouterr()
    assert "warning[passed-over-while-raised]: " in said.err
    assert "neither stops a unit that moves right nor gives way to it" in said.err
    assert "warning" not in plain.err
    assert (said.out, plain.out) == ("", "")


def test_a_doubt_is_not_told_of_what_is_rejected(capsys: pytest.CaptureFixture[str]) -> None:
    """Where something is wrong, that is told first, and doubts wait."""
    text = Path("doubtful.yaml").read_text()
    Path("wrong.yaml").write_text(text.replace("stops: [left]", "stops: [left], starts: sideways", 1))
    assert prove("wrong.yaml") == 2
    said = capsys.readouterr().err
    assert "error[" in said
    assert "passed-over-while-raised" not in said


def test_an_audit_tells_doubts_about_its_hold(capsys: pytest.CaptureFixture[str]) -> None:
    """Whoever audits a procedure hears of what is doubtful in the hold, as everybody else does."""
    procedure = "interlock: 1\nprocedure: Let be\nhold: {}.yaml\nsteps: [check D1 is closed]\ngoal: D1 is closed\n"
    for name, times in (("small", 0), ("doubtful", 1)):
        Path("procedure.yaml").write_text(procedure.format(name))
        cli.run(("audit", "procedure.yaml", "--no-standing", "--no-interlock", "--no-slips"))
        assert capsys.readouterr().err.count("warning[passed-over-while-raised]: ") == times


def test_a_report_to_sign_tells_doubts(capsys: pytest.CaptureFixture[str]) -> None:
    """What goes to standard error is seen by nobody who signs: the assumptions of a report say it as well."""
    said = "neither stops a unit that moves right nor gives way to it: the unit passes over"
    for name, times in (("small", 0), ("doubtful", 1)):
        assert cli.run(("describe", f"{name}.yaml")) == 0
        assert " ".join(capsys.readouterr().out.split()).count(said) == times


def test_a_doubt_about_what_was_changed_points_at_the_change(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Where a modification changed a device the doubt is about the change, not about the file that it changes."""
    monkeypatch.chdir(tmp_path)
    change = "interlock: 1\ntitle: Changed\nmodifies: demo:single-lane\nchanges:\n  - {change: M2, to: {stops: aft}}\n"
    Path("changed.yaml").write_text(change)
    assert cli.run(["describe", "changed.yaml"]) == 0
    assert "changed.yaml:5:14: warning[passed-over-while-raised]: M2 " in capsys.readouterr().err


def test_why_something_is_deferred_stands_in_the_report(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Whoever signs reads what is deferred, in which state, why, and under which limit."""
    monkeypatch.chdir(tmp_path)
    defer = "{defer: M2, in: lowered, because: the spring is broken, limit: 2C is empty}"
    Path("d.yaml").write_text(f"interlock: 1\ntitle: D\nmodifies: demo:single-lane\nchanges:\n  - {defer}\n")
    assert cli.run(["prove", "d.yaml", "--only", "deferral-limits-kept", "--time", "5"]) in (0, 1, 3)
    said = " ".join(capsys.readouterr().out.split())
    assert "M2 is deferred and stays lowered, because: the spring is broken. Limit: 2C is empty." in said
