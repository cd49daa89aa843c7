"""Pages that people sign, in a real browser: they print whole, can be read on a telephone and by those who cannot see.

The rules for what everybody can read are those of axe-core, which follow WCAG 2.1; the paper is ISO 216 A4 and Letter.
"""

from __future__ import annotations

import re
import shutil
from collections.abc import Iterator
from contextlib import chdir
from functools import cache
from hashlib import sha256
from html import unescape
from importlib.resources import files
from itertools import pairwise
from pathlib import Path
from tempfile import TemporaryDirectory

import axe_core_python
import pytest
from click.testing import CliRunner

from interlock.cli import commands
from interlock.cli.formats import FORMATS
from interlock.cli.opening import Opened, Rejected, open_hold, open_texts
from interlock.report.drawing.pieces import PAPER_PT, SMALLEST_PT, Piece, changed_plan, plan_key, whole_plan
from interlock.report.views.assumptions import CAUTIONS, IN_SHORT
from interlock.report.views.snapshot import take
from interlock.study.walk import Walk, begin_walk, choices_of
from interlock.study.walk import take as step_on
from tests.agreement.pages import SPACE, TAB, Browser, needs_browser
from tests.agreement.test_families import OPTIONS
from tests.golden.small_hold import REQUIREMENTS, TEXT
from tests.golden.wired_hold import WIRED, WIRED_ASKED
from tests.repo.test_checklist_command import sheets_of
from tests.some import some, swept, telling

ROOT = Path(__file__).parents[2]
FLAWED = str(ROOT / "models" / "flawed" / "key-not-trapped.yaml")
SMALL = ("--no-standing", "--requirements", "asked.yaml")
WIRED_SMALL = ("--no-standing", "--requirements", "wired-asked.yaml")
FILES = {
    "small.yaml": TEXT + OPTIONS,
    "asked.yaml": REQUIREMENTS,
    "wired.yaml": WIRED.replace("GP is on and door_open", "door_open"),
    "wired-asked.yaml": WIRED_ASKED,
    "fleet.csv": "tail,hold,options\nZZ-AAA,small.yaml,\nZZ-AAB,small.yaml,loose_lock\n",
}
PAGES: dict[str, tuple[str, ...]] = {
    "prove": ("prove", FLAWED),
    "audit": ("audit", "demo:procedures/work-on-a-latch", "--no-interlock"),
    "checklist": ("checklist", "demo:single-lane", "--load", "4C=HALF"),
    "failures": ("failures", "demo:single-lane", "--only", "door-path-clear[D1]"),
    "contacts": ("contacts", "demo:single-lane", "--time", "1"),
    "compare": ("compare", FLAWED, "--no-verdicts"),
    "defer": ("defer", "demo:single-lane", "M2=lowered", "--only", "secured-behind-shut-doors"),
    "test": ("test", "demo:single-lane", "--time", "1"),
    "repair": ("repair", "wired.yaml", *WIRED_SMALL, "--only", "powered-drives"),
    "family": ("family", "small.yaml", *SMALL),
    "fleet": ("fleet", "fleet.csv", *SMALL, "--workers", "1"),
    "teach": ("teach", "demo:single-lane", "--goal", "D1 is open"),
    "questions": ("questions", "demo:single-lane", "--load", "4C=HALF"),
}
GERMAN = {f"{name} in German": (*PAGES[name], "--language", "de") for name in ("checklist", "teach", "questions")}
"""Words are longer there."""
SMALLEST_ON_A_TELEPHONE = 8.5
"""Pixels; a judgement of ours: small print, but print."""
WITH_A_FORM = ("checklist", "test", "questions", "teach")
"""In which something is ticked or worked."""
needs_paper = pytest.mark.skipif(shutil.which("pdftotext") is None, reason="no pdftotext on this machine")


@cache
def page_of(name: str) -> str:
    """The page, as it is made in a folder with the small holds."""
    runner = CliRunner()
    with TemporaryDirectory() as folder, chdir(folder):
        for file, text in FILES.items():
            Path(file).write_text(text, encoding="utf-8")
        done = runner.invoke(commands, [*(PAGES | GERMAN)[name], "--format", "html"], catch_exceptions=False)
    assert done.stdout.startswith("<!doctype html>"), done.output
    return done.stdout


def test_every_page_there_is_is_looked_at() -> None:
    """Whatever the program shows as a page is among those of these tests."""
    assert set(PAGES) == {row.shows for row in FORMATS if row.suffix == ".html"}


@pytest.fixture(scope="module")
def browser(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Browser]:
    """One browser for all pages."""
    with Browser(tmp_path_factory.mktemp("browser")) as browser:
        yield browser


ON_SCREENS = telling(
    ((name, width) for name in PAGES for width in (1280, 390)),
    *((name, 1280) for name in ("prove", "checklist", "questions", "family", "repair", "fleet")),
)
"""By day wide ones, and of several pages of one make one."""


def shown(name: str, width: int, browser: Browser, folder: Path) -> None:
    """The page on a screen so wide."""
    page = folder / "page.html"
    page.write_text(page_of(name), encoding="utf-8")
    browser.show(page, width)


@pytest.mark.browser
@needs_browser
@pytest.mark.parametrize(("name", "width"), ON_SCREENS)
def test_nothing_serious_keeps_anybody_from_reading_it(name: str, width: int, browser: Browser, tmp_path: Path) -> None:
    """axe-core finds nothing serious, on a wide screen or a narrow one; heads of tables say what they are heads of."""
    axe = files(axe_core_python).joinpath("axe.min.js").read_text(encoding="utf-8")
    shown(name, width, browser, tmp_path)
    browser.find(axe + "; 0")
    found = browser.find("""axe.run(document, {resultTypes: ["violations"]}).then(found => ({
      wrong: found.violations.filter(one => ["serious", "critical"].includes(one.impact))
        .map(one => [one.id, ...one.nodes.slice(0, 3).map(node => node.html)]),
      levels: [...document.querySelectorAll("h1, h2, h3, h4")].map(one => Number(one.tagName[1])),
      unscoped: [...document.querySelectorAll("th:not([scope])")].map(one => one.textContent),
      passed: found.passes.length}))""")
    assert found["passed"] > 10
    assert found["wrong"] == []
    assert found["unscoped"] == []
    assert found["levels"][0] == 1 and found["levels"].count(1) == 1


@pytest.mark.browser
@needs_browser
@pytest.mark.parametrize("name", telling(PAGES | GERMAN, "prove", "checklist", "audit", "teach in German", "questions"))
def test_a_telephone_shows_it_whole(name: str, browser: Browser, tmp_path: Path) -> None:
    """At 390 pixels nothing is cut off, no word of a table is broken, and plans have lettering that can be read."""
    shown(name, 390, browser, tmp_path)
    found = browser.find("""(() => {
      const broken = [], letters = [];
      for (const cell of document.querySelectorAll("td, th")) {
        // on a narrow screen the heads of these tables stand before each cell instead
        if (getComputedStyle(cell.closest("thead") || cell).position === "absolute") continue;
        const texts = document.createTreeWalker(cell, NodeFilter.SHOW_TEXT);
        // a path is no word: it may be cut anywhere, so that it stays on the page
        for (let text; (text = texts.nextNode());) if (getComputedStyle(text.parentElement).overflowWrap !== "anywhere")
         for (const word of text.data.matchAll(/\\p{L}{2,16}/gu)) {
          const range = document.createRange();
          range.setStart(text, word.index); range.setEnd(text, word.index + word[0].length);
          const seen = [...range.getClientRects()].filter(one => one.width > 1);
          const lines = new Set(seen.map(one => Math.round(one.top)));
          if (lines.size > 1) broken.push(word[0]);
        }
      }
      for (const text of document.querySelectorAll("svg text")) {
        const plan = text.closest("svg"), width = plan.getBoundingClientRect().width;
        if (width) letters.push(text.getAttribute("font-size") * width / plan.viewBox.baseVal.width);
      }
      const cells = document.querySelectorAll("td").length;
      return {width: document.documentElement.scrollWidth, broken, cells, smallest: Math.min(99, ...letters)};
    })()""")
    assert found["cells"] > 0 or name.startswith(("teach", "questions"))
    assert found["width"] <= 390
    assert found["broken"] == []
    assert found["smallest"] >= SMALLEST_ON_A_TELEPHONE


WORKED = """[...document.querySelectorAll("input, button, a[href], select, summary, [tabindex='0']")]
  .filter(one => !one.disabled && one.checkVisibility({visibilityProperty: true}))
  .filter(one => one.type !== "radio" || one === document.querySelector(`input[name="${one.name}"]`))"""
"""All that the key comes to; of one group of round buttons to the first: arrows go on from there."""
FOCUSED = f"""(() => {{
  const one = document.activeElement, looks = getComputedStyle(one), box = one.getBoundingClientRect();
  if (one === document.body) return null;
  const x = Math.min(Math.max(box.left + box.width / 2, 1), innerWidth - 1);
  const y = Math.min(Math.max(box.top + Math.min(box.height / 2, 20), 1), innerHeight - 1);
  const over = document.elementFromPoint(x, y);
  const seen = box.bottom > 0 && box.top < innerHeight && over !== null && (one.contains(over) || over.contains(one));
  const outline = looks.outlineStyle === "none" ? 0 : parseFloat(looks.outlineWidth);
  return {{at: {WORKED}.indexOf(one), seen, outline}};
}})()"""


@pytest.mark.browser
@needs_browser
@pytest.mark.parametrize(("name", "width"), ON_SCREENS)
def test_the_tab_key_goes_through_all_of_it(name: str, width: int, browser: Browser, tmp_path: Path) -> None:
    """Pressed again and again it comes to everything that can be worked, in the order of the page, in sight, outlined.

    WCAG 2.2, 2.1.1, 2.4.3, 2.4.7 and 2.4.11.
    """
    shown(name, width, browser, tmp_path)
    known = browser.find(f"{WORKED}.length")
    assert known > 0 or name not in WITH_A_FORM
    for at in range(known):
        browser.press(TAB)
        found = browser.find(FOCUSED)
        assert found == {"at": at, "seen": True, "outline": 3}, found


@pytest.mark.browser
@needs_browser
def test_a_box_is_ticked_by_the_keys(browser: Browser, tmp_path: Path) -> None:
    """Tab comes to the box of the first thing to look at, and the space bar ticks it."""
    shown("checklist", 1280, browser, tmp_path)
    browser.press(TAB)
    ticked = "[...document.querySelectorAll('input:checked')].map(one => one.parentElement.textContent.trim())"
    assert browser.find(ticked) == []
    browser.press(SPACE)
    assert len(browser.find(ticked)) == 1


@pytest.mark.browser
@needs_browser
@needs_paper
@pytest.mark.parametrize("paper", swept(("A4", "Letter"), 2))
def test_first_sheet_of_a_proof_is_whole(paper: str, browser: Browser, tmp_path: Path) -> None:
    """Page one has files with their digests, versions, the caution, and each verdict with hazard and source; the last
    one has something of what is signed beside the signatures."""
    page, printed = tmp_path / "page.html", tmp_path / f"{paper}.pdf"
    text = page_of("prove").replace("@page { margin", f"@page {{ size: {paper}; margin")
    page.write_text(text, encoding="utf-8")
    browser.show(page, 1280)
    browser.print(printed)
    sheets = sheets_of(printed)
    first, last = (re.sub(r"\s+", "", "".join(lines)) for lines in (sheets[0], sheets[-1]))
    for source in (FLAWED, ROOT / "models" / "single-lane.yaml", ROOT / "specs" / "standing.yaml"):
        assert sha256(Path(source).read_bytes()).hexdigest() in first
    assert "withcvc5" in first
    for caution in CAUTIONS:
        assert caution.replace(" ", "") in first
    rows = re.findall(r'<td data-head="No.">(\d+)</td>\n<td data-head="Verdict"', text)
    assert rows == [str(number + 1) for number in range(len(rows))] and len(rows) > 20
    hazards = re.findall(r'<td data-head="Hazard">(.*?)</td>\n<td data-head="Source">[a-z]', text)
    assert len(hazards) == len(rows)
    assert all(re.search(rf"{number}(FAILS|holds),\d+of\d+", first) for number in rows)
    assert "Sources.a:" in first
    assert "Signedisallthatstandsbeforethisline" in last
    assert any("Signatures" in line for line in sheets[-1][1:]), "signatures on a sheet of their own"
    assert not [lines for lines in sheets if len(lines) < 3]


@pytest.mark.browser
@needs_browser
@needs_paper
@pytest.mark.parametrize(("name", "most", "first"), [("audit", 6, "Sources.a:"), ("teach", 2, "4C")])
def test_sheets_are_not_wasted(name: str, most: int, first: str, browser: Browser, tmp_path: Path) -> None:
    """What belongs on the first sheet is there, and no sheet has a footer alone."""
    shown(name, 1280, browser, tmp_path)
    browser.print(tmp_path / "page.pdf")
    sheets = sheets_of(tmp_path / "page.pdf")
    assert len(sheets) <= most
    assert first in re.sub(r"\s+", "", "".join(sheets[0]))
    assert not [lines for lines in sheets if len(lines) < 3]


@pytest.mark.slow
@pytest.mark.browser
@needs_browser
@needs_paper
def test_the_whole_load_of_the_main_deck_is_no_book(browser: Browser, tmp_path: Path) -> None:
    """All 32 bays are loaded from fewer than fifteen sheets."""
    page, paper = tmp_path / "page.html", tmp_path / "page.pdf"
    asked = ("checklist", "demo:main-deck", "--load", "all:SHORT", "-o", str(page))
    assert CliRunner().invoke(commands, asked, catch_exceptions=False).exit_code == 0
    browser.show(page, 1280)
    browser.print(paper)
    assert len(sheets_of(paper)) < 15


@cache
def opened(name: str) -> Opened:
    """The demonstration hold."""
    texts = open_texts((), True)
    assert not isinstance(texts, Rejected)
    found = open_hold(f"demo:{name}", texts, None)
    assert isinstance(found, Opened)
    return found


def worked(name: str, words: tuple[str, ...]) -> Iterator[Walk]:
    """A walk through the hold: at each step the first that has the word in it."""
    walk = begin_walk(opened(name).compiled)
    yield walk
    for word in words:
        walk = step_on(walk, next(one for one in choices_of(walk) if word in one.text))
        yield walk


def lettering(piece: Piece) -> float:
    """Its smallest lettering as printed, in points."""
    box = re.search(r'viewBox="\S+ \S+ (\S+) \S+"', piece.svg)
    assert box is not None
    sizes = [float(size) for size in re.findall(r'font-size="([\d.]+)"', piece.svg)]
    return min(some(sizes)) * piece.width_pt / float(box[1])


@pytest.mark.parametrize("name", ("single-lane", "twin-lane", "main-deck"))
def test_no_lettering_of_a_plan_is_too_small(name: str) -> None:
    """However long the hold, each piece of its plan fits on paper with lettering of six points and shows every row."""
    compiled = opened(name).compiled
    drawn = whole_plan(compiled, begin_walk(compiled).state, "x")
    assert [row for piece in drawn.pieces for row in piece.rows] == list(range(1, compiled.hold.layout.rows + 1))
    for piece in (*drawn.pieces, *plan_key(compiled, None).pieces):
        assert piece.width_pt <= PAPER_PT + 0.1
        assert lettering(piece) >= SMALLEST_PT - 0.01
    shown = re.findall(r'data-id="([^"]+)"', "".join(piece.svg for piece in drawn.pieces))
    assert {device.id for device in compiled.hold.devices} <= set(shown)
    assert set(compiled.floor.bays) <= set(shown)


def test_a_plan_says_in_words_what_is_up_and_what_is_down() -> None:
    """Once the door is unlocked, the rows before it are shown; their text names the state of each device there."""
    before, after = worked("main-deck", ("unlock main cargo door",))
    compiled = opened("main-deck").compiled
    (piece,) = changed_plan(compiled, before.state, after.state, "After it").pieces
    assert piece.rows == (9, 10)
    (label,) = map(unescape, re.findall(r'aria-label="([^"]*)"', piece.svg))
    assert "Main cargo door (D1): closed, latched, unlocked." in label
    states = take(compiled, after.state).devices
    said = {id: state for state, ids in re.findall(r"([A-Z][a-z ]+): ([^.:]*)\.", label) for id in ids.split(", ")}
    assert {"CG9": "Raised", "M9L": "Lowered"}.items() <= said.items()
    assert all(said[id].lower() == states[id].replace("_", " ") for id in said if id in states)
    assert "M1L" in states and "M1L" not in said
    assert changed_plan(compiled, after.state, after.state, "Nothing new").pieces == ()


@pytest.mark.parametrize(
    "args",
    [
        ("prove", FLAWED, "--quiet", "--no-blame", "--only", "no-drive-under-a-person"),
        ("walk", "demo:single-lane", "--do", "1"),
        ("requirements",),
        ("requirements", "--verbose"),
        ("draw", "demo:single-lane"),
        ("checklist", "demo:single-lane", "--goal", "D1 is open", "--format", "procedure"),
        ("checklist", "demo:single-lane", "--goal", "D1 is open"),
        ("describe", "demo:single-lane"),
    ],
    ids=lambda args: " ".join(args[:1] + args[-1:]),
)
def test_whatever_can_be_acted_upon_says_what_governs(args: tuple[str, ...]) -> None:
    """Approved data and the operator's loading instructions come first on every sheet, however short."""
    said = CliRunner().invoke(commands, args, catch_exceptions=False).stdout
    flat = " ".join(re.sub(r"</text>\s*<text[^>]*>|\n#", " ", said).split())
    assert IN_SHORT in flat or all(caution in unescape(flat) for caution in CAUTIONS)


@pytest.mark.parametrize("name", ["checklist", "test"])
def test_at_most_one_box_stands_before_a_step(name: str) -> None:
    """Of all that is to be warned of before a step one box is made, with the gravest hazard first and no ids in it."""
    marks = re.findall(r'<(?:p|div) class="(guard|row)\b', page_of(name))
    assert "guard" in marks and ("guard", "guard") not in list(pairwise(marks))
    boxes = re.findall(r'class="guard[^"]*"[^>]*>(.*?)</(?:p|div)>', page_of(name), re.DOTALL)
    texts = open_texts((), True)
    assert not isinstance(texts, Rejected)
    assert len(boxes) > 1 and not [one for one in boxes if any(id in one for id in texts.by_id)]
