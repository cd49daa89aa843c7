"""Files and folders that results go to: whole or as they were, and never in the place of what is not to be replaced."""

from __future__ import annotations

import os
import shutil
import stat
import subprocess
import sys
from collections.abc import Iterator
from hashlib import sha256
from pathlib import Path

import pytest

from interlock import cli
from interlock.cli import folders, methods
from tests.golden.small_hold import REQUIREMENTS, TEXT

HOLDING = ("--only", "latched-when-locked", "--only", "bay-filled")


@pytest.fixture(autouse=True)
def in_a_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Every test works in a folder with the small hold, a modification of it, and requirements."""
    monkeypatch.chdir(tmp_path)
    Path("small.yaml").write_text(TEXT)
    Path("asked.yaml").write_text(REQUIREMENTS)
    Path("changed.yaml").write_text("interlock: 1\ntitle: Modified\nmodifies: small.yaml\nchanges:\n  - {remove: RG}\n")


def prove(*args: str) -> int:
    """`interlock prove` with the requirements of the tests and the obvious engine."""
    return cli.run(("prove", "--no-standing", "--requirements", "asked.yaml", "--method", "enumeration", *args))


def flowed(capsys: pytest.CaptureFixture[str]) -> str:
    """Standard error without its line ends."""
    return " ".join(capsys.readouterr().err.split())


def tree(*without: str) -> dict[str, object]:
    """Everything in the folder of the test: what files hold, where links lead, and the rights of both."""
    found: dict[str, object] = {}
    for path in sorted(Path().rglob("*")):
        what = path.readlink() if path.is_symlink() else path.read_bytes() if path.is_file() else "folder"
        found[path.as_posix()] = (what, path.lstat().st_mode)
    return {name: what for name, what in found.items() if name not in without}


# ---- a file ------------------------------------------------------------------------------------------------------


def test_output_goes_to_a_file(capsys: pytest.CaptureFixture[str]) -> None:
    """--output writes what standard output would have shown, without colours, and replaces an old file."""
    Path("out.txt").write_text("old")
    assert prove("small.yaml", "--output", "out.txt", "--color", "always") == 1
    assert capsys.readouterr().out == ""
    text = Path("out.txt").read_text()
    assert text.startswith("Small hold\n") and "\x1b" not in text
    assert [path.name for path in Path().iterdir() if path.name.startswith(".part")] == []


def refused(monkeypatch: pytest.MonkeyPatch) -> None:
    """From now on no engine may be asked."""
    monkeypatch.setattr(methods, "engine_of", lambda method: pytest.fail("an engine was asked"))


def test_an_output_that_cannot_be_is_told_before_the_work(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """A folder that is not there, or a name that is too long, ends every command before anything is read or proved."""
    monkeypatch.setattr("interlock.cli.opening.read_source", None)
    for command in ("prove", "audit", "checklist", "describe", "count", "draw"):
        assert cli.run([command, "small.yaml", "-o", "nowhere/x.txt"]) == 2
        assert "Cannot write nowhere/x.txt: there is no such folder." in capsys.readouterr().err
    assert cli.run(["describe", "small.yaml", "-o", "x" * 300]) == 2
    assert "File name too long" in flowed(capsys)


@pytest.mark.parametrize(
    ("reads", "args"),
    [
        ("small.yaml", ("prove", "small.yaml")),
        ("asked.yaml", ("prove", "small.yaml", "--requirements", "asked.yaml")),
        ("small.yaml", ("prove", "changed.yaml")),
        ("small.yaml", ("describe", "small.yaml")),
        ("small.yaml", ("describe", "changed.yaml")),
        ("small.yaml", ("draw", "small.yaml")),
        ("small.yaml", ("draw", "changed.yaml", "--what", "moves")),
        ("small.yaml", ("count", "changed.yaml")),
        ("small.yaml", ("count", "-")),
        ("small.yaml", ("checklist", "changed.yaml", "--goal", "D1 is open")),
        ("asked.yaml", ("checklist", "small.yaml", "--goal", "D1 is open", "--requirements", "asked.yaml")),
        ("procedure.yaml", ("audit", "procedure.yaml")),
        ("small.yaml", ("audit", "procedure.yaml")),
        ("asked.yaml", ("audit", "procedure.yaml", "--requirements", "asked.yaml")),
        ("asked.yaml", ("requirements", "asked.yaml")),
    ],
)
@pytest.mark.parametrize("named", ["itself", "link", "hard link"])
def test_output_never_overwrites_what_is_read(
    reads: str, args: tuple[str, ...], named: str, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Every file of the call, by whatever name: refused before the work begins, and left as it is."""
    steps = "steps:\n  - 'check every b in bays: b is empty'\n"
    Path("procedure.yaml").write_text("interlock: 1\nprocedure: Look\nhold: small.yaml\ngoal: D1 is closed\n" + steps)
    refused(monkeypatch)
    monkeypatch.setattr(
        "interlock.study.procedure.audit.audit_procedure", lambda *_, **__: pytest.fail("an audit was made")
    )
    output = reads
    if named == "link":
        output = "link"
        Path(output).symlink_to(reads)
    elif named == "hard link":
        output = "second name"
        os.link(reads, output)
    before = tree()
    with Path("small.yaml").open() as typed:
        monkeypatch.setattr(sys, "stdin", typed)
        assert cli.run([*args, "--output", output]) == 2
    assert f"would overwrite {output}, which is read" in flowed(capsys)
    assert tree() == before


def test_a_file_that_was_exchanged_meanwhile_is_one_that_was_read(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """An editor saves the description anew while it is worked on: its name still counts."""
    from interlock.report.text import description

    def exchanged(*args: object) -> tuple[object, ...]:
        Path("new").write_text("edited")
        Path("new").replace("small.yaml")
        Path("small.txt").symlink_to("small.yaml")
        return ()

    monkeypatch.setattr(description, "description_lines", exchanged)
    assert cli.run(["describe", "small.yaml", "--output", "small.txt"]) == 2
    assert "would overwrite small.txt" in flowed(capsys)
    assert Path("small.yaml").read_text() == "edited"


def test_a_file_that_is_replaced_keeps_its_rights(capsys: pytest.CaptureFixture[str]) -> None:
    """What was for nobody else's eyes stays so, also through a link."""
    Path("out.txt").write_text("old")
    Path("out.txt").chmod(0o640)
    Path("link").symlink_to("out.txt")
    for name in ("out.txt", "link"):
        assert cli.run(["describe", "small.yaml", "--output", name]) == 0
        assert Path("out.txt").read_text().startswith("Small hold")
        assert stat.S_IMODE(Path("out.txt").stat().st_mode) == 0o640
    assert Path("link").is_symlink()


def test_a_read_only_file_is_not_replaced(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> None:
    """Whoever took away the right to write to it meant that; by the administrator too, and before anything is done."""
    refused(monkeypatch)
    Path("out.txt").write_text("old")
    Path("out.txt").chmod(0o444)
    assert prove("small.yaml", "--output", "out.txt") == 2
    assert "Cannot write out.txt: it is read-only." in flowed(capsys)
    assert Path("out.txt").read_text() == "old"


def test_a_result_that_cannot_be_put_in_its_file_is_shown(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """The disk is full at the end: the old file is as it was, and the result goes to standard output."""

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    Path("out.txt").write_text("old")
    monkeypatch.setattr(os, "fsync", full)
    before = tree()
    assert prove("small.yaml", "--output", "out.txt") == 2
    out, err = capsys.readouterr()
    assert out.startswith("Small hold\n") and "cannot write out.txt: No space left on device" in err
    assert tree() == before


def test_what_is_no_file_is_written_to(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A device as output needs no right to its folder."""
    assert cli.run(["describe", "small.yaml", "--output", os.devnull]) == 0
    assert Path(os.devnull).is_char_device()


# ---- a folder of evidence ----------------------------------------------------------------------------------------


def edit(name: str) -> None:
    """A word more in the file."""
    path = Path("proof") / name
    path.write_text(path.read_text() + "\n")


def seal() -> None:
    """Somebody lists all that is in the folder, his own file too, in a manifest."""
    Path("proof/notes.txt").write_text("years of work")
    files = sorted(path for path in Path("proof").rglob("*") if path.is_file() and path.name != folders.MANIFEST)
    lines = [f"{sha256(path.read_bytes()).hexdigest()}  {path.relative_to('proof').as_posix()}\n" for path in files]
    Path("proof", folders.MANIFEST).write_text("".join(lines))


def own_manifest() -> None:
    """A folder of somebody else, with a manifest of his own; it even names its README as ours does."""
    shutil.rmtree("proof")
    Path("proof").mkdir()
    Path("proof/README.txt").write_text("thesis")
    Path("proof", folders.MANIFEST).write_text(f"{sha256(b'thesis').hexdigest()}  README.txt\n")


def link_out() -> None:
    """A file of the evidence is now a link to the same bytes elsewhere."""
    Path("proof/machine.json").replace("machine.json")
    Path("proof/machine.json").symlink_to("../machine.json")


def link_folder() -> None:
    """A folder of the evidence is now a link."""
    Path("proof/traces").replace("traces")
    Path("proof/traces").symlink_to("../traces")


@pytest.mark.parametrize(
    ("change", "named"),
    [
        (lambda: Path("proof/notes.txt").write_text("added later"), "notes.txt"),
        (lambda: Path("proof/notes").mkdir(), "notes/"),
        (lambda: Path("proof/traces/notes.txt").write_text("added later"), "traces/notes.txt"),
        (lambda: edit("README.txt"), "README.txt"),
        (lambda: edit("machine.json"), "machine.json"),
        (lambda: edit(folders.MANIFEST), folders.MANIFEST),
        (seal, "notes.txt"),
        (own_manifest, "README.txt"),
        (link_out, "machine.json"),
        (link_folder, "traces"),
        (lambda: Path("proof/machine.json.smt2").symlink_to("nowhere"), "machine.json.smt2"),
        (lambda: os.mkfifo("proof/pipe"), "pipe"),
    ],
)
def test_evidence_takes_the_place_of_nothing_else(
    change: object, named: str, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """What was added to evidence, changed in it, or only looks like it: named, refused before any work, left alone."""
    assert prove("small.yaml", "--evidence", "proof") == 1
    refused(monkeypatch)
    assert callable(change)
    change()
    before = tree("proof/pipe")
    capsys.readouterr()
    assert prove("small.yaml", "--evidence", "proof") == 2
    said = flowed(capsys)
    assert "Cannot write evidence to proof" in said and named in said
    assert tree("proof/pipe") == before


@pytest.mark.parametrize(
    "folder",
    [".", "..", "/", "made/..", "../sub", "link", "dangling", "small.yaml/x", "sealed", "sealed/x"],
)
def test_a_place_that_evidence_cannot_have(
    folder: str, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Where the user works, the root, links, files, what is read-only: refused before any work, nothing left behind."""
    refused(monkeypatch)
    Path("made").mkdir()
    Path("link").symlink_to("made")
    Path("dangling").symlink_to("nowhere")
    Path("sealed").mkdir(mode=0o555)
    Path("sub").mkdir()
    monkeypatch.chdir("sub")
    for name in ("small.yaml", "asked.yaml", "made", "link", "dangling", "sealed"):
        if not Path(name).exists() and not Path(name).is_symlink():
            Path("..", name).rename(name)
    before = tree()
    assert prove("small.yaml", "--evidence", folder) == 2
    assert "Cannot write evidence to" in flowed(capsys)
    assert tree() == before


def test_where_the_user_works_is_not_replaced(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Evidence, as it was written, in which somebody stands: he would be left in a folder that is gone."""
    assert prove("small.yaml", "--evidence", "proof") == 1
    monkeypatch.chdir("proof/traces")
    for folder in ("../../proof", "../../proof/traces"):
        assert cli.run(("prove", "../../small.yaml", "--evidence", folder)) == 2
        assert f"Cannot write evidence to {folder}: it is in use." in flowed(capsys)


def test_a_folder_of_much_else_is_refused_at_once(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Some names are enough: a home is not searched to its end."""
    Path("home").mkdir()
    for number in range(50):
        Path(f"home/{number:02}").mkdir()
        Path(f"home/{number:02}/letter.txt").touch()
    looked = []
    scandir = os.scandir

    def seen(path: Path) -> object:
        looked.append(path)
        return scandir(path)

    monkeypatch.setattr(os, "scandir", seen)
    assert prove("small.yaml", "--evidence", "home") == 2
    assert "(00/letter.txt, 01/letter.txt, 02/letter.txt, 03/letter.txt, 04/letter.txt and more)" in flowed(capsys)
    assert len(looked) < 20


def test_results_of_one_call_spare_each_other(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """A report among the evidence, or in its place, would be deleted or keep it from being replaced: refused."""
    refused(monkeypatch)
    Path("proof").mkdir()
    Path("link").symlink_to("proof")
    for output in ("proof/report.txt", "link/report.txt"):
        assert prove("small.yaml", "--evidence", "proof", "--output", output) == 2
        assert "would lie among the evidence" in flowed(capsys)
    assert prove("small.yaml", "--evidence", "new", "--output", "new") == 2
    assert not Path("new").exists()


def test_every_file_of_evidence_is_known_as_one(capsys: pytest.CaptureFixture[str]) -> None:
    """Whatever `prove` writes of any kind of finding it may replace: runs, certificates, ways back, dead ends."""
    for hold, parts in (
        ("demo:single-lane", {"certificate-", "way-back-"}),
        ("demo:flawed/floor-falls-forward", {"certificate-", "traces"}),
    ):
        cli.run(["prove", hold, "--evidence", "proof"])
        folders.check_folder(Path("proof"))
        names = {path.relative_to("proof").parts[0].rstrip("0123456789") for path in Path("proof").rglob("*")}
        assert parts | {"README.txt", "MANIFEST.sha", "machine.json", "findings.json"} <= names


def test_names_of_descriptions_as_long_as_files_allow(capsys: pytest.CaptureFixture[str]) -> None:
    """Of several holds the evidence has the name of its description, cut where a system would refuse it afterwards."""
    for letter in ("h", "\u00fc"):
        name = letter * (254 // len(letter.encode()))
        Path(name).write_text(TEXT)
        assert prove(name, "small.yaml", "--evidence", f"of-{letter}") == 1
        found = sorted(path.name for path in Path(f"of-{letter}").iterdir())
        assert found == [f"1-{letter * 60}", "2-small"]


def test_a_kill_between_the_moves_leaves_both_whole(capsys: pytest.CaptureFixture[str]) -> None:
    """The README says how to recognise what is left: a folder that its own manifest bears out; nothing deletes it."""
    prove("small.yaml", "--evidence", "proof")
    before = tree("small.yaml", "asked.yaml", "changed.yaml")
    program = (
        "import os, sys\n"
        "from pathlib import Path\n"
        "from interlock.cli import run\n"
        "replace = Path.replace\n"
        "def killed(self, target):\n"
        "    if str(target) == 'proof': os._exit(9)\n"
        "    return replace(self, target)\n"
        "Path.replace = killed\n"
        "sys.exit(run(sys.argv[1:]))\n"
    )
    args = ("--no-standing", "--requirements", "asked.yaml", "--evidence", "proof")
    env = {**os.environ, "PYTHONPATH": str(Path(cli.__file__).parents[2])}
    done = subprocess.run([sys.executable, "-c", program, "prove", "changed.yaml", *args], env=env, capture_output=True)
    left = sorted(Path().glob(".evidence-*"))
    assert done.returncode == 9 and not Path("proof").exists() and len(left) == 2
    for folder in left:
        folders.check_folder(folder)
        assert (folder / folders.MANIFEST).is_file()
    assert prove("small.yaml", "--evidence", "proof") == 1
    after = tree("small.yaml", "asked.yaml", "changed.yaml")
    assert before.items() <= after.items() and sorted(Path().glob(".evidence-*")) == left


@pytest.fixture
def disk_full_at(monkeypatch: pytest.MonkeyPatch) -> Iterator[list[int]]:
    """The number of writes after which the disk is full; -1 counts them instead."""
    state = [-1, 0]
    fsync = os.fsync

    def full(number: int) -> None:
        state[1] += 1
        if state[1] == state[0]:
            raise OSError(28, "No space left on device")
        fsync(number)

    monkeypatch.setattr(os, "fsync", full)
    yield state


@pytest.mark.parametrize("folder", ["proof", "deep/down/proof"])
def test_evidence_is_whole_or_as_it_was(
    folder: str, disk_full_at: list[int], capsys: pytest.CaptureFixture[str]
) -> None:
    """The disk is full at whatever file: the old evidence is whole, no other trace is left, the report is given."""
    before = tree()
    disk_full_at[:] = [3, 0]
    assert prove("small.yaml", "--evidence", folder) == 2
    out, err = capsys.readouterr()
    assert "FAILS" in out and f"cannot write {folder}: No space left on device" in err
    assert tree() == before
    disk_full_at[:] = [-1, 0]
    assert prove("small.yaml", "--evidence", folder) == 1
    written = disk_full_at[1]
    before = tree()
    for at in range(1, written + 1, 4):
        disk_full_at[:] = [at, 0]
        assert prove("small.yaml", "--evidence", folder) == 2
        assert tree() == before


@pytest.mark.parametrize("number", [1, 2])
def test_a_move_that_fails_gives_the_old_evidence_back(
    number: int, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Moving the old folder aside, or the new one in its place, is refused: all is as it was."""
    assert prove("small.yaml", "--evidence", "proof") == 1
    before = tree()
    moves = []
    replace = Path.replace

    def refusing(self: Path, target: Path) -> Path:
        moves.append(target)
        if len(moves) == number:
            raise OSError(16, "Device or resource busy")
        return replace(self, target)

    monkeypatch.setattr(Path, "replace", refusing)
    assert prove("small.yaml", "--evidence", "proof", *HOLDING) == 2
    assert tree() == before


def test_a_file_that_comes_while_evidence_is_replaced_is_kept(monkeypatch: pytest.MonkeyPatch) -> None:
    """Put into the folder after it was looked at, before it is moved: the folder stays, with that file."""
    assert prove("small.yaml", "--evidence", "proof") == 1
    replace = Path.replace

    def late(self: Path, target: Path) -> Path:
        if self == Path("proof"):
            Path("proof/notes.txt").write_text("years of work")
        return replace(self, target)

    monkeypatch.setattr(Path, "replace", late)
    assert prove("small.yaml", "--evidence", "proof") == 2
    assert Path("proof/notes.txt").read_text() == "years of work"
    assert [path.name for path in Path().iterdir() if path.name.startswith(".evidence")] == []
