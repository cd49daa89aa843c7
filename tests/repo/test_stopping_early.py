"""Ctrl-C before there is anything to lose, and where a result is there but not all that belongs to it."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from interlock import cli
from interlock.cli.files import write_whole
from interlock.hold.procedure.binding import BoundProcedure
from interlock.kernel.claims import Limits, ProgressCallback
from interlock.study.checklist import audit as checklist_audit
from interlock.study.procedure.audit import Audit, audit_procedure

ROOT = Path(__file__).parents[2]

IMPORTING = """
import os, signal, sys
if {ignored}:
    signal.signal(signal.{number}, signal.SIG_IGN)
elif signal.{number} == signal.SIGINT:
    signal.signal(signal.SIGINT, signal.default_int_handler)

class Interrupter:
    "The signal comes while this module is looked for; what its importer makes of exceptions must not matter."
    def find_spec(self, name, path=None, target=None):
        if name == {module!r}:
            try:
                os.kill(os.getpid(), signal.{number})
            except KeyboardInterrupt:
                raise ImportError("swallowed") from None
        return None

sys.meta_path.insert(0, Interrupter())
from interlock.__main__ import main
sys.argv = ["interlock", "explain", "steps"]
main()
"""


def importing(module: str, number: str = "SIGINT", *, ignored: bool) -> subprocess.CompletedProcess[str]:
    """The program in a process of its own, with Ctrl-C, or another signal, while it imports the module."""
    return subprocess.run(
        [sys.executable, "-c", IMPORTING.format(module=module, number=number, ignored=ignored)],
        capture_output=True,
        text=True,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        timeout=60,
    )


@pytest.mark.parametrize("module", ["click", "interlock.cli.explain", "interlock.report.text.language"])
def test_ctrl_c_while_the_program_is_loaded(module: str) -> None:
    """It ends at once with 130 and one word: no traceback, and no fault of a module that was left half made."""
    done = importing(module, ignored=False)
    assert (done.returncode, done.stdout, done.stderr) == (130, "", "Stopped.\n")


def test_a_request_to_end_while_the_program_is_loaded() -> None:
    """Another program asks for an end: the code of that signal, and one word, as for Ctrl-C."""
    done = importing("interlock.cli.explain", "SIGTERM", ignored=False)
    assert (done.returncode, done.stdout, done.stderr) == (143, "", "Stopped.\n")


def test_what_runs_in_the_background_is_not_stopped_while_it_is_loaded() -> None:
    """Where a shell has the program ignore Ctrl-C, it goes on."""
    done = importing("click", ignored=True)
    assert done.returncode == 0 and done.stdout and not done.stderr


def test_a_file_is_written_whole_whatever_comes(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Ctrl-C between the writing and the putting in place leaves neither half a file nor a part: it is heeded then."""
    whole = Path.chmod

    def chmod(path: Path, mode: int) -> None:
        os.kill(os.getpid(), signal.SIGINT)
        whole(path, mode)

    monkeypatch.setattr(Path, "chmod", chmod)
    before = signal.getsignal(signal.SIGINT)
    with pytest.raises(KeyboardInterrupt):
        write_whole(tmp_path / "result.txt", b"all of it\n")
    assert [path.name for path in tmp_path.iterdir()] == ["result.txt"]
    assert (tmp_path / "result.txt").read_text() == "all of it\n"
    assert signal.getsignal(signal.SIGINT) is before


def test_a_checklist_whose_slips_were_not_examined_is_undecided(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Stopped after the order of work was found: it is printed, but with 3 and with what may be missing."""
    wanted = ["checklist", "demo:single-lane", "--load", "4C=HALF"]
    assert cli.run(wanted) == 0
    assert "may be missing" not in capsys.readouterr().out
    audit = audit_procedure

    def stopped(bound: BoundProcedure, engine: None, limits: Limits, report: ProgressCallback, **more: Any) -> Audit:
        os.kill(os.getpid(), signal.SIGINT)
        assert limits.stop is not None and limits.stop()
        return audit(bound, engine, limits, report, **more)

    monkeypatch.setattr(checklist_audit, "audit_procedure", stopped)
    assert cli.run(wanted) == 3
    out = capsys.readouterr().out
    assert "BEFORE YOU START" in out
    assert "slips not examined, so warnings may be missing" in " ".join(out.split())
    assert cli.run([*wanted, "--format", "json"]) == 3
    assert json.loads(capsys.readouterr().out)["exit_code"] == 3
