"""`--watch`: what was asked is done again when a file changes, half-written files too, until Ctrl-C; as a process."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

import pytest

from interlock import cli
from interlock.cli import methods
from interlock.cli.reading import digest_now, fetch, noted_contents
from interlock.kernel.claims import Claim, Limits, ProgressCallback
from interlock.kernel.machine import Machine, Question
from interlock.prove.decide import decide

MODELS = Path(__file__).parents[2] / "models"
ONLY = ["--only", "locked-only-latched", "--no-cache"]
BROKEN = "interlock: 1\ntitle: t\nmodifies: base.yaml\nchanges:\n  - {fix: M1, in: rai"
CLOSED = BROKEN + "sed}\n"


class Running:
    """A command that goes on, with what it has said so far."""

    def __init__(self, process: subprocess.Popen[str]) -> None:
        self.process = process
        self.said = ""
        self._seen = 0
        self.reader = threading.Thread(target=self._read, daemon=True)
        self.reader.start()

    def _read(self) -> None:
        assert self.process.stdout is not None
        for line in self.process.stdout:
            self.said += line

    def next(self, text: str, seconds: float = 60) -> str:
        """Waits until it has said this since the last time, and gives what it said by then."""
        end = time.monotonic() + seconds
        while time.monotonic() < end:
            at = self.said.find(text, self._seen)
            if at >= 0:
                told, self._seen = self.said[self._seen : at], at + len(text)
                return told
            assert self.process.poll() is None, self.said
            time.sleep(0.05)
        raise AssertionError(self.said)

    def stop(self) -> int:
        """Ctrl-C, and the exit code."""
        self.process.send_signal(signal.SIGINT)
        return self.process.wait(30)


@contextmanager
def running(folder: Path, *args: str) -> Iterator[Running]:
    process = subprocess.Popen(
        [sys.executable, "-m", "interlock", *args],
        cwd=folder,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        env={**os.environ, "PYTHONUNBUFFERED": "1"},
    )
    run = Running(process)
    try:
        yield run
    finally:
        process.kill()
        process.wait()
        run.reader.join()
        assert process.stdout is not None
        process.stdout.close()


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A modification beside its base."""
    (tmp_path / "base.yaml").write_bytes((MODELS / "single-lane.yaml").read_bytes())
    (tmp_path / "mine.yaml").write_text(CLOSED)
    return tmp_path


def test_prove_watches_every_file_that_it_reads(folder: Path) -> None:
    """A change of the file, of its base, a half-written file and one that is gone are each followed by what is then so;
    Ctrl-C ends with the code of the last verdict."""
    with running(folder, "prove", "mine.yaml", *ONLY, "--watch") as run:
        assert "1 hold, 0 fail" in run.next("Waiting for a change")
        (folder / "mine.yaml").write_text(BROKEN)
        told = run.next("Waiting for a change")
        assert "mine.yaml ---" in told and "not-yaml" in told
        (folder / "mine.yaml").unlink()
        assert "Cannot read mine.yaml" in run.next("Waiting for a change")
        (folder / "mine.yaml").write_text(CLOSED)
        assert "1 hold, 0 fail" in run.next("Waiting for a change")
        base = folder / "base.yaml"
        base.write_text(base.read_text("utf-8").replace("moves: gate_released", "moves: gate_relesed"), "utf-8")
        told = run.next("Waiting for a change")
        assert "base.yaml ---" in told and "unknown-name" in told
        assert run.stop() == 2


def test_same_content_is_no_change_and_the_code_is_that_of_the_verdict(folder: Path) -> None:
    """A file that is written anew with what it said already starts nothing; where all holds the exit code is 0."""
    with running(folder, "prove", "mine.yaml", *ONLY, "--watch") as run:
        run.next("Waiting for a change")
        (folder / "mine.yaml").write_text(CLOSED)
        time.sleep(1)
        assert run.said.count("Waiting for a change") == 1
        assert run.stop() == 0


def test_audit_watches_the_procedure_and_its_hold(folder: Path) -> None:
    """An audit is made again when the procedure changes."""
    text = (MODELS / "procedures" / "single-lane-load.yaml").read_text("utf-8").replace("../single-lane", "base")
    (folder / "load.yaml").write_text(text, "utf-8")
    with running(folder, "audit", "load.yaml", "--no-slips", "--no-interlock", "--watch") as run:
        assert "load.yaml" in run.next("Waiting for a change")
        (folder / "load.yaml").write_text(text.replace("- unlock D1", "- unlok D1", 1), "utf-8")
        assert "did you mean 'unlock'?" in run.next("Waiting for a change")
        assert run.stop() == 2


def test_a_proof_that_ctrl_c_ends_does_not_count(
    folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Ctrl-C during the proof after a change ends the watching: what is undecided is told, the code is the last one."""
    proofs = 0

    def engine(
        machine: Machine, questions: Sequence[Question], limits: Limits, report: ProgressCallback
    ) -> tuple[Claim, ...]:
        nonlocal proofs
        proofs += 1
        if proofs == 1:
            (folder / "mine.yaml").write_text(CLOSED + "\n")  # by the time that it has been proved it is another
        else:
            os.kill(os.getpid(), signal.SIGINT)
        return decide(machine, questions, limits, report)

    monkeypatch.setattr(methods, "engine_of", lambda _method: engine)
    monkeypatch.chdir(folder)
    assert cli.run(["prove", "mine.yaml", *ONLY, "--watch"]) == 0
    out, err = capsys.readouterr()
    assert proofs == 2
    assert "mine.yaml ---" in err and err.count("Waiting for a change") == 1
    assert "1 undecided" in out


def test_standard_input_is_refused(capsys: pytest.CaptureFixture[str]) -> None:
    """What can be read once cannot be watched."""
    assert cli.run(["prove", "-", "--watch"]) == 2
    assert "cannot be read again" in capsys.readouterr().err


def test_what_was_read_is_what_counts(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A file that changes while it is worked on differs from what was read; one that was missing is noted too."""
    monkeypatch.chdir(folder)
    with noted_contents() as noted:
        assert fetch("mine.yaml") is not None
        (folder / "mine.yaml").write_text(BROKEN)
        assert fetch("mine.yaml") is not None and fetch("nowhere.yaml") is None
    mine = str(folder / "mine.yaml")
    assert noted[mine] is not None and noted[mine] != digest_now(mine)
    assert noted[str(folder / "nowhere.yaml")] is None
