"""What `prove` leaves for later proofs: where, when, and that nothing but time depends on it."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from hashlib import sha256
from pathlib import Path

import pytest

from interlock import cli
from interlock.cli import cache
from interlock.cli.cache import keys_of
from tests.some import some

HOLD = "demo:single-lane"


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder for it, not made yet."""
    made = tmp_path / "cache" / "interlock"
    monkeypatch.setattr(cache, "_folder", lambda: made)
    return made


def _shown(capsys: pytest.CaptureFixture[str], *args: str) -> str:
    """What is written on both streams, without the time that it took."""
    cli.run(("prove", HOLD, *args))
    streams = capsys.readouterr()
    return re.sub(r"(?: in|, after) [0-9.]+ s\b", "", streams.out) + streams.err


def test_a_later_proof_says_the_same(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Without, with nothing yet, with what is left and with what is damaged the output is one; damage is mended."""
    plain = _shown(capsys, "--verbose", "--no-cache")
    assert not folder.exists()
    assert _shown(capsys, "--verbose") == plain
    (left,) = folder.iterdir()
    content = left.read_bytes()
    assert _shown(capsys, "--verbose") == plain
    assert left.read_bytes() == content
    left.write_bytes(content[: len(content) // 2])
    assert _shown(capsys, "--verbose") == plain
    assert left.read_bytes() == content
    assert [left] == list(folder.iterdir())


@pytest.mark.thorough
def test_evidence_does_not_depend_on_what_was_proved_before(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The files are byte for byte those that are written where nothing was left."""
    digests = []
    for name in ("first", "second"):
        _shown(capsys, "--evidence", str(tmp_path / name))
        files = some(sorted(path for path in (tmp_path / name).rglob("*") if path.is_file()))
        digests.append([(path.relative_to(tmp_path / name), sha256(path.read_bytes()).digest()) for path in files])
        assert list(folder.iterdir())
    assert digests[0] == digests[1]


def test_a_proof_loads_what_it_needs() -> None:
    """Of a hold that is sound no library and no study is loaded that has to do with something else."""
    others = "numpy networkx graphviz jinja2 rich dd interlock.prove.diagrams interlock.prove.search.arrays"
    ours = "procedure checklist walk causes.causes causes.trials why_never proof_cores"
    program = (
        "import sys\nfrom interlock import cli\n"
        f"assert cli.run(('prove', '{HOLD}', '--no-cache')) == 0\n"
        f"names = '{others}'.split() + ['interlock.study.' + one for one in '{ours}'.split()]\n"
        "print([name for name in names if name in sys.modules])\n"
    )
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
    assert done.stdout.splitlines()[-1] == "[]"


def test_a_folder_that_cannot_be_is_passed_over(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Where a file stands in the folder's place nothing is said and nothing is different."""
    folder.parent.parent.joinpath("cache").write_text("in the way")
    asked = ("--only", "locked-only-latched")
    assert _shown(capsys, *asked) == _shown(capsys, *asked, "--no-cache")
    assert _shown(capsys) == _shown(capsys, "--no-cache")


def test_part_of_the_requirements_leaves_nothing(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A proof of some requirements knows less than one of all: it does not take its place."""
    _shown(capsys, "--only", "locked-only-latched")
    assert not folder.exists()


def test_a_hold_is_known_by_what_it_says() -> None:
    """Names of files do not count, what stands in them does, and a hold is known by its base as well as by its own."""
    base = {"b.yaml": ("interlock: 1", "title: base")}
    over = {"a.yaml": ("interlock: 1", "modifies: b.yaml"), **base}
    own, of_base = keys_of(over, None)
    assert (of_base,) == keys_of(base, None)
    assert keys_of({"c.yaml": over["a.yaml"], "d.yaml": base["b.yaml"]}, None) == (own, of_base)
    others = [keys_of(over, "loaded"), keys_of({**over, "b.yaml": ("interlock: 1", "title: other")}, None)]
    assert all({own, of_base}.isdisjoint(other) for other in others)
    assert keys_of({"b.yaml": ("interlock: 1\ntitle: base",)}, None) != keys_of({"b.yaml": ("interlock: 1", "")}, None)


def test_what_was_left_longest_ago_goes(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Of more files than may be the oldest are removed."""
    from interlock.prove.invariants.lemmas import Remembered

    monkeypatch.setattr(cache, "MOST_FILES", 3)
    for number in range(6):
        cache.leave(f"{number}", Remembered())
        for path in folder.iterdir():
            status = path.stat()
            os.utime(path, (status.st_atime - 10, status.st_mtime - 10))
    assert sorted(path.stem for path in folder.iterdir()) == ["3", "4", "5"]
