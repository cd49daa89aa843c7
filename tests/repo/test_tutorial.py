"""The tutorial is true: its files are written, its commands run one after another, and print what stands there."""

from __future__ import annotations

import re
import subprocess
from pathlib import Path

import pytest

from interlock.cli import run
from tests.repo.test_readme import as_pattern, plain, shown

pytestmark = pytest.mark.usefixtures("done_once")
TUTORIAL = (Path(__file__).parents[2] / "models" / "README.md").read_text(encoding="utf-8")
BLOCK = re.compile(r"^```(\w+)(?: (\+?)(\S+?))?(?: from (\S+))?\n(.*?)^```$", re.MULTILINE | re.DOTALL)
"""A fenced block, its language, and the file that it is: `+` is added to it, `from KEY` takes the place of its end."""


def written(before: str, mark: str, key: str | None, text: str) -> str:
    """What a file says after a block of the tutorial that names it."""
    if key is not None:
        kept, found, _ = before.partition(f"\n{key}\n")
        assert found, f"no line {key!r}"
        return f"{kept}\n{text}"
    return before + text if mark else text


class Terminal:
    """Somebody who types one command after another; ours run in this process, which loads its libraries once."""

    def __init__(self, capsys: pytest.CaptureFixture[str]) -> None:
        self._capsys = capsys
        self._code = 0

    def types(self, command: str) -> str:
        """What the command prints."""
        if command == "echo $?":
            return f"{self._code}\n"
        if not command.startswith("interlock "):
            return subprocess.run(["bash", "-c", command], capture_output=True, text=True, check=True).stdout
        self._capsys.readouterr()
        self._code = run(command.split()[1:])
        printed = self._capsys.readouterr()
        return printed.out + printed.err


def test_every_command_prints_what_is_shown(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """From an empty file to the page, in one folder, in the order of the tutorial."""
    monkeypatch.chdir(tmp_path)
    terminal = Terminal(capsys)
    ran = 0
    for language, mark, name, key, text in BLOCK.findall(TUTORIAL):
        if name:
            file = tmp_path / name
            before = file.read_text(encoding="utf-8") if file.exists() else ""
            file.write_text(written(before, mark, key or None, text), encoding="utf-8")
            continue
        assert language == "console", text
        for command, lines in shown(text):
            ran += 1
            told = "".join(plain(line) + "\n" for line in terminal.types(command).splitlines())
            assert re.fullmatch(as_pattern(lines), told), f"$ {command}\n{told}"
    assert ran > 20
    for page in ("proof.html", "checklist.html"):
        assert "<h2>Signatures</h2>" in (tmp_path / page).read_text(encoding="utf-8")


def test_a_beginner_meets_each_sort_of_message() -> None:
    """Faults of files by their codes, of the command line, verdicts, findings, cautions."""
    codes = set(re.findall(r"error\[([a-z-]+)\]", TUTORIAL))
    assert codes == {
        "empty-file",
        "not-yaml",
        "missing-field",
        "unknown-field",
        "unknown-name",
        "unknown-state",
        "start-not-settled",
        "unknown-action",
    }
    for told in ("Error: Cannot read", "FAILS", "LOOK AT FIRST", "WARNING:", "CAUTION", "WHAT THIS PROOF ASSUMES"):
        assert told in TUTORIAL
