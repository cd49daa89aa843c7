"""README and DEVELOPERS tell the truth: what they show is run, what they name exists, what exists they name."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import click
import pytest

from interlock import cli
from interlock.__main__ import SIGNALS
from interlock.cli import COMMANDS, exit_codes
from interlock.diagnostics.codes import CODES
from interlock.hold.language.model import Hold, RequirementText, Specification
from interlock.hold.loader import Source, load_specification
from interlock.hold.overlay.changes import CHANGES, Modification
from interlock.hold.procedure.model import Procedure
from interlock.report.views.requirements import sentence_of_all
from interlock.study.procedure.audit import Overall
from interlock.study.verify import Status

ROOT = Path(__file__).parents[2]
README = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
BETWEEN = "\x1e"
"""Printed between the outputs of two commands of one block."""


def blocks(text: str, language: str) -> list[str]:
    """The fenced blocks of that language, in order."""
    return re.findall(rf"^```{language}\n(.*?)^```$", text, re.MULTILINE | re.DOTALL)


def shown(block: str) -> list[tuple[str, list[str]]]:
    """The commands of a console block, each with the lines of output shown below it."""
    found: list[tuple[str, list[str]]] = []
    for line in block.splitlines():
        if line.startswith("$ "):
            found.append((line.removeprefix("$ "), []))
        else:
            found[-1][1].append(line)
    return found


def plain(line: str) -> str:
    """The line without what differs from run to run: how long it took, and blanks at its end."""
    return re.sub(r"\bin \d+\.\d s\b", "in * s", line).rstrip()


def as_pattern(lines: list[str]) -> str:
    """A line `...` stands for any number of lines; `...` within a line for any text."""
    parts = [
        r"(?:.*\n)*?" if line == "..." else re.escape(plain(line)).replace(r"\.\.\.", ".*") + "\n" for line in lines
    ]
    return "".join(parts)


def run_block(commands: list[str], folder: Path) -> list[list[str]]:
    """The lines that each command prints, all run in one shell, one after another."""
    script = ['interlock() { "$PYTHON" -m interlock "$@"; }']
    for command in commands:
        script += [command, "status=$?", f"printf '{BETWEEN}'", "(exit $status)"]
    done = subprocess.run(
        ["bash", "-c", "\n".join(script)],
        cwd=folder,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        stdin=subprocess.DEVNULL,
        text=True,
        timeout=300,
        env={
            **os.environ,
            "PYTHON": sys.executable,
            "PYTHONPATH": str(ROOT),
            "PATH": f"{Path(sys.executable).parent}{os.pathsep}{os.environ['PATH']}",
            "COLUMNS": "80",
            "NO_COLOR": "1",
        },
    )
    return [[plain(line) for line in part.splitlines()] for part in done.stdout.split(BETWEEN)[:-1]]


CONSOLE = blocks(README, "console") + blocks(DEVELOPERS, "console")


@pytest.mark.parametrize("block", CONSOLE, ids=[shown(block)[0][0][:60] for block in CONSOLE])
def test_shown_commands_print_what_is_shown(block: str, tmp_path: Path) -> None:
    """Every command of a console block is run, and what it prints is what stands below it, elisions aside."""
    for name in ("models", "specs"):
        (tmp_path / name).symlink_to(ROOT / name)
    wanted = shown(block)
    printed = run_block([command for command, _ in wanted], tmp_path)
    assert len(printed) == len(wanted), printed
    for (command, lines), output in zip(wanted, printed, strict=True):
        text = "".join(line + "\n" for line in output)
        assert re.fullmatch(as_pattern(lines), text), f"$ {command}\n{text}"


def test_elision_hides_only_what_it_stands_for() -> None:
    """The comparison is no rubber stamp: a changed, missing or added line is noticed, an elided one is not."""
    output = "one\ntwo\n3 hold in * s\n"
    assert re.fullmatch(as_pattern(["one", "...", "3 hold in 0.1 s"]), output)
    assert re.fullmatch(as_pattern(["o...", "two", "3 hold in 9.9 s"]), output)
    for lines in (["one", "3 hold in 0.1 s"], ["one", "...", "4 hold in 0.1 s"], ["one", "two"], ["two", "..."]):
        assert not re.fullmatch(as_pattern(lines), output)


def test_there_is_a_worked_example() -> None:
    """The README shows a description, the command and a counterexample with its exit code."""
    commands = [command for block in blocks(README, "console") for command, _ in shown(block)]
    assert any(command.startswith("cat models/") for command in commands)
    assert any(command.startswith("interlock prove models/flawed/") for command in commands)
    assert "echo $?" in commands
    assert "Step by step" in README


# ---- commands, options, codes ------------------------------------------------------------------------------------


def code_of(text: str) -> Iterator[str]:
    """What stands as code in the text: fenced lines and spans."""
    for block in re.findall(r"^```\w*\n(.*?)^```$", text, re.MULTILINE | re.DOTALL):
        yield from block.splitlines()
    yield from re.findall(r"`([^`\n]+)`", re.sub(r"^```\w*\n.*?^```$", "", text, flags=re.MULTILINE | re.DOTALL))


def named_calls(text: str) -> list[tuple[str, list[str]]]:
    """Every call of the program in the text: (command, its options)."""
    found = []
    for line in code_of(text):
        for call in re.findall(r"(?:^|[\s&|;(])interlock ([a-z]+\b[^&|;]*)", line):
            command, *rest = call.split()
            found.append((command, [word.split("=")[0] for word in rest if re.match(r"--?[a-z]", word)]))
    return found


def options_of(command: str) -> set[str]:
    """The options of a command of the program, long and short."""
    made = cli.commands.get_command(click.Context(cli.commands), command)
    assert made is not None
    return {name for param in made.params for name in (*param.opts, *param.secondary_opts)} | {"--help", "-h"}


def test_every_command_named_exists() -> None:
    """Each call in README and DEVELOPERS uses a command and options that the program has."""
    calls = named_calls(README) + named_calls(DEVELOPERS)
    assert len(calls) > 10
    for command, options in calls:
        assert command in COMMANDS, f"interlock {command}"
        assert set(options) <= options_of(command), f"interlock {command} {options}"


def test_every_command_is_in_the_readme_with_an_example() -> None:
    """The table of commands has a row, with a call, for each command of the program and for nothing else."""
    rows = re.findall(r"^\| `([\w-]+)` \|[^|]+\| `interlock ([\w-]+)[^`]*` \|$", README, re.MULTILINE)
    assert [name for name, _ in rows] == list(COMMANDS)
    assert all(name == called for name, called in rows)


def test_options_named_in_prose_exist() -> None:
    """Every option that the README names in backquotes belongs to some command."""
    known = {option for command in COMMANDS for option in options_of(command)}
    prose = re.sub(r"^```\w*\n.*?^```$", "", README, flags=re.MULTILINE | re.DOTALL)
    named = {word for span in re.findall(r"`(--?[a-z][^`]*)`", prose) for word in span.split() if word.startswith("-")}
    assert named and named <= known


def test_exit_codes_are_those_of_the_program() -> None:
    """The README's table of exit codes has exactly the codes that the program ends with."""
    rows = re.findall(r"^\| ([\d, ]+) \|", README, re.MULTILINE)
    documented = [int(code) for row in rows for code in row.split(", ")]
    used = {value for name, value in vars(exit_codes).items() if name.isupper() and isinstance(value, int)}
    assert used == set(documented) and len(used) == len(documented)
    assert {128 + number for number in SIGNALS} == {exit_codes.STOPPED, exit_codes.ENDED}
    assert {exit_codes.code_of_status(status) for status in Status} == {0, 1, 3, 4}
    assert {exit_codes.code_of_audit(overall) for overall in Overall} == {0, 1, 3, 4}
    order = re.search(r"gravest counts: ((?:\d before )+\d)", README)
    assert order is not None
    ranks = [int(code) for code in order[1].split(" before ")]
    for at, graver in enumerate(ranks):
        assert all(exit_codes.worst_code([milder, graver]) == graver for milder in ranks[at:])


@pytest.mark.parametrize("code", sorted(CODES))
def test_explanation_of_a_code_is_whole(code: str, capsys: pytest.CaptureFixture[str]) -> None:
    """`interlock explain` gives the whole paragraph of a code, and both of its examples where they can be printed."""
    assert cli.run(["explain", code]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert CODES[code].about in said


# ---- the description language ------------------------------------------------------------------------------------


def test_every_section_is_in_the_readme() -> None:
    """The table of sections has all keys of a description, in their order; all changes and files are named too."""
    table = README.partition("| section |")[2].partition("\n\n")[0]
    rows = [
        name for cell in re.findall(r"^\| (`[^|]+) \|", table, re.MULTILINE) for name in re.findall(r"`(\w+)`", cell)
    ]
    assert rows == Hold.declaration.keys
    files = (Hold, Modification, Specification, Procedure)
    for name in (*CHANGES, *(key for file in files for key in file.declaration.keys)):
        assert f"`{name}" in README, name


def test_models_named_exist() -> None:
    """Every path of the tree that README or DEVELOPERS names is there."""
    paths = set(re.findall(r"`((?:models|specs|tests|diagrams|interlock|\.ci)/[\w./-]*)`", README + DEVELOPERS))
    assert len(paths) > 15
    assert [path for path in sorted(paths) if not (ROOT / path).exists()] == []


def standing() -> tuple[RequirementText, ...]:
    """The standing requirements."""
    path = ROOT / "specs" / "standing.yaml"
    loaded = load_specification(Source(path.name, path.read_bytes()))
    assert loaded.value is not None
    return loaded.value


def standing_table() -> str:
    """The table of the README, from the specification."""
    rows = ["| id | requirement | sev. | source |", "|---|---|---|---|"]
    rows += [f"| `{text.id}` | {sentence_of_all(text)} | {text.severity} | {text.source} |" for text in standing()]
    return "\n".join(rows) + "\n"


def test_standing_requirements_are_listed() -> None:
    """The README's table is the one that the specification gives."""
    found = re.search(r"<!-- standing: [^\n]*-->\n(.*?)<!-- /standing -->", README, re.DOTALL)
    assert found is not None
    assert found[1] == standing_table(), "out of date; put this between the marks of README.md:\n" + standing_table()


def test_standing_requirements_carry_what_they_must() -> None:
    """Each has a unique kebab-case id, a hazard, a source, and a category 1 to 4 of the one scheme used."""
    texts = standing()
    assert len({text.id for text in texts}) == len(texts) > 20
    for text in texts:
        assert re.fullmatch(r"[a-z]+(-[a-z]+)+", text.id)
        assert text.severity in ("1", "2", "3", "4"), text.id
        assert text.scheme == "MIL-STD-882E", text.id
        assert len(text.hazard) > 5, text.id
        assert "no source" in text.source or re.search(r"\d", text.source), text.id
        assert text.text[0].isupper() or text.text[0] == "{"
        assert not text.text.endswith(".")


# ---- both guides -------------------------------------------------------------------------------------------------


def test_readme_begins_with_the_job_and_two_commands() -> None:
    """One paragraph says what it is for; then come exactly two shell commands, each one line."""
    parts = README.split("\n\n")
    assert parts[0].startswith("# ")
    assert not parts[1].startswith(("#", "`", "-", "|"))
    assert parts[2].startswith("## ")
    commands = blocks(README, "sh")
    assert len(commands) == 2
    assert all(command.count("\n") == 1 for command in commands)
    assert "interlock prove" in commands[0]
    assert "pytest" in commands[1]


def test_readme_stays_readable() -> None:
    """It is under 300 lines."""
    assert README.count("\n") < 300


def test_continuous_check_runs_the_commands_of_the_readme() -> None:
    """The script takes both commands out of the README, so that they cannot drift apart, and bash can read it."""
    script = ROOT / ".ci" / "run"
    assert os.access(script, os.X_OK)
    assert shutil.which("bash")
    subprocess.run(["bash", "-n", str(script)], check=True)
    taken = subprocess.run(
        ["bash", str(script), "--show-commands"], check=True, capture_output=True, text=True, cwd=ROOT
    ).stdout
    assert taken.splitlines() == [command.strip() for command in blocks(README, "sh")]
