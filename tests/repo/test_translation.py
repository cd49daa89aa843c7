"""Sheets in other languages: complete, never less than the English sheet says, and safe from what a file says."""

from __future__ import annotations

import pickle
import re
from functools import cache
from html.parser import HTMLParser
from pathlib import Path

import pytest

from interlock.cli import run
from interlock.diagnostics.said import Said, in_language, joined, perhaps_ours, places_of, say, say_many
from interlock.hold.procedure.actions import FORMS
from interlock.kernel.claims import Limits
from interlock.kernel.why import Helps
from interlock.prove.engine import time_reason
from interlock.report import translation
from interlock.report.translation import ENGLISH, SHIPPED, BadCatalogue, Catalogue, shipped, translations
from interlock.report.views.assumptions import CAUTIONS
from interlock.report.views.questions import NEXT, ORDER, STILL
from interlock.report.views.wording import listed, sentence
from interlock.study.procedure.slips import TAXONOMY
from tests.agreement.pages import browsed, needs_browser
from tests.golden.small_hold import TEXT
from tests.repo.messages import messages
from tests.some import some

pytestmark = pytest.mark.usefixtures("done_once")
HEADER = 'msgid ""\nmsgstr ""\n"Language: xx\\n"\n"Content-Type: text/plain; charset=utf-8\\n"\n\n'
MODELS = Path(__file__).parents[2] / "models"


@cache
def known_messages() -> frozenset[str]:
    """All messages of the program."""
    return frozenset(map(str, messages()))


class Loud:
    """A language that says every message in capitals: what is not in capitals was not said in it.

    `unknown` are messages that no catalogue has, since the program's text has them nowhere as they are.
    """

    code = "xx"

    def __init__(self) -> None:
        self.unknown: set[str] = set()

    def message(self, one: str, many: str, number: int) -> str:
        """All but the places."""
        if one not in known_messages():
            self.unknown.add(one)
        chosen = many if many and number != 1 else one
        return re.sub(r"\{\w+\}|[^{}]", lambda found: found[0] if len(found[0]) > 1 else found[0].upper(), chosen)

    def number(self, number: float) -> str:
        """Digits alone."""
        return str(number)

    def notes(self) -> tuple[str, ...]:
        """None."""
        return ()


def flat(text: str) -> str:
    """On one line, blanks once: where lines end depends on how long they are."""
    return " ".join(text.split())


def told(capsys: pytest.CaptureFixture[str], *args: str, command: str = "checklist") -> tuple[int, str, str]:
    """Exit code, what is printed, and what is told beside it, of the command."""
    capsys.readouterr()
    code = run([command, *args])
    printed = capsys.readouterr()
    return code, printed.out, printed.err


# ---- texts that know how they are made ---------------------------------------------------------------------------


def test_a_text_is_its_english_and_can_be_said_again() -> None:
    """Places, numbers, plural forms, capitals, and texts within texts; what people wrote stays as it is."""
    door = say("the {name}", name="{evil} door")
    text = sentence(say("{name} and {count} more", name=door, count=1234))
    assert text == "The {evil} door and 1,234 more."
    assert in_language(text, Loud()) == "THE {evil} door AND 1234 MORE."
    bays = [say_many("{number} bay", "{number} bays", number) for number in (1, 2)]
    assert bays == ["1 bay", "2 bays"]
    assert [in_language(one, Loud()) for one in bays] == ["1 BAY", "2 BAYS"]
    assert in_language(joined([door, door]), Loud()) == "THE {evil} door THE {evil} door"
    assert in_language(listed([say("a"), "b", say("c")], "or"), Loud()) == "A, b OR C"
    assert in_language("as written", Loud()) == "as written"
    assert in_language(pickle.loads(pickle.dumps(text)), Loud()) == in_language(text, Loud())  # noqa: S301 -- ours
    why = pickle.loads(pickle.dumps(time_reason(Limits(seconds=1234.5))))  # noqa: S301 -- ours
    assert (why, why.helps, in_language(why, shipped("de"))) == (
        "out of time (1234.5 s)",
        Helps.TIME,
        "die Zeit ist abgelaufen (1234,5 s)",
    )
    assert isinstance(text, Said)
    assert in_language(text.with_part("{evil} door", "x"), Loud()) == "THE x AND 1234 MORE."


def test_what_is_no_message_of_ours_stays_a_text() -> None:
    """A brace in a text of a file is a brace; a place that is more than a name is none."""
    assert perhaps_ours("a {brace", {}) is None
    assert perhaps_ours("{b} is not {known}", {"b": "bay 1C"}) is None
    assert perhaps_ours("{b} is held", {"b": "bay 1C"}) == "bay 1C is held"
    for wrong in ("{a.b}", "{a[0]}", "{}", "{0}", "{a!r}", "{a:>99999999}"):
        with pytest.raises(ValueError, match="is no place of a message"):
            places_of(wrong)


# ---- the language that comes with the program --------------------------------------------------------------------


@pytest.mark.parametrize("code", SHIPPED)
def test_every_message_is_translated_and_none_is_left_over(code: str) -> None:
    """Against the program's own text: all messages, both numbers, the same places, and nothing that nobody says."""
    catalogue = shipped(code)
    wanted, found = messages(), translations(catalogue)
    assert not catalogue.unusable
    assert set(found) == set(map(str, wanted))
    for one, many in some(wanted.items()):
        assert len(found[str(one)]) == (2 if many else 1), one
    assert catalogue.code == code


def sayings(page: str) -> str:
    """What a page says to whoever reads, hears or prints it: texts, attributes, what stands on each sheet."""
    reader = _Sayings()
    reader.feed(page)
    return "\n".join(reader.found)


class _Sayings(HTMLParser):
    """Collects them; scripts and the data of a page are no texts of it."""

    SAYING = ("title", "aria-label", "aria-valuetext", "data-head", "label", "placeholder", "alt")

    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []
        self.within = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.within = tag if tag in ("style", "script", "code") else ""
        self.found += [text for name, text in attrs if name in self.SAYING and text]

    def handle_endtag(self, tag: str) -> None:
        self.within = ""

    def handle_data(self, data: str) -> None:
        if self.within == "style":
            self.found += re.findall(r'content: "([^"]*)"', data)
        elif not self.within:
            self.found.append(data)


def assert_all_is_said(loud: str, file: str) -> None:
    """Of words that are not in capitals all are names: of the description, of requirements, of tools, of a paper.

    Actions of procedures are quoted as they are written, in the words of that language.
    """
    written = " ".join((MODELS / name).read_text(encoding="utf-8") for name in ("single-lane.yaml", "twin-lane.yaml"))
    written += Path(file).read_text(encoding="utf-8") + file + TAXONOMY + " ".join(form.shape for form in FORMS)
    # requirements are named by their ids
    standing = (MODELS.parent / "specs" / "standing.yaml").read_text(encoding="utf-8")
    written += " ".join(re.findall(r"(?:- id|source): (.*)", standing))
    known = set(re.findall(r"[a-z]{2,}", written.lower())) | {"demo", "yaml", "standing", "interlock", "cvc", "python"}
    # digests are written in hexadecimal
    left = set(re.findall(r"(?<![A-Za-z0-9])[a-z]{3,}(?![a-z0-9])", loud)) - known - {"sat", "dev"}
    assert not left, sorted(left)


LISTS = [
    ("single-lane.yaml", "--load", "4C=HALF"),
    ("single-lane.yaml", "--unload", "all", "--aboard", "4C=HALF"),
    ("flawed/mid-latch-switch-bridged.yaml", "--load", "3L=HALF"),
]


LAYOUTS = [(), ("--verbose",), ("--format", "markdown"), ("--format", "html")]


@pytest.mark.parametrize("layout", LAYOUTS, ids=" ".join)
@pytest.mark.parametrize("args", LISTS, ids=" ".join)
def test_nothing_of_a_checklist_is_left_in_english(
    args: tuple[str, ...],
    layout: tuple[str, ...],
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """Told in capitals, all that is not in capitals is what somebody wrote in the description, or names a tool."""
    monkeypatch.chdir(MODELS)
    code, english, _ = told(capsys, *args, *layout)
    language = Loud()
    monkeypatch.setattr(translation, "shipped", lambda code: language)
    loud_code, loud, _ = told(capsys, *args, *layout, "--language", "de")
    assert loud_code == code
    assert not language.unknown
    if "html" in layout:
        assert '<html lang="xx">' in loud
        loud = sayings(loud)
    assert len(loud.splitlines()) > 20
    assert_all_is_said(loud, args[0])
    # our words that happen to stand in the description too were said, not copied
    for word in ("is", "the", "make sure", "step", "open", "closed", "stands"):
        assert not re.search(rf"\b{word}\b (?:THE|IS|STANDS)\b", loud)
    assert "MAKE SURE THAT" in loud
    assert "WARNING" in loud
    assert "make sure" in english.lower()


REFUSED = [
    ("main-deck.yaml", "--load", "16R=SHORT", "--time", "0.2"),
    ("single-lane.yaml", "--goal", "D1 is closed and D1 is open"),
    ("modified/mid-latch-3L-deferred.yaml", "--load", "3L=HALF"),
]


@pytest.mark.parametrize("args", REFUSED, ids=" ".join)
def test_nothing_of_a_refusal_is_left_in_english(
    args: tuple[str, ...], monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Why there is no checklist, on the sheet and beside a page; what checked the proof is named as it names itself."""
    language = Loud()
    monkeypatch.chdir(MODELS)
    monkeypatch.setattr(translation, "shipped", lambda code: language)
    code, loud, _ = told(capsys, *args, "--language", "de")
    assert code == (3 if "--time" in args else 1)
    assert "NO CHECKLIST: " in loud
    assert not language.unknown
    # what checks proofs says how in English: it stands alone, and knows of no languages
    assert_all_is_said(re.sub(r"(?m)^.*CERTIFICATE CHECKED BY:.*(\n {10,}.*)*$", "", loud), args[0])
    assert told(capsys, *args, "--language", "de", "--format", "html")[2] == loud


def test_nothing_of_a_question_sheet_is_left_in_english(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """All kinds of question, and why each choice is right or wrong."""
    language = Loud()
    monkeypatch.chdir(MODELS)
    monkeypatch.setattr(translation, "shipped", lambda code: language)
    code, page, _ = told(capsys, *LISTS[2], "--language", "de", "--number", "40", command="questions")
    assert code == 0
    assert not language.unknown
    assert '<html lang="xx">' in page
    assert_all_is_said(sayings(page), LISTS[2][0])
    assert all(text in page for text in (NEXT.upper(), STILL.upper(), ORDER.upper(), " RIGHT<"))


WORKED = """
  const all = (where) => [...document.querySelectorAll(where)], found = new Set();
  const by = (text) => all("button").find((one) => one.textContent === text);
  const click = (button) => { if (!button) throw new Error("no such button"); button.click(); look(); };
  function look() {
    const texts = document.createTreeWalker(document.documentElement, NodeFilter.SHOW_TEXT);
    const hidden = "script, style, noscript";
    for (let text; (text = texts.nextNode());) if (!text.parentElement.closest(hidden)) found.add(text.data);
    for (const name of ["title", "aria-label", "aria-valuetext", "label", "placeholder"])
      for (const one of all(`[${name}]`)) found.add(one.getAttribute(name));
  }
  look();
  document.getElementById("thing").value = "D1";
  document.getElementById("thing").dispatchEvent(new Event("change"));
  click(by("SHOW THE WHOLE PLAN") || by("DRAW THE PLAN AT FULL SIZE"));
  click(document.querySelector("#offers button[aria-disabled]"));
  click(by("WHAT WOULD MAKE IT POSSIBLE?"));
  for (let at = 0; at < 6; at++) click(document.querySelector("#possible button"));
  click(by("TAKE THE STEP BACK"));
  click(by("FOLLOW A RUN"));
  const runs = document.querySelector("#tools select");
  for (const one of runs.options) {
    runs.value = one.value;
    runs.dispatchEvent(new Event("change"));
    click(by("NEXT")); click(by("LAST"));
  }
  click(by("EXERCISE"));
  click(by("HINT"));
  for (let at = 0; at < 12; at++) click(all("#possible button").at(at % 3));
  click(by("HINT"));
  click(by("I HAVE FINISHED"));
  return [...found];
"""


PAGES = [("small.yaml", "--no-standing", "--goal", "D1 is open"), (*LISTS[2], "--failing")]


@pytest.mark.browser
@needs_browser
@pytest.mark.parametrize("args", [PAGES[0], pytest.param(PAGES[1], marks=pytest.mark.thorough)], ids=" ".join)
def test_nothing_of_a_page_that_is_worked_is_left_in_english(
    args: tuple[str, ...], monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    """In a real browser, worked by its buttons in each of the three ways: all that comes to be seen or heard."""
    language, small = Loud(), tmp_path / "small.yaml"
    small.write_text(TEXT, encoding="utf-8")
    monkeypatch.chdir(tmp_path if args in PAGES[:1] else MODELS)
    monkeypatch.setattr(translation, "shipped", lambda code: language)
    code, page, _ = told(capsys, *args, "--language", "de", command="teach")
    assert code == 0
    assert not language.unknown
    found = browsed(page, WORKED, tmp_path, "--force-prefers-reduced-motion")
    parts = "SLIP: ", "NOT POSSIBLE NOW: ", "SLIPS: ", "NEXT IN THE ORDER OF WORK", "THE GOAL IS NOT REACHED YET."
    for part in parts:
        assert any(part in text for text in found), part
    assert_all_is_said("\n".join(found), args[0])


@pytest.mark.browser
@needs_browser
def test_numbers_in_scripts_are_written_as_a_language_does(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """With what the catalogue puts between thousands; texts that look like numbers stay as they are."""
    (tmp_path / "small.yaml").write_text(TEXT, encoding="utf-8")
    page = told(capsys, str(tmp_path / "small.yaml"), "--no-standing", "--language", "de", command="teach")[1]
    script = """
      const told = JSON.parse(document.getElementById("data").textContent), say = makeSay(told.words, told.thousands);
      return [7, 1234, 1234567, "1234"].map((number) => say("{number}", {number}));
    """
    assert browsed(page, script, tmp_path) == ["7", "1.234", "1.234.567", "1234"]


def test_the_german_sheet_says_all_that_the_english_one_says(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """As many boxes to tick and warnings, cautions first, that nobody has checked it; ids and names as they are."""
    monkeypatch.chdir(MODELS)
    code, english, _ = told(capsys, *LISTS[2])
    german_code, german, beside = told(capsys, *LISTS[2], "--language", "de")
    assert (german_code, beside) == (code, "")
    for one, other in (("[ ]", "[ ]"), ("WARNING: ", "WARNUNG: "), ("CAUTION: ", "VORSICHT: "), ("Why: ", "Warum: ")):
        assert english.count(one) == german.count(other)
    for steps in (english, german):
        assert "19. " in steps or "12. " in steps
    order = ["Dies sind keine genehmigten", "Noch hat es niemand geprüft", "No instructor who speaks", "BEVOR SIE"]
    places = [flat(german).index(text) for text in order]
    assert places == sorted(places)
    assert "nicht übersetzt" not in flat(german)
    assert "„cargo door“" in german


# ---- catalogues of others ----------------------------------------------------------------------------------------


@pytest.fixture
def hold(tmp_path: Path) -> tuple[str, ...]:
    """A small hold and a goal on it."""
    (tmp_path / "hold.yaml").write_text(TEXT, encoding="utf-8")
    return str(tmp_path / "hold.yaml"), "--no-standing", "--goal", "D1 is open"


def entry(one: str, told: str) -> str:
    """One message of a catalogue."""
    return f'msgid "{one}"\nmsgstr "{told}"\n\n'


def test_a_partial_or_wrong_catalogue_drops_nothing(
    hold: tuple[str, ...], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """What is missing, empty, or has other places is said in English; the reader and whoever asked are told."""
    file = tmp_path / "xx.po"
    wrong = [
        entry("Stand clear.", ""),
        entry("It can crush somebody: severity {severity}.", "Nothing here."),
        entry("{moving} moves", "{moving.__class__} moves"),
        entry("make sure that {text}", "{text} {other}"),
        entry("{name} is {what}", "IST {what}: {name}"),
    ]
    file.write_text(HEADER + "".join(wrong), encoding="utf-8")
    _, english, _ = told(capsys, *hold)
    code, text, beside = told(capsys, *hold, "--language", str(file))
    assert code == 0
    for caution in (*CAUTIONS, "Stand clear.", "It can crush somebody: severity 1.", "The side door moves."):
        assert caution in flat(text)
    assert "IST closed, latched and locked: the side door" in flat(text)
    assert re.search(r"\d+ texts are not translated and stand here in English", flat(text))
    assert beside.count("not used, as its places are not those of") == 3
    assert english.count("[ ]") == text.count("[ ]")
    assert english.count("WARNING:") == text.count("WARNING:")


def test_a_catalogue_says_who_has_checked_it_and_how_it_writes_numbers() -> None:
    """In lines of its header: one that was checked is not said to be unchecked."""
    unchecked = Catalogue(HEADER.encode(), "xx.po")
    assert any("No instructor" in note for note in unchecked.notes())
    lines = '"X-Checked-By: I. Nstructor\\n"\n"X-Thousands: \'\\n"\n'
    checked = Catalogue(HEADER.replace('"Language', lines + '"Language', 1).encode(), "xx.po")
    assert checked.notes() == ()
    assert checked.number(1234567) == "1'234'567"
    assert [shipped("de").number(one) for one in (2104, 0.25, 1234567)] == ["2.104", "0,25", "1.234.567"]


BAD = [
    (b"\xff\xfe\x00nonsense", "is no catalogue of messages"),
    (b'msgid "a\nmsgstr "b"\n', "does not say its language"),
    (b'msgid "a"\nmsgstr "b"\n', "does not say its language"),
    (HEADER.replace("xx", "../x").encode(), ""),
    (HEADER.encode().replace(b'"Language', b'"Plural-Forms: nplurals=1; plural=__import__(1);\\n"\n"Language'), ""),
    (b"#" * (translation.MOST_BYTES + 1), "at most"),
]


@pytest.mark.parametrize(("content", "why"), BAD, ids=range(len(BAD)))
def test_a_file_that_is_no_catalogue_is_refused(
    content: bytes, why: str, hold: tuple[str, ...], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """With a message and the code of a command line that is wrong; nothing of it is run."""
    file = tmp_path / "xx.po"
    file.write_bytes(content)
    code, out, beside = told(capsys, *hold, "--language", str(file))
    assert (code, out) == (2, "")
    assert why in flat(beside)
    with pytest.raises(BadCatalogue):
        Catalogue(content, "xx.po")


@pytest.mark.parametrize(
    ("asked", "why"),
    [
        (("--language", "fr"), "there is no language 'fr', only en, de, or a file"),
        (("--language", "no-such.po"), "Cannot read no-such.po"),
        (("--language", "de", "--format", "json"), "what comes as json is for programs"),
        (("--language", "de", "--format", "procedure"), "what comes as procedure is for programs"),
    ],
)
def test_what_is_not_translated_is_not_promised(
    asked: tuple[str, ...], why: str, hold: tuple[str, ...], capsys: pytest.CaptureFixture[str]
) -> None:
    """Another format or language is refused before anything is worked out."""
    code, out, beside = told(capsys, *hold, *asked)
    assert (code, out) == (2, "")
    assert why in flat(beside)


def test_english_is_the_language_of_every_message() -> None:
    """What is told in English is the text itself."""
    for one, many in some(messages().items()):
        assert ENGLISH.message(one, many, 1) == one
        assert ENGLISH.message(one, many, 2) == (many or one)
    assert ENGLISH.notes() == ()
