"""What cannot be written to a stream is never passed over: on a full disk, with a reader gone, with a stream closed."""

from __future__ import annotations

import errno
import io
import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from interlock import cli
from interlock.cli import exit_codes
from tests.golden.small_hold import CATALOGUE, REQUIREMENTS, TEXT
from tests.golden.wired_hold import WIRED, WIRED_ASKED, WIRES_FAIL

pytestmark = pytest.mark.usefixtures("done_once")

PROVE = ("prove", "small.yaml", "--no-standing", "--requirements", "asked.yaml", "--method", "enumeration")
HOLDING = (*PROVE, "--only", "bay-filled")
COMMANDS = {
    "prove": HOLDING,
    "prove json": (*HOLDING, "--format", "json", "--quiet"),
    "failures": ("failures", "small.yaml", *PROVE[2:5], "--only", "latched-when-locked", "--catalogue", "known.yaml"),
    "compare": ("compare", "small.yaml", "small.yaml", "--no-verdicts"),
    "contacts": ("contacts", "wired.yaml", "--no-standing", "--requirements", "wired-asked.yaml"),
    "family": ("family", "small.yaml", *PROVE[2:5], "--only", "latched-when-locked"),
    "defer": ("defer", "small.yaml", "SL=raised", *PROVE[2:5], "--only", "latched-when-locked"),
    "repair": ("repair", "small.yaml", *PROVE[2:5], "--only", "latched-when-locked"),
    "fleet": ("fleet", "fleet.csv", *PROVE[2:5], "--only", "latched-when-locked", "--workers", "1", "--no-cache"),
    "audit": ("audit", "demo:procedures/single-lane-load", "--no-interlock", "--no-slips"),
    "checklist": ("checklist", "demo:single-lane", "--goal", "KEY is on"),
    "test": ("test", "wired.yaml", "--no-standing", "--catalogue", "wires.yaml"),
    "teach": ("teach", "small.yaml"),
    "describe": ("describe", "small.yaml"),
    "draw": ("draw", "small.yaml"),
    "draw kinds": ("draw", "--what", "kinds"),
    "count": ("count", "small.yaml"),
    "walk": ("walk", "small.yaml", "--do", "1,1"),
    "requirements": ("requirements",),
    "explain": ("explain", "steps"),
    "schema": ("schema",),
    "help": ("--help",),
    "help of a command": ("prove", "--help"),
    "version": ("--version",),
}

TELL_SECONDS = ("prove", "failures", "compare", "contacts", "defer", "family", "fleet", "repair", "audit", "count")
"""Those whose results say how long they took, which is not always the same."""


class Disk(io.RawIOBase):
    """Takes `room` bytes, at most 1,000 at a time, as a file without a buffer does; then it is full."""

    def __init__(self, room: int, number: int = errno.ENOSPC) -> None:
        self.room = room
        self.number = number
        self.content = b""

    def writable(self) -> bool:
        return True

    def write(self, data: object) -> int:
        part = bytes(data)[: min(1000, self.room - len(self.content))]  # type: ignore[call-overload]
        if not part:
            raise OSError(self.number, os.strerror(self.number))
        self.content += part
        return len(part)


class Stream:
    """A stream of text straight upon a disk, as with PYTHONUNBUFFERED, or through a buffer."""

    errors = "strict"

    def __init__(self, disk: Disk, buffered: bool = False, encoding: str = "utf-8") -> None:
        self.encoding = encoding
        self.buffer = io.BufferedWriter(disk) if buffered else disk

    def isatty(self) -> bool:
        return False


@pytest.fixture(autouse=True)
def in_a_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Every test works in a folder with the small hold and its requirements."""
    monkeypatch.chdir(tmp_path)
    Path("small.yaml").write_text(TEXT)
    Path("asked.yaml").write_text(REQUIREMENTS)
    Path("known.yaml").write_text(CATALOGUE)
    Path("fleet.csv").write_text("tail,hold\nZZ-AAA,small.yaml\n")
    Path("wired.yaml").write_text(WIRED)
    Path("wired-asked.yaml").write_text(WIRED_ASKED)
    Path("wires.yaml").write_text(WIRES_FAIL)
    Path("faulty.yaml").write_text(TEXT.replace("title:", "titel:"))


@pytest.mark.parametrize(("name", "buffered"), [*((name, False) for name in COMMANDS), ("prove json", True)])
def test_a_full_disk_is_never_a_success(
    name: str, buffered: bool, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Of every command: what takes all of the output in small pieces gets it whole; one byte less is code 2, told."""
    disk = Disk(1 << 24)
    monkeypatch.setattr(sys, "stdout", Stream(disk, buffered))
    assert cli.run(COMMANDS[name]) == 0
    size = len(disk.content)
    assert disk.content.endswith(b"\n")
    for room in (0, size - 1):
        full = Disk(room)
        monkeypatch.setattr(sys, "stdout", Stream(full, buffered))
        capsys.readouterr()
        assert cli.run(COMMANDS[name]) == exit_codes.REJECTED
        assert "Error: cannot write the output: No space left on device\n" in capsys.readouterr().err
        assert full.content == disk.content[:room] or name in TELL_SECONDS


@pytest.mark.parametrize("name", COMMANDS)
def test_a_reader_that_goes_away_is_never_a_success(
    name: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """A closed pipe has a code of its own, and nothing is said about it."""
    monkeypatch.setattr(sys, "stdout", Stream(Disk(10, errno.EPIPE)))
    assert cli.run(COMMANDS[name]) == exit_codes.PIPE_CLOSED
    assert "Error" not in capsys.readouterr().err


@pytest.mark.parametrize(
    ("args", "code"),
    [
        (("prove", "faulty.yaml"), 2),
        (("prove", "nothing.yaml"), 2),
        (("walk", "small.yaml", "--do", "99"), 2),
        ((*PROVE, "--format", "json"), 1),
        ((*PROVE, "--format", "json", "--depth", "2"), 3),
        # all was found, but what it took is told there too
        ((*HOLDING, "--format", "json"), 2),
        (HOLDING, 0),
    ],
)
def test_standard_error_that_is_full_changes_no_code(
    args: tuple[str, ...], code: int, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Nothing that cannot be said there turns one code into another, but 0, which says that all was written."""
    monkeypatch.setattr(sys, "stderr", Stream(Disk(3)))
    assert cli.run(args) == code
    out = capsys.readouterr().out
    if "json" in args:
        assert json.loads(out)["exit_code"] in (0, code)


def test_a_fault_of_ours_keeps_its_code(monkeypatch: pytest.MonkeyPatch) -> None:
    """Also where it cannot be told."""

    def broken(*_: object) -> None:
        raise RuntimeError("wheels came off")

    monkeypatch.setattr("interlock.cli.opening.open_hold", broken)
    monkeypatch.setattr(sys, "stderr", Stream(Disk(0)))
    assert cli.run(["describe", "small.yaml"]) == exit_codes.INTERNAL_FAULT


def test_streams_that_are_closed(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    """Without standard output nothing was written: 2.  Without standard input there is none: told, or at its end."""
    monkeypatch.setattr(sys, "stdin", None)
    assert cli.run(["count", "-"]) == 2
    assert "Cannot read standard input: it is closed." in capsys.readouterr().err
    assert cli.run(["walk", "small.yaml"]) == 0
    assert "Small hold" in capsys.readouterr().out
    monkeypatch.setattr(sys, "stdout", None)
    assert cli.run(["count", "small.yaml"]) == exit_codes.REJECTED
    assert cli.run(["count", "small.yaml", "--output", "count.txt"]) == 0
    assert Path("count.txt").exists()
    monkeypatch.setattr(sys, "stderr", None)
    assert cli.run(["prove", "faulty.yaml"]) == 2


def test_an_encoding_that_lacks_characters(monkeypatch: pytest.MonkeyPatch) -> None:
    """People read them escaped; what programs read is UTF-8 all the same; what only lacks a locale is UTF-8 too."""
    title = "Hold “ä→”"
    Path("small.yaml").write_text(TEXT.replace("Small hold", title), encoding="utf-8")
    for encoding, said in (("latin-1", "Hold \\u201cä\\u2192\\u201d".encode("latin-1")), ("ascii", title.encode())):
        for args, wanted in (
            (("describe", "small.yaml"), said),
            (("draw", "small.yaml"), title.encode()),
            ((*HOLDING, "--format", "json", "--quiet"), title.encode()),
        ):
            disk = Disk(1 << 20)
            monkeypatch.setattr(sys, "stdout", Stream(disk, encoding=encoding))
            assert cli.run(args) == 0
            assert wanted in disk.content, (encoding, args)


def test_bare_interlock_says_once_how_it_is_used(capsys: pytest.CaptureFixture[str]) -> None:
    """The help, on standard error, and 2: something is missing."""
    assert cli.run([]) == 2
    out, err = capsys.readouterr()
    assert out == "" and err.count("Usage:") == 1 and "Exit codes:" in err


@pytest.mark.parametrize("unbuffered", ["", "1"])
def test_a_file_that_may_not_grow(unbuffered: str) -> None:
    """The whole program, where the operating system lets no file be longer: 2, and no second complaint at the end."""
    command = f"ulimit -f 4; '{sys.executable}' -m interlock schema > half.json"
    # bytecode that is cut off at the limit would be kept, and be no bytecode for whoever comes next
    own = {"PYTHONUNBUFFERED": unbuffered, "PYTHONDONTWRITEBYTECODE": "1"}
    done = subprocess.run(
        ["bash", "-c", command],
        capture_output=True,
        text=True,
        env={**os.environ, "PYTHONPATH": str(Path(cli.__file__).parents[2]), **own},
        timeout=60,
    )
    assert (done.returncode, done.stderr) == (2, "Error: cannot write the output: File too large\n")
    assert Path("half.json").stat().st_size == 4096


@pytest.mark.skipif(not Path("/dev/full").is_char_device(), reason="no device that is always full")
@pytest.mark.parametrize(("streams", "code"), [("> /dev/full 2>&1", 2), ("2> /dev/full", 0), (">&- 2>&- <&-", 2)])
def test_the_whole_program_on_streams_that_take_nothing(streams: str, code: int) -> None:
    """What Python does when it ends changes nothing of the code."""
    command = f"'{sys.executable}' -m interlock explain steps {streams}"
    root = str(Path(cli.__file__).parents[2])
    done = subprocess.run(["bash", "-c", command], timeout=60, env={**os.environ, "PYTHONPATH": root})
    assert done.returncode == code
