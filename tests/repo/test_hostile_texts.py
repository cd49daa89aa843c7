"""Texts and file names made to deceive: no command shows one in a way that steers, reorders or breaks what is read.

Each command runs twice, on a hold whose texts are hostile and on the same with harmless texts.  Nothing hidden may come
out, and what a parser of the language finds in the two must have the same structure.
"""

from __future__ import annotations

import csv
import json
import re
import shutil
import subprocess
import unicodedata
from collections.abc import Callable, Sequence
from html.parser import HTMLParser
from pathlib import Path
from xml.etree import ElementTree

import pytest
import yaml
from markdown_it import MarkdownIt

from interlock import cli
from interlock.hold.loader import Source, load_procedure
from tests.agreement.hold_texts import hold_text
from tests.sarif import check_sarif
from tests.some import some, telling

pytestmark = pytest.mark.usefixtures("done_once")

SIGNS = (
    "\u202eeno\u202c \u2066two\u2069 a\u200bb\u200c\u200d\u2060\u00ad\u034f\u3164 ~~s~~ ~~~ ``` `c` | "
    "[l](http://e.example) ![i](x) <b>t</b> </title></svg><script>x</script> <!-- &amp; &#60; *e* _u_ # $x$ "
    "\\N \\\" ' ]]> www.e.example http://e.example a@e.example {{ 7*7 }} {% x %} <x \U000e0041"
)
PLAIN = re.sub(r"\S", "x", SIGNS)
STARTS = ("- ", "1. ", "# ", "> ", "+ ", "=== ", "--- ", "~~~ ", "    ", "| ")
"""What a block of Markdown begins with; the texts take turns."""
FILES = {"hostile": "h\x1b[31m\x9b\u202e~~x~~`|<b>", "harmless": "harmless"}
BASE = hold_text(
    rows=2,
    ball_mat="[1C]",
    hand_work="D1 is open",
    pushing="D1 is open",
    units="- {id: HALF, name: half container, across: 1, along: 1}",
    doorways="""\
- {id: D1, name: side door, bays: 1C, side: left, moved_by: hand, opens: cargo_power, closes: shut_permit,
   latch: {by: hand, when: always}, unlatch: {by: hand, when: D1 is unlocked}, lock: {by: hand, when: D1 is latched},
   unlock: {by: hand, when: always}, path: [], starts: [closed, latched, locked]}""",
    devices="""\
- {id: FS, kind: fixed stop, on: 1C.fore, stops: [fore], restrains: [x]}
- {id: AS, kind: fixed stop, on: 2C.aft, stops: [aft], restrains: [x]}
- {id: RG, kind: fixed guide, on: [1C.right, 2C.right], stops: [right], restrains: [y]}
- {id: LG, kind: fixed guide, on: 2C.left, stops: [left], restrains: [y]}
- {id: SL, name: sill latch, kind: manual latch, on: 1C.left, stops: [left, right], restrains: [y], locking: raised,
   starts: raised}
- {id: ML, name: mid latch, kind: manual latch, on: 1C.aft, stops: [fore, aft], restrains: [x], locking: raised,
   starts: lowered}
- {id: MB, name: second latch, kind: manual latch, on: 1C.aft, stops: [fore, aft], restrains: [x], locking: raised,
   starts: lowered}""",
    rest="""\
controls:
  - {id: KEY, name: power key, kind: switch, positions: [off, on], starts: off}
  - {id: LV, name: lane lever, kind: lever, positions: [fore, aft]}
stations:
  - {id: ST, name: door station, controls: [KEY, LV], owns: always}
supplies:
  - {id: GP, name: ground power, starts: [off, on], may_be_lost: true}
sensors:
  - {id: sill_covered, name: sill beam, reads: D1 is sill_covered}
  - {id: at1, name: presence switch, reads: 1C is occupied}
relays:
  - {id: armed, name: fresh command relay, sets: cargo_power and LV is neutral, drops: not cargo_power}
circuits:
  - {id: cargo_power, name: cargo power, use: power, is: GP is on and KEY is on}
  - {id: at_rest, name: nothing on its way, use: logic, is: not sill_covered and not ML is covered}
  - {id: shut_permit, name: door catch, use: permit, is: at_rest and SL is raised and ML is raised and KEY is off}
  - {id: shown, name: lamp of the bay, use: indication, is: at1}
zones:
  - {id: Z, name: lane, bays: [1C, 2C], power: "false", inhibits: {aft: ML is raised},
     commands: [{station: ST, fore: LV is fore, aft: LV is aft}]}
places:
  - {id: at_door, name: outside, bay: outside, reaches: [SL, ML, MB]}
  - {id: in_bay, name: in bay 1C, bay: 1C, reaches: [ML]}
people:
  - {id: P1, name: the loader hand, places: [at_door, in_bay], starts: at_door, moves: "false"}
""",
)
"""A hold with a thing of every sort, in which nothing fails."""
COLOURS = re.compile(r"\x1b\[[0-9;]*m")


def texts(sort: str) -> Callable[[], str]:
    """Calls give one text after the other, of the sort wanted."""
    count = 0

    def text() -> str:
        nonlocal count
        count += 1
        place = count % len(STARTS)
        # a harmless text begins with a letter of its own too: sentences that differ in a number alone are told as one
        return f"{STARTS[place]}{SIGNS} {count}" if sort == "hostile" else f"{'abcdefghij'[place]} {PLAIN} {count}"

    return text


def write_files(folder: Path, sort: str) -> dict[str, str]:
    """A modification of a demonstration, requirements and a procedure, every text in them of one sort; their names."""
    text = texts(sort)
    stem = FILES[sort]
    # no control can stand in a file that names another
    hold_file = f"{stem}-hold.yaml".replace("\x1b", "").replace("\x9b", "")
    base = yaml.load(BASE, yaml.BaseLoader)  # noqa: S506 -- texts only, our own
    named = [one for items in base.values() if isinstance(items, list) for one in items]
    assert len(named) > 10
    base.update(title=text(), about=text())
    for one in named:
        one["name"] = text()
    Path(folder, f"base-{sort}.yaml").write_text(yaml.safe_dump(base, allow_unicode=True, sort_keys=False))
    requirement = {
        "text": text(),
        "hazard": text(),
        "severity": text(),
        "scheme": text(),
        "source": text(),
        "kind": "never",
    }
    deferral = {"defer": "MB", "in": "lowered", "because": text(), "limit": "2C is empty"}
    own = {"id": "own", **requirement, "condition": "D1 is latched and D1 is open"}
    changes = [deferral, {"add": {"requirements": [own]}}]
    hold = {"interlock": "1", "title": text(), "about": text(), "modifies": f"base-{sort}.yaml", "changes": changes}
    asked = {
        "interlock": "1",
        "specification": text(),
        "about": text(),
        "requirements": [{"id": "given", **requirement, "condition": "KEY is on"}],
    }
    steps = [{"group": text(), "note": text(), "steps": [{"do": "set KEY to on", "note": text()}]}, "check KEY is on"]
    procedure = {
        "interlock": "1",
        "procedure": text(),
        "about": text(),
        "hold": hold_file,
        "goal": "KEY is on",
        "steps": steps,
    }
    tails = [{"tail": text()[-40:], "hold": hold_file, "deferrals": ["AS=broken"] * deferred} for deferred in (0, 1)]
    fleet = {"interlock": "1", "fleet": text(), "about": text(), "aircraft": tails}
    written = {}
    for name, content in (("hold", hold), ("asked", asked), ("procedure", procedure), ("fleet", fleet)):
        written[name.upper()] = f"{stem}-{name}.yaml" if name != "hold" else hold_file
        Path(folder, written[name.upper()]).write_text(yaml.safe_dump(content, allow_unicode=True, sort_keys=False))
    return written


def hidden_in(text: str) -> set[str]:
    """Characters that are not seen: written again here, from the categories of Unicode."""
    return {
        sign
        for sign in text
        if sign not in "\n\t"
        and (unicodedata.category(sign) in ("Cc", "Cf", "Cn", "Co", "Cs", "Zl", "Zp") or sign in "\u034f\u3164\ufe0f")
    }


class Structure(HTMLParser):
    """The tags of a page, in order, with the names of their attributes."""

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.found: list[object] = []
        self.text = ""

    def handle_starttag(self, tag: str, attrs: Sequence[tuple[str, str | None]]) -> None:
        """Notes it."""
        self.found.append((tag, tuple(name for name, _ in attrs)))

    def handle_endtag(self, tag: str) -> None:
        """Notes it."""
        self.found.append(f"/{tag}")

    def handle_comment(self, data: str) -> None:
        """Notes it."""
        self.found.append("comment")

    def handle_data(self, data: str) -> None:
        """Keeps what is read."""
        self.text += data


def structure_of(text: str, language: str) -> object:
    """What a parser of the language makes of a text, but for the words."""
    if language == "html":
        page = Structure()
        page.feed(text)
        page.close()
        # how many lines a heading of a drawing takes goes by its letters
        return [one for one in page.found if one != "/text" and not (isinstance(one, tuple) and one[0] == "text")]
    if language == "markdown":
        tokens = MarkdownIt("commonmark").enable(["table", "strikethrough"]).parse(text)
        return [(token.type, token.level, [child.type for child in token.children or ()]) for token in tokens]
    if language == "csv":
        return [len(row) for row in csv.reader(text.splitlines())]
    if language in ("svg", "junit", "graphml", "scxml"):
        return drawn_in(text, "text")
    if language == "sarif":
        check_sarif(json.loads(text))
    if language in ("json", "sarif"):
        return shape_of(json.loads(text))
    if language == "yaml" and (made := yaml.safe_load(text) or {}).keys().isdisjoint({"procedure"}):
        return shape_of(made)
    if language == "yaml":
        loaded = load_procedure(Source("made.yaml", text.encode()))
        assert loaded.value is not None, loaded.diagnostics
        return [action.text for action in loaded.value.steps.actions]
    if language == "dot" and shutil.which("dot"):
        drawn = subprocess.run(["dot", "-Tsvg"], input=text.encode(), capture_output=True, check=True).stdout
        return drawn_in(drawn.decode(), "text")
    return None


def drawn_in(text: str, but: str) -> list[str]:
    """The elements of a drawing, in order, but for one sort of them."""
    return [one.tag for one in ElementTree.fromstring(text).iter() if not one.tag.endswith(but)]  # noqa: S314 -- ours


def shape_of(value: object) -> object:
    """The members of a JSON document, but for their values."""
    if isinstance(value, dict):
        return {key: shape_of(part) for key, part in value.items()}
    return [shape_of(part) for part in value] if isinstance(value, list) else type(value).__name__


LOAD = ("checklist", "HOLD", "--load", "1C=HALF", "--format")
AUDIT = ("audit", "PROCEDURE", "--requirements", "ASKED", "--no-interlock", "-v", "--format")
COMPARE = ("compare", "demo:single-lane", "HOLD", "--requirements", "ASKED", "--no-standing", "--format")
DEFER = ("defer", "HOLD", "AS", "--requirements", "ASKED", "--no-standing", "--format")
FLEET = ("fleet", "FLEET", "--requirements", "ASKED", "--no-standing", "--workers", "1", "--format")
FAILING = ("failures", "HOLD", "--requirements", "ASKED", "--only", "given", "--format")
# with all the time that it takes it is minutes, and what is told is made of the same texts
CONTACTS = ("contacts", "HOLD", "--no-standing", "--requirements", "ASKED", "--time", "0.001", "--format")
TEST = ("test", "HOLD", "--no-standing", "--requirements", "ASKED", "--format")
# all that fails is of these two, and only the former can be mended
REPAIR = ("repair", "HOLD", "--no-standing", "--requirements", "ASKED", "--time", "5", "--format")
RUNS: dict[str, tuple[str, ...]] = {
    "prove text": ("prove", "HOLD", "--requirements", "ASKED", "-v", "--why", "--color", "always"),
    "prove json": ("prove", "HOLD", "--requirements", "ASKED", "--why", "--format", "json"),
    "prove html": ("prove", "HOLD", "--requirements", "ASKED", "--format", "html"),
    "prove sarif": ("prove", "HOLD", "--requirements", "ASKED", "--format", "sarif"),
    "prove junit": ("prove", "HOLD", "--requirements", "ASKED", "--format", "junit"),
    "failures text": (*FAILING, "text", "-v", "--runs", "1"),
    "failures json": (*FAILING, "json"),
    "failures markdown": (*FAILING, "markdown"),
    "failures csv": (*FAILING, "csv"),
    "failures html": (*FAILING, "html", "--runs", "1"),
    "failures sarif": (*FAILING, "sarif"),
    "failures junit": (*FAILING, "junit"),
    "compare text": (*COMPARE, "text", "-v"),
    "compare markdown": (*COMPARE, "markdown"),
    "compare html": (*COMPARE, "html"),
    "compare json": (*COMPARE, "json"),
    "compare sarif": (*COMPARE, "sarif"),
    "contacts text": (*CONTACTS, "text", "-v"),
    "contacts json": (*CONTACTS, "json"),
    "contacts html": (*CONTACTS, "html"),
    "contacts sarif": (*CONTACTS, "sarif"),
    "contacts junit": (*CONTACTS, "junit"),
    "family text": ("family", "HOLD", "--requirements", "ASKED", "--no-standing", "-v", "--runs", "1"),
    "family markdown": ("family", "HOLD", "--requirements", "ASKED", "--no-standing", "--format", "markdown"),
    "family html": ("family", "HOLD", "--requirements", "ASKED", "--no-standing", "--format", "html", "--runs", "2"),
    "family json": ("family", "HOLD", "--requirements", "ASKED", "--no-standing", "--format", "json"),
    "family sarif": ("family", "HOLD", "--requirements", "ASKED", "--no-standing", "--format", "sarif"),
    "family junit": ("family", "HOLD", "--requirements", "ASKED", "--no-standing", "--format", "junit"),
    "defer text": (*DEFER, "text", "-v", "--runs", "1"),
    "defer markdown": (*DEFER, "markdown"),
    "defer html": (*DEFER, "html"),
    "defer sarif": (*DEFER, "sarif"),
    "defer junit": (*DEFER, "junit"),
    "defer json": (*DEFER, "json"),
    "defer yaml": (*DEFER, "modification"),
    "repair text": (*REPAIR, "text", "-v", "--runs", "1"),
    "repair markdown": (*REPAIR, "markdown"),
    "repair html": (*REPAIR, "html"),
    "repair json": (*REPAIR, "json"),
    "repair yaml": (*REPAIR, "modification"),
    "fleet text": (*FLEET, "text", "-v", "--runs", "1"),
    "fleet csv": (*FLEET, "csv"),
    "fleet html": (*FLEET, "html"),
    "fleet sarif": (*FLEET, "sarif"),
    "fleet junit": (*FLEET, "junit"),
    "fleet json": (*FLEET, "json"),
    "test text": (*TEST, "text", "-v"),
    "test markdown": (*TEST, "markdown"),
    "test html": (*TEST, "html"),
    "test json": (*TEST, "json"),
    "audit text": (*AUDIT, "text"),
    "audit markdown": (*AUDIT, "markdown"),
    "audit html": (*AUDIT, "html"),
    "audit json": (*AUDIT, "json"),
    "audit sarif": (*AUDIT, "sarif"),
    "audit junit": (*AUDIT, "junit"),
    "questions html": ("questions", "HOLD", *LOAD[2:], "html"),
    "teach html": ("teach", "HOLD", "--requirements", "ASKED", "--no-standing", "--format", "html"),
    "checklist text": (*LOAD, "text", "-v"),
    "checklist markdown": (*LOAD, "markdown"),
    "checklist html": (*LOAD, "html"),
    "checklist json": (*LOAD, "json"),
    "checklist yaml": (*LOAD, "procedure"),
    "describe text": ("describe", "HOLD"),
    "describe json": ("describe", "HOLD", "--format", "json"),
    "draw svg": ("draw", "HOLD"),
    "draw dot": ("draw", "HOLD", "--what", "moves"),
    "draw graphml": ("draw", "HOLD", "--what", "states", "--depth", "1", "--format", "graphml"),
    "draw scxml": ("draw", "HOLD", "--what", "states", "--depth", "1", "--format", "scxml"),
    "count text": ("count", "HOLD", "--states", "100", "-v"),
    "walk text": ("walk", "HOLD", "--requirements", "ASKED", "--do", "1,1,1"),
    "requirements text": ("requirements", "ASKED", "-v"),
    "explain text": ("explain", "given", "--requirements", "ASKED"),
}
BY_DAY = (
    *("prove html", "failures json", "compare json", "contacts text", "family markdown", "defer html", "repair yaml"),
    *("fleet csv", "test markdown", "audit sarif", "audit junit", "questions html", "teach html", "checklist text"),
)
"""Each command in one format at least, each format of one command."""


@pytest.fixture
def files(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> dict[str, dict[str, str]]:
    """The files of both sorts, in the folder of the test."""
    monkeypatch.chdir(tmp_path)
    return {sort: write_files(tmp_path, sort) for sort in FILES}


def say(capsys: pytest.CaptureFixture[str], args: Sequence[str], names: dict[str, str]) -> tuple[int, str, str]:
    """Code, standard output and standard error of one call."""
    code = cli.run([names.get(arg, arg) for arg in args])
    out, err = capsys.readouterr()
    return code, COLOURS.sub("", out) if "--color" in args else out, err


@pytest.mark.parametrize("run", telling(RUNS, *BY_DAY))
def test_hostile_texts_are_texts(
    run: str, files: dict[str, dict[str, str]], capsys: pytest.CaptureFixture[str]
) -> None:
    """Nothing hidden comes out, and the structure is that of the same output with harmless texts."""
    language = run.split()[1]
    code, out, err = say(capsys, RUNS[run], files["hostile"])
    assert code != 70
    assert hidden_in(out) == set()
    assert hidden_in(err) == set()
    # a procedure that is made calls things by their ids
    assert re.search(r"\\+u202e", out) or language == "yaml"
    harmless_code, harmless, _ = say(capsys, RUNS[run], files["harmless"])
    assert code == harmless_code
    assert structure_of(out, language) == structure_of(harmless, language)


def test_every_format_of_every_command_is_tried() -> None:
    """No format is added without a hostile text being tried on it."""
    # `schema` shows nothing that anybody else wrote; what editors are told they show as they show the text itself
    for name in some(set(cli.COMMANDS) - {"schema", "edit-server"}):
        command = cli.commands.get_command(None, name)  # type: ignore[arg-type]
        assert command is not None
        layouts = next((option.type.choices for option in command.params if option.name == "layout"), ["text"])  # type: ignore[attr-defined]
        for layout in some(layouts):
            language = {"procedure": "yaml", "modification": "yaml"}.get(layout, layout)
            # the one diagram in mermaid is of a kind of thing: nobody else's text is in it
            assert f"{name} {language}" in RUNS or (name, layout) == ("draw", "mermaid"), (name, layout)


def test_evidence_is_readable(files: dict[str, dict[str, str]], capsys: pytest.CaptureFixture[str]) -> None:
    """The files of an evidence folder hide nothing either, and their Markdown keeps its structure."""
    found = {}
    for sort, names in files.items():
        args = ["prove", names["HOLD"], "--no-standing", "--requirements", names["ASKED"], "--evidence", sort]
        assert cli.run(args) in (0, 1)
        found[sort] = {str(path.relative_to(sort)): path for path in Path(sort).rglob("*") if path.is_file()}
    assert set(found["hostile"]) == set(found["harmless"])
    words = 0
    for name, path in found["hostile"].items():
        text = path.read_text("utf-8")
        assert hidden_in(text) == set(), name
        if name.endswith(".md"):
            words += 1
            harmless = found["harmless"][name].read_text("utf-8")
            assert structure_of(text, "markdown") == structure_of(harmless, "markdown"), name
    assert words
    capsys.readouterr()


@pytest.mark.parametrize("said", ["titel: {}", "title: {}\nlayout: {}", "title: '{}' x", "about: [{}"])
def test_messages_hide_nothing(
    said: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """A message shows file name and line with escapes, and its caret stands under the place that is meant."""
    monkeypatch.chdir(tmp_path)
    name = FILES["hostile"] + ".yaml"
    Path(name).write_text("interlock: 1\n" + said.replace("{}", SIGNS.replace("'", "")) + "\x1b]0;x\x07\n")
    assert cli.run(["describe", name]) == 2
    assert cli.run(["audit", name]) == 2
    assert cli.run(["requirements", name]) == 2
    assert hidden_in(capsys.readouterr().err) == set()


def test_the_caret_stands_below_what_is_shown(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Escapes are longer than what they stand for: the caret takes account of that."""
    monkeypatch.chdir(tmp_path)
    Path("x.yaml").write_text("interlock: 1\ntitle: a\n\u202e\u200bk: 1\n")
    assert cli.run(["describe", "x.yaml"]) == 2
    lines = capsys.readouterr().err.splitlines()
    at = next(number for number, line in enumerate(lines) if "unknown-field" in line)
    assert lines[at + 1 : at + 3] == [" 3 | \\u202e\\u200bk: 1", "   | ^~~~~~~~~~~~~"]


@pytest.mark.parametrize(
    "args",
    [
        ["prove", "{}"],
        ["{}"],
        ["prove", "demo:{}"],
        ["prove", "demo:single-lane", "--only", "{}"],
        ["prove", "demo:single-lane", "--from", "{}"],
        ["prove", "demo:single-lane", "--method", "{}"],
        ["checklist", "demo:single-lane", "--goal", "{}"],
        ["checklist", "demo:single-lane", "--load", "{}"],
        ["checklist", "demo:single-lane", "--unload", "{}"],
        ["draw", "--what", "{}"],
        ["explain", "{}"],
        ["schema", "{}"],
        ["walk", "demo:single-lane", "--do", "{}"],
        ["describe", "demo:single-lane", "-o", "{}/x"],
        ["describe", "demo:single-lane", "--{}"],
    ],
    ids=lambda args: " ".join(args),
)
def test_what_is_typed_is_shown_with_escapes(args: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    """A word of the command line that is wrong is told without what is hidden in it."""
    assert cli.run([arg.replace("{}", "\x1b]0;x\x07\u202e\u200b\udce9\x9b") for arg in args]) == 2
    out, err = capsys.readouterr()
    assert hidden_in(out + err) == set()
