"""`interlock checklist`: exit codes, formats, and a page that needs nothing else."""

from __future__ import annotations

import json
import os
import re
import shutil
import subprocess
from html.parser import HTMLParser
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from interlock.cli import commands
from interlock.report.text.lines import WIDTH
from tests.agreement.hold_texts import WIDE, doorway, hold_text
from tests.golden.small_hold import TEXT as SMALL

pytestmark = pytest.mark.usefixtures("done_once")

MODELS = Path(__file__).parents[2] / "models"
KEPT = Path(__file__).parents[1] / "golden" / "reports"
SINGLE = str(MODELS / "single-lane.yaml")
WEAK = str(MODELS / "flawed" / "mid-latch-switch-bridged.yaml")
UNLATCHED = str(MODELS / "flawed" / "lock-without-latch.yaml")


def _run(*args: str) -> Result:
    return CliRunner().invoke(commands, ["checklist", *args], catch_exceptions=False)


def _code(*args: str) -> int:
    from interlock.cli import run

    return run(["checklist", *args])


def test_exit_codes(tmp_path: Path) -> None:
    """0 for a checklist, 1 for a goal out of reach, 2 for what cannot be meant, 3 for no time."""
    out = ("-o", str(tmp_path / "out.txt"))
    assert _code(SINGLE, "--load", "4C=HALF", *out) == 0
    assert _code(SINGLE, "--goal", "D1 is locked and D1 is unlatched", *out) == 1
    assert "checked by" in (tmp_path / "out.txt").read_text()
    for wrong in (
        (),
        ("--load", "4C=HALF", "--unload", "all"),
        ("--load", "4C"),
        ("--load", "9C=HALF"),
        ("--unload", "all"),
        ("--goal", "D1 is opne"),
    ):
        assert _code(SINGLE, *wrong, *out) == 2
    assert _code(SINGLE, "--load", "all:HALF", "--time", "0.001", *out) == 3


def test_a_goal_that_is_not_understood_is_shown_where(capsys: pytest.CaptureFixture[str]) -> None:
    """The caret stands under the word that is wrong, not under all of the goal."""
    assert _code(SINGLE, "--goal", "D1 is open and S1 is rasied") == 2
    said = capsys.readouterr().err
    assert " 1 | D1 is open and S1 is rasied\n   |                      ^~~~~~\n" in said
    assert "did you mean 'raised'?" in said


def test_a_refusal_has_a_next_step_and_the_cautions(tmp_path: Path) -> None:
    """Where a requirement breaks on every way: which one, how to see it break, what governs; nothing is too wide."""
    weak = tmp_path / "weak.yaml"
    text = Path(SINGLE).read_text().replace("lock: {by: hand, when: D1 is latched}", "lock: {by: hand, when: always}")
    weak.write_text(text)
    said = _run(str(weak), "--goal", "D1 is locked and D1 is unlatched").stdout
    assert said.startswith("NO CHECKLIST: ")
    assert "interlock prove HOLD --only 'locked-only-latched[D1]'" in said
    assert "approves nothing" in " ".join(said.split())
    assert max(map(len, said.splitlines())) <= 80


PUMPED = """
controls:
  - {id: MST, name: master switch, kind: switch, positions: [off, on], starts: off}
  - {id: RST, name: reset button, kind: push button}
supplies:
  - {id: HYD, name: hydraulic pressure, starts: off, may_be_lost: true, needs: MST is on, stored: true}
relays:
  - {id: fresh, sets: HYD is on and RST is pressed, drops: not HYD is on}
circuits:
  - {id: pressure, use: power, is: HYD is on}
  - {id: lamp, use: indication, is: fresh}
"""


def test_what_springs_back_is_let_go_and_what_is_stored_is_waited_for(tmp_path: Path) -> None:
    """Nobody is told to keep a button pressed and never to let it go; pressure takes its time to come and to go."""
    place = tmp_path / "pumped.yaml"
    place.write_text(hold_text(rest=PUMPED))
    said = " ".join(_run(str(place), "--goal", "fresh and MST is on and RST is released").stdout.split())
    assert "Set the master switch to on. -> The hydraulic pressure is on." in said
    assert "Press the reset button, then release it." in said
    assert "keep it pressed" not in said
    procedure = _run(str(place), "--goal", "HYD is on and MST is on", "--format", "procedure").stdout
    assert '"wait until HYD is on"' in procedure


def test_where_a_unit_rolls_to_and_what_a_step_misses_is_told(tmp_path: Path) -> None:
    """A unit that is let over the edge rolls on by itself: the step says where it comes to stand."""
    place = tmp_path / "rolls.yaml"
    stop = "- {id: AS, kind: fixed stop, on: 2L.aft, stops: [aft], restrains: [x]}"
    door = doorway("[1L, 1R]", "fore", starts="closed").replace(
        'moved_by: hand, opens: "false", closes: "false"', "moved_by: power, opens: GS is on, closes: never"
    )
    text = hold_text(lanes="[L, R]", rows=2, drift="[aft]", units=WIDE, doorways=door, devices=stop)
    place.write_text(text + "controls: [{id: GS, kind: switch, positions: [off, on], starts: off}]\n")
    said = " ".join(_run(str(place), "--goal", "2L is WIDE").stdout.split())
    assert "Bring a WIDE on the loader to the sill at bays 1L and 1R." in said
    assert "over the edge. -> The WIDE stands in bays 2L and 2R." in said


def test_what_is_broken_at_the_start_is_named(tmp_path: Path) -> None:
    """No work begins where a requirement is broken already: which one is told, not that the hold cannot start."""
    lock = (
        "- {id: SL, kind: manual latch, on: 1C.left, stops: [left], restrains: [y], locking: raised, starts: lowered}"
    )
    hold = tmp_path / "hold.yaml"
    hold.write_text(hold_text(doorways=doorway("1C", "left", moves="always", starts="closed"), devices=lock))
    assert _code(str(hold), "--load", "1C=HALF") == 1
    said = " ".join(_run(str(hold), "--load", "1C=HALF").stdout.split())
    assert "A requirement is broken at the start, before anybody does anything." in said
    assert "breaks: sill-devices-locking-behind-shut-door[D1,SL]" in said


def test_a_refusal_leaves_the_file_alone(tmp_path: Path) -> None:
    """Where no page can be made none is written over an old one; JSON says why, so it is written."""
    old = tmp_path / "old.html"
    old.write_text("old")
    asked = (SINGLE, "--goal", "D1 is locked and D1 is unlatched", "-o", str(old))
    for layout in ("html", "markdown", "procedure"):
        assert _code(*asked, "--format", layout) == 1
        assert old.read_text() == "old"
    assert _code(*asked, "--format", "json") == 1
    assert json.loads(old.read_text())


def test_a_supply_that_is_off_at_first(tmp_path: Path) -> None:
    """It comes on by itself before the crew begins; the checklist, and the procedure that it is audited as, say so."""
    hold = tmp_path / "hold.yaml"
    supplied = """
supplies: [{id: GP, name: ground power, starts: off, may_be_lost: true}]
relays: [{id: R1, name: power relay, sets: GP is on, drops: GP is off}]
"""
    hold.write_text(SMALL + supplied, encoding="utf-8")
    args = (str(hold), "--no-standing", "--goal", "D1 is open")
    told = _run(*args)
    assert told.exit_code == 0, told.output
    assert "The ground power is on, and stays so." in told.output
    assert 'start:\n  GP: "on"\n' in _run(*args, "--format", "procedure").output


@pytest.mark.parametrize(
    ("kept", "args"),
    [
        ("checklist-single-lane.txt", (SINGLE, "--load", "4C=HALF,3C=HALF", "-v")),
        ("checklist-weak.txt", (WEAK, "--load", "3L=HALF")),
        ("checklist-unload.md", (SINGLE, "--unload", "all", "--aboard", "4C=HALF", "--format", "markdown")),
    ],
)
def test_kept_checklists(kept: str, args: tuple[str, ...], monkeypatch: pytest.MonkeyPatch) -> None:
    """Checklists are, letter for letter, what is kept; INTERLOCK_KEEP_REPORTS=1 keeps them anew."""
    monkeypatch.chdir(MODELS)  # how long a path is changes where lines end
    told = _run(*(arg.removeprefix(f"{MODELS}/") for arg in args)).stdout
    # what it was made from changes with every file and tool, and is tested where pages are
    text = re.sub(r"\b[0-9a-f]{64}\b", "...", told)
    text = re.sub(r"interlock \d[^\n]*(\n +[^\n]*3\.\d+[^\n]*)?", "interlock ...", text)
    if os.environ.get("INTERLOCK_KEEP_REPORTS"):
        (KEPT / kept).write_text(text, encoding="utf-8")
    assert text == (KEPT / kept).read_text(encoding="utf-8")
    if kept.endswith(".txt"):
        assert all(len(line) <= WIDTH for line in text.splitlines())


def test_json() -> None:
    """The JSON names its layout, numbers steps through, and gives the order as pairs of numbers."""
    document = json.loads(_run(SINGLE, "--load", "all:HALF", "--format", "json").stdout)
    assert document["schema"] == 3
    parts = document["checklist"]["parts"]
    numbers = [step["number"] for part in parts for step in part["steps"]]
    assert numbers == list(range(1, len(numbers) + 1))
    for part in parts:
        inside = {step["number"] for step in part["steps"]}
        assert all(earlier < later and {earlier, later} <= inside for earlier, later in part["order"]["before"])
        assert part["order"]["orders"] is None or part["order"]["orders"] >= 1


class _Page(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))


def test_page_stands_alone(tmp_path: Path) -> None:
    """No script, nothing fetched, a policy that forbids both; a box for every step and check; labels fit boxes."""
    page = tmp_path / "page.html"
    assert _code(SINGLE, "--load", "4C=HALF", "--format", "html", "-o", str(page)) == 0
    text = page.read_text()
    found = _Page()
    found.feed(text)
    policy = next(a["content"] for t, a in found.tags if t == "meta" and "http-equiv" in a)
    assert policy is not None
    assert policy.startswith("default-src 'none'")
    assert not {tag for tag, _ in found.tags} & {"script", "link", "iframe", "img", "object"}
    assert not re.search(r"""(?:src|href)=["']|url\(|@import""", text)
    boxes = [a["id"] for t, a in found.tags if t == "input"]
    labels = [a["for"] for t, a in found.tags if t == "label"]
    assert boxes == labels
    assert len(set(boxes)) == len(boxes)
    drawn = [a["aria-label"] or "" for t, a in found.tags if t == "svg"]
    for title in ("The hold before you start", *(f"After part {n + 1}" for n in range(text.count('class="part"')))):
        assert any(f": {title}. " in label for label in drawn), title


def test_page_escapes_texts_of_the_description(tmp_path: Path) -> None:
    """A name that looks like markup is shown, not obeyed."""
    hold = tmp_path / "odd.yaml"
    hold.write_text((MODELS / "single-lane.yaml").read_text().replace("name: side door", 'name: "<b>side</b> door"'))
    page = tmp_path / "page.html"
    assert _code(str(hold), "--goal", "D1 is open", "--format", "html", "-o", str(page)) == 0
    assert "<b>side</b>" not in page.read_text()
    assert "&lt;b&gt;side&lt;/b&gt; door" in page.read_text()


@pytest.mark.browser
@pytest.mark.skipif(shutil.which("chromium") is None, reason="no Chromium on this machine")
def test_page_in_a_browser(tmp_path: Path) -> None:
    """A real browser prints the page: no sheet is left all but empty, each says which it is."""
    page, paper = tmp_path / "page.html", tmp_path / "page.pdf"
    assert _code(SINGLE, "--load", "4C=HALF", "--format", "html", "-o", str(page)) == 0
    print_page(page, paper)
    pages = len(re.findall(rb"/Type\s*/Page\b", paper.read_bytes()))
    assert 3 <= pages <= 5


def print_page(page: Path, paper: Path) -> None:
    """Prints a page as a real browser does, margins and page breaks included."""
    command = [
        *("chromium", "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run"),
        *("--disable-background-networking", "--disable-component-update", "--disable-sync", "--no-pdf-header-footer"),
        *(f"--user-data-dir={paper.with_suffix('.profile')}", f"--print-to-pdf={paper}", page.as_uri()),
    ]
    subprocess.run(command, check=True, capture_output=True, timeout=120)


def sheets_of(paper: Path) -> list[list[str]]:
    """The lines of every printed sheet that are not empty."""
    done = subprocess.run(["pdftotext", "-layout", str(paper), "-"], check=True, capture_output=True, text=True)
    return [[line.strip() for line in sheet.splitlines() if line.strip()] for sheet in done.stdout.split("\f")[:-1]]


@pytest.mark.browser
@pytest.mark.skipif(not (shutil.which("chromium") and shutil.which("pdftotext")), reason="no Chromium or pdftotext")
def test_printed_sheets_part_nothing_that_belongs_together(tmp_path: Path) -> None:
    """On paper a WARNING, CAUTION or NOTE has its step below it on the same sheet, and no heading ends a sheet."""
    page, paper = tmp_path / "page.html", tmp_path / "page.pdf"
    assert _code(UNLATCHED, "--load", "6L=WIDE,2L=HALF", "--format", "html", "-o", str(page)) == 0
    print_page(page, paper)
    sheets = sheets_of(paper)
    guards = 0
    for lines in sheets:
        starts = [at for at, line in enumerate(lines) if re.match(r"(WARNING|CAUTION|NOTE) +[A-Z]\w* ", line)]
        guards += len(starts)
        assert all(any(re.match(r"\d+ +[A-Z]", line) for line in lines[at + 1 :]) for at in starts), lines
    assert guards >= 2
    headings = re.findall(r"<h2>(.*?)</h2>", page.read_text())
    assert not [lines[-1] for lines in sheets if lines[-1] in headings]


@pytest.mark.thorough
@pytest.mark.browser
@pytest.mark.skipif(not (shutil.which("chromium") and shutil.which("pdftotext")), reason="no Chromium or pdftotext")
def test_printed_audit_can_be_signed(tmp_path: Path) -> None:
    """On paper the first sheet has result and caution, and each sheet a head over its table."""
    from interlock.cli import run

    page, paper = tmp_path / "page.html", tmp_path / "page.pdf"
    options = ("--no-interlock", "--format", "html", "-o", str(page))
    assert run(["audit", "demo:procedures/unload-two-and-one", *options]) == 0
    print_page(page, paper)
    sheets = sheets_of(paper)
    first = "\n".join(sheets[0])
    assert "Nothing found" in first
    assert "This is not approved maintenance data" in first
    assert any("Signature" in line for lines in sheets for line in lines)
    headings = re.findall(r"<h[23]>(.*?)</h[23]>", page.read_text())
    assert not [lines[-1] for lines in sheets if lines[-1] in headings]
    interrupted = [lines for lines in sheets if any(line.startswith("before action") for line in lines)]
    assert len(interrupted) > 1
    assert all(any(line.startswith("Where ") for line in lines) for lines in interrupted)
