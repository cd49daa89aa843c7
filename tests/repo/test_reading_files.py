"""Whatever stands where a file is named, it is read soon, in bounded memory, or refused; nothing foreign is shown."""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import sys
import tracemalloc
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from types import FrameType
from typing import Any

import pytest

from interlock import cli
from interlock.cli.reading import read_source
from interlock.hold.language.nodes import LARGEST_FILE_BYTES
from tests.golden.small_hold import REQUIREMENTS, TEXT

SECONDS = 30
PROCEDURE = 'interlock: 1\nprocedure: "Tested"\nhold: {hold}\ngoal: D1 is closed\nsteps: ["check D1 is closed"]\n'
MODIFICATION = "interlock: 1\ntitle: Modified\nmodifies: {hold}\nchanges:\n  - {{remove: RG}}\n"
FOREIGN = "password: hunter2\n- not: [yaml\n"


@pytest.fixture(autouse=True)
def in_a_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Every test works in a folder with the small hold and its requirements."""
    monkeypatch.chdir(tmp_path)
    Path("small.yaml").write_text(TEXT)
    Path("asked.yaml").write_text(REQUIREMENTS)


@pytest.fixture(params=["pipe", "socket", "folder", "endless device", "empty device", "large file"])
def strange(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[str]:
    """The name, from the folder of the test, of something that is no description and may never end."""
    name = "strange.yaml"
    match request.param:
        case "pipe":
            os.mkfifo(name)
        case "socket":
            listener = socket.socket(socket.AF_UNIX)
            os.chdir(tmp_path)  # the name of a socket is short
            listener.bind(name)
        case "folder":
            Path(name).mkdir()
        case "endless device":
            Path(name).symlink_to("/dev/zero")
        case "empty device":
            Path(name).symlink_to("/dev/null")
        case "large file":
            with Path(name).open("wb") as file:
                file.truncate(3 * 2**30)
    yield name
    if request.param == "socket":
        listener.close()


def in_process(*args: str, **streams: Any) -> subprocess.CompletedProcess[bytes]:
    """The program in a process of its own, stopped where it does not end."""
    done: subprocess.CompletedProcess[bytes] = subprocess.run(
        [sys.executable, "-m", "interlock", *args],
        capture_output=True,
        env={**os.environ, "PYTHONPATH": str(Path(cli.__file__).parents[2])},
        timeout=SECONDS,
        **streams,
    )
    return done


class Waited(BaseException):
    """Something waited for what never comes; no command takes this for a fault of its own."""


@contextmanager
def soon(seconds: float = SECONDS) -> Iterator[None]:
    """Whatever is done here is torn away when it has taken so long."""

    def tear(number: int, frame: FrameType | None) -> None:
        raise Waited

    before = signal.signal(signal.SIGALRM, tear)
    signal.setitimer(signal.ITIMER_REAL, seconds)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0)
        signal.signal(signal.SIGALRM, before)


@pytest.mark.parametrize(
    "args",
    [
        ["prove", "{}"],
        ["prove", "small.yaml", "--requirements", "{}"],
        ["audit", "{}"],
        ["describe", "modified.yaml"],
        ["audit", "procedure.yaml"],
    ],
    ids=lambda args: " ".join(args),
)
def test_what_is_no_regular_file_is_refused(args: list[str], strange: str, capsys: pytest.CaptureFixture[str]) -> None:
    """A pipe, a device, a folder or a huge file is told at once, on the command line and where a file names it."""
    Path("modified.yaml").write_text(MODIFICATION.format(hold=strange))
    Path("procedure.yaml").write_text(PROCEDURE.format(hold=strange))
    with soon():
        code = cli.run([arg.format(strange) for arg in args])
    said = capsys.readouterr().err
    assert code == 2, said
    assert "strange.yaml" in said
    assert "Traceback" not in said


def test_no_more_is_read_than_a_file_may_have() -> None:
    """Of a file of three gigabytes hardly more than the limit is in memory at any time."""
    with Path("large.yaml").open("wb") as file:
        file.truncate(3 * 2**30)
    tracemalloc.start()
    try:
        source = read_source("large.yaml")
        _, peak = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    assert len(source.content) == LARGEST_FILE_BYTES + 1
    assert peak < 4 * LARGEST_FILE_BYTES


def test_standard_input_is_bounded() -> None:
    """Standard input that never ends is refused as a file that is too large."""
    with Path("/dev/zero").open("rb") as endless:
        done = in_process("describe", "-", stdin=endless)
    assert done.returncode == 2
    assert b"error[file-too-large]" in done.stderr


def test_standard_input_that_is_closed() -> None:
    """Standard input that is closed is told as such."""
    closed = subprocess.run(
        ["sh", "-c", '"$0" -m interlock describe - <&-', sys.executable],
        capture_output=True,
        env={**os.environ, "PYTHONPATH": str(Path(cli.__file__).parents[2])},
        timeout=SECONDS,
    )
    assert (closed.returncode, b"Cannot read standard input" in closed.stderr) == (2, True), closed.stderr


def test_a_pipe_on_standard_input_is_read() -> None:
    """Standard input need not be a file."""
    done = in_process("describe", "-", input=TEXT.encode())
    assert done.returncode == 0, done.stderr


@pytest.mark.parametrize(
    "name",
    [
        pytest.param("n" * 300, id="too long"),
        pytest.param("n" * 300 + "/x.yaml", id="in a folder too long"),
        pytest.param("a\0b", id="NUL"),
        pytest.param(os.fsdecode(b"\xff\xfe.yaml"), id="not UTF-8"),
        pytest.param("\ud800", id="lone surrogate"),
    ],
)
def test_names_that_no_file_can_have(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    """A name that is too long, has a NUL or is not UTF-8 is a wrong command line, whatever it is named for."""
    for args in (
        ["prove", name],
        ["prove", "small.yaml", "--requirements", name],
        ["prove", name, "-o", "out.txt"],
        ["audit", name],
        ["audit", name, "-o", "out.txt"],
        ["checklist", name, "--goal", "D1 is open"],
        ["describe", name],
        ["draw", name],
        ["count", name],
        ["walk", name],
        ["requirements", name],
        ["explain", "nothing", "--requirements", name],
    ):
        assert cli.run(args) == 2, args
        assert "Cannot read" in capsys.readouterr().err


def test_a_file_whose_name_is_not_utf8() -> None:
    """A file is read whatever its name is, and its name is shown with an escape for what is no letter."""
    name = b"caf\xe9.yaml"
    Path(os.fsdecode(name)).write_text(TEXT)
    commands: list[list[str | bytes]] = [[word, name] for word in ("describe", "prove", "draw")]
    commands.append(["prove", name, "--format", "json"])
    for args in commands:
        done = subprocess.run(
            [sys.executable, "-m", "interlock", *args],
            capture_output=True,
            env={**os.environ, "PYTHONPATH": str(Path(cli.__file__).parents[2])},
            timeout=SECONDS,
        )
        assert done.returncode in (0, 1), done.stderr
        assert b"\xe9" not in done.stdout.replace("é".encode(), b"") + done.stderr
        (done.stdout + done.stderr).decode()


@pytest.mark.parametrize("said", ["/etc/hostname", "-", "./-", "C:\\hold.yaml", "sub\\hold.yaml", "file:small.yaml"])
@pytest.mark.parametrize("form", [PROCEDURE, MODIFICATION], ids=["hold", "modifies"])
def test_only_paths_from_the_own_folder(said: str, form: str, capsys: pytest.CaptureFixture[str]) -> None:
    """`hold` and `modifies` take neither absolute paths nor standard input nor other ways to name a file."""
    Path("given.yaml").write_text(form.format(hold=f"'{said}'"))
    assert cli.run(["audit" if form is PROCEDURE else "describe", "given.yaml"]) == 2
    assert "error[missing-file]" in capsys.readouterr().err


@pytest.mark.parametrize("form", [PROCEDURE, MODIFICATION], ids=["hold", "modifies"])
def test_a_demonstration_and_another_folder_may_be_named(form: str) -> None:
    """`hold` and `modifies` take `demo:NAME` and a path that leads through the folder above."""
    Path("deep").mkdir()
    command = "audit" if form is PROCEDURE else "describe"
    extra = ["--no-slips", "--no-interlock"] if form is PROCEDURE else []
    Path("deep/given.yaml").write_text(form.format(hold="../small.yaml"))
    assert cli.run([command, "deep/given.yaml", *extra]) in (0, 1)
    Path("deep/given.yaml").write_text(form.format(hold="demo:single-lane").replace("RG", "M3L"))
    assert cli.run([command, "deep/given.yaml", *extra]) in (0, 1, 2)


@pytest.mark.parametrize("form", [PROCEDURE, MODIFICATION], ids=["hold", "modifies"])
@pytest.mark.parametrize("content", [FOREIGN, "hunter2", "a: hunter2\nhunter2: b\n", "hunter2: {", "\thunter2"])
def test_nothing_of_a_foreign_file_is_shown(form: str, content: str, capsys: pytest.CaptureFixture[str]) -> None:
    """A file that does not say that it is a description is named, and no line of it is shown."""
    Path("deep").mkdir()
    Path("secret").write_text(content)
    Path("deep/given.yaml").write_text(form.format(hold="../secret"))
    assert cli.run(["audit" if form is PROCEDURE else "describe", "deep/given.yaml"]) == 2
    said = capsys.readouterr().err
    assert "error[wrong-file]" in said
    assert "hunter2" not in said
    assert "../secret" in said


def test_a_faulty_base_is_shown(capsys: pytest.CaptureFixture[str]) -> None:
    """The lines of a description that another file names are shown where they are wrong."""
    Path("base.yaml").write_text(TEXT.replace("kind: manual latch", "kind: manul latch"))
    Path("given.yaml").write_text(MODIFICATION.format(hold="base.yaml"))
    assert cli.run(["describe", "given.yaml"]) == 2
    assert "kind: manul latch" in capsys.readouterr().err


def test_a_hint_at_another_file_compares_names_alone(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A long folder and a common ending do not make two names look alike."""
    assert cli.run(["describe", str(tmp_path / "other.yaml")]) == 2
    said = " ".join(capsys.readouterr().err.split())
    assert "Did you mean" not in said
    assert "small.yaml" in said
    assert cli.run(["describe", str(tmp_path / "smal.yml")]) == 2
    assert "small.yaml'?" in capsys.readouterr().err


def test_a_procedure_of_a_checklist_names_its_hold_from_its_folder(capsys: pytest.CaptureFixture[str]) -> None:
    """What `checklist --format procedure` writes can be audited: the file is named as a procedure may name it."""
    Path("deep").mkdir()
    Path("deep/lane.yaml").write_bytes(read_source("demo:single-lane").content)
    made = ["--goal", "KEY is on", "--format", "procedure"]
    assert cli.run(["checklist", str(Path("deep/lane.yaml").resolve()), *made]) == 0
    assert '\nhold: "deep/lane.yaml"\n' in capsys.readouterr().out
    assert cli.run(["checklist", "demo:single-lane", *made]) == 0
    assert '\nhold: "demo:single-lane"\n' in capsys.readouterr().out
    assert cli.run(["checklist", "-", *made]) == 2
    assert "a procedure names the file" in capsys.readouterr().err
