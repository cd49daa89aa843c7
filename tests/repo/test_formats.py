"""The table of output formats is the truth: what `--format` offers, and what each format holds."""

from __future__ import annotations

import json
import re
from collections import Counter
from html import unescape
from pathlib import Path
from xml.etree import ElementTree

import click
import pytest
import yaml

from interlock import cli
from interlock.cli.formats import FORMATS, Format
from interlock.report.views.assumptions import CAUTIONS, IN_SHORT
from tests.golden.small_hold import CATALOGUE, REQUIREMENTS, TEXT
from tests.golden.wired_hold import WIRED, WIRED_ASKED, WIRES_FAIL
from tests.sarif import check_sarif
from tests.some import some, telling

pytestmark = pytest.mark.usefixtures("done_once")

CALLS = {
    "prove": "prove small.yaml --no-standing --requirements asked.yaml --method enumeration --only bay-filled",
    "failures": "failures small.yaml --no-standing --requirements asked.yaml --only latched-when-locked"
    " --catalogue known.yaml",
    "contacts": "contacts wired.yaml --no-standing --requirements wired-asked.yaml",
    "audit": "audit demo:procedures/single-lane-load --no-interlock --no-slips",
    "checklist": "checklist demo:single-lane --goal",
    "compare": "compare small.yaml small.yaml --no-verdicts",
    "family": "family small.yaml --no-standing --requirements asked.yaml --only latched-when-locked",
    "defer": "defer small.yaml SL=lowered --no-standing --requirements asked.yaml --only latched-when-locked",
    "repair": "repair wired-flawed.yaml --no-standing --requirements wired-asked.yaml --only powered-drives",
    "fleet": "fleet fleet.csv --no-standing --requirements asked.yaml --only latched-when-locked --workers 1",
    "test": "test wired.yaml --no-standing --requirements wired-asked.yaml --catalogue wires.yaml",
    "teach": "teach small.yaml",
    "questions": "questions demo:single-lane --load 4C=HALF",
    "draw plan": "draw small.yaml",
    "draw moves": "draw small.yaml --what moves",
    "draw kind": "draw --what relay",
    "draw states": "draw small.yaml --what states",
    "describe": "describe small.yaml",
}

SHORT = {
    "prove": "prove small.yaml --no-standing --requirements asked.yaml --method enumeration --quiet",
    "fleet": CALLS["fleet"] + " --quiet",
}
"""What says less with `--quiet`, and how to call it so that it says anything."""
PLAIN = {
    "walk": ("walk small.yaml --do 1",),
    "requirements": ("requirements", "requirements --verbose"),
    "explain": ("explain no-drive-under-a-person",),
}
"""Commands with a form of their own, and how to call them."""
NOBODY_ACTS_UPON = {
    "draw kind": "what some kind of thing can do, of no hold",
    "count": "how many states there are",
    "schema": "for programs that check files",
    "edit-server": "speaks to an editor about the text that somebody is writing",
}

TEMPLATE = re.compile(r"\{[bdklpsz]\}")
"""A place in a requirement as it is written, before the things that it is about are named; scripts have none such."""


@pytest.fixture(autouse=True)
def in_a_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Every test works in a folder with the small hold and its requirements; nothing needs to be installed to draw."""
    monkeypatch.chdir(tmp_path)
    Path("small.yaml").write_text(TEXT)
    Path("asked.yaml").write_text(REQUIREMENTS)
    Path("known.yaml").write_text(CATALOGUE)
    Path("wired.yaml").write_text(WIRED)
    Path("wired-flawed.yaml").write_text(WIRED.replace("GP is on and door_open", "door_open"))
    Path("fleet.csv").write_text("tail,hold\nZZ-AAA,small.yaml\n")
    Path("wired-asked.yaml").write_text(WIRED_ASKED)
    Path("wires.yaml").write_text(WIRES_FAIL)
    monkeypatch.setattr("interlock.cli.rendering.render_dot", lambda source: b"<svg/>")


def call_of(shows: str) -> list[str]:
    """The command line that shows it."""
    return [*CALLS[shows].split(), *(["KEY is on"] if shows == "checklist" else [])]


def first_of_each() -> list[str]:
    """Rows by name, such that each command is among them and each format."""
    rows: list[Format] = []
    for row in FORMATS:
        if row.shows not in {one.shows for one in rows} or row.name not in {one.name for one in rows}:
            rows.append(row)
    return [f"{row.shows} {row.name}" for row in rows]


@pytest.mark.parametrize(
    "row", telling((pytest.param(row, id=f"{row.shows} {row.name}") for row in FORMATS), *first_of_each())
)
def test_each_format_is_taken_by_name_and_by_file(row: Format, capsys: pytest.CaptureFixture[str]) -> None:
    """Named on the command line, or by the ending of the file, it holds what that promises, the same both times."""
    Path("named").unlink(missing_ok=True)
    assert cli.run([*call_of(row.shows), "--format", row.name, "--output", "named"]) == 0
    assert cli.run([*call_of(row.shows), "--output", f"by-ending{row.suffix}"]) == 0
    named, by_ending = Path("named").read_text(encoding="utf-8"), Path(f"by-ending{row.suffix}").read_text()
    if row.name != "text":  # which says how long it took
        assert named == by_ending
    assert by_ending.endswith("\n")
    assert row.shows in NOBODY_ACTS_UPON or row.drawn or says_what_governs(by_ending)
    assert TEMPLATE.findall(by_ending) == [], "a requirement is told with its variables"
    match row.suffix:
        case ".json":
            assert json.loads(by_ending)["exit_code"] == 0
        case ".sarif":
            check_sarif(json.loads(by_ending))
            assert json.loads(by_ending)["runs"][0]["invocations"][0]["exitCode"] == 0
        case ".xml":
            assert ElementTree.fromstring(by_ending).get("failures") == "0"  # noqa: S314 -- our own text
        case ".svg":
            assert ElementTree.fromstring(by_ending).tag.endswith("svg")  # noqa: S314 -- our own text
        case ".yaml":
            known = yaml.safe_load(by_ending)
            assert known.get("hold", known.get("modifies")) in ("demo:single-lane", "wired-flawed.yaml", "small.yaml")
        case ".html":
            assert by_ending.lower().startswith("<!doctype html>")
        case ".dot":
            assert by_ending.startswith("digraph")


def says_what_governs(text: str) -> bool:
    """That approved data and the operator's loading instructions come first stands in it, whatever its lines are."""
    flat = " ".join(re.sub(r"</text>\s*<text[^>]*>|\n#|\\\\n", " ", unescape(text)).split())
    return IN_SHORT in flat or CAUTIONS[0] in flat


@pytest.mark.parametrize("call", [*(one for calls in PLAIN.values() for one in calls), *SHORT.values()])
def test_what_has_no_format_says_what_governs(call: str, capsys: pytest.CaptureFixture[str]) -> None:
    """Whatever somebody could act upon carries the caution, however short it is."""
    assert cli.run(call.split()) in (0, 1)
    shown = capsys.readouterr().out
    assert says_what_governs(shown)
    assert TEMPLATE.findall(shown) == []


def test_no_command_is_forgotten() -> None:
    """A new command is among those that carry the caution, or says why nobody acts upon what it shows."""
    kinds = {*CALLS, *PLAIN, *NOBODY_ACTS_UPON}
    assert {kind.split()[0] for kind in kinds} == set(cli.COMMANDS)
    assert not {*CALLS, *PLAIN} & set(NOBODY_ACTS_UPON) - {"draw kind"}
    with click.Context(cli.commands) as context:
        quiet = {
            name
            for name in some(cli.COMMANDS)
            for param in getattr(cli.commands.get_command(context, name), "params", ())
            if "--quiet" in param.opts
        }
    assert quiet == set(SHORT)


def test_the_table_has_no_two_of_one_name_or_ending() -> None:
    """What a command shows can be asked for in one way only."""
    assert set(CALLS) == {row.shows for row in FORMATS}
    for of in (lambda row: (row.shows, row.name), lambda row: (row.shows, row.suffix)):
        assert max(Counter(map(of, FORMATS)).values()) == 1


def test_every_choice_of_format_comes_from_the_table() -> None:
    """No command spells its own."""
    with click.Context(cli.commands) as context:
        for name in some(cli.COMMANDS):
            command = cli.commands.get_command(context, name)
            assert command is not None
            offered = [
                p.type.choices for p in command.params if p.name == "layout" and isinstance(p.type, click.Choice)
            ]
            table = list(dict.fromkeys(row.name for row in FORMATS if row.shows.split()[0] == name))
            assert [list(choices) for choices in offered] == ([table] if table else [])


def test_what_is_not_in_the_table_is_refused(capsys: pytest.CaptureFixture[str]) -> None:
    """The plan is no graph: told with what there is."""
    assert cli.run([*call_of("draw plan"), "--format", "mermaid"]) == 2
    assert "--format mermaid: there is only svg of this." in capsys.readouterr().err
