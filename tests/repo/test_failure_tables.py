"""The tables that `interlock failures` gives to be signed: each says what the facts say, and no more than is known."""

from __future__ import annotations

import csv
import json
import re
import shutil
from collections.abc import Mapping, Sequence
from html.parser import HTMLParser
from pathlib import Path

import msgspec
import pytest
from markdown_it import MarkdownIt

from interlock import cli
from interlock.cli.exit_codes import FOUND, UNDECIDED
from interlock.report.csv.failures import failures_csv
from interlock.report.html.failures import failures_html
from interlock.report.markdown.failures import failures_markdown
from interlock.report.text.failures import failures_report
from interlock.report.views.facts import PROGRAM
from interlock.report.views.failure_noticing import noticing_of
from interlock.report.views.failure_tables import by_failure, by_requirement, by_severity
from interlock.report.views.failures import FailuresView, view_of_facts
from interlock.report.views.failures_facts import (
    BrokenFacts,
    CheckFacts,
    ContactAt,
    CourseFacts,
    FailureItem,
    FailuresFacts,
    SetFacts,
    ShownAt,
)
from interlock.report.views.identification import identification
from tests.golden.small_hold import REQUIREMENTS, TEXT
from tests.golden.wired_hold import WIRED, WIRED_ASKED
from tests.repo.test_checklist_command import print_page, sheets_of
from tests.some import some

CAUSES = """\
common_causes:
  - id: BENT
    name: bent door frame
    failures: [{of: D1, mode: latch_does_not_hold}, {of: D1, mode: lock_does_not_hold}]
"""
ASKED = ("failures", "small.yaml", "--no-standing", "--requirements", "asked.yaml", "--together", "2", "--runs", "1")


@pytest.fixture(autouse=True)
def in_a_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Every test works in a folder with the small hold, a common cause in it, and its requirements."""
    monkeypatch.chdir(tmp_path)
    Path("small.yaml").write_text(TEXT + CAUSES)
    Path("asked.yaml").write_text(REQUIREMENTS)


def item(id: str, mode: str = "stuck", several: tuple[str, ...] = ()) -> FailureItem:
    """A failure of one sort."""
    known = f"{id} sticks", "it stays", "by hand", "invented"
    return FailureItem(id, id, f"the {id}", "latch", mode, *known, several, None)


def broken(id: str, severity: str, sets: tuple[str, ...], complete: int = 2, open: tuple[str, ...] = ()) -> BrokenFacts:
    """What breaks a requirement, of a text called by the first letter; sets are written `a` and `ab`, the empty `-`."""
    found = tuple(SetFacts(tuple(one.strip("-")), 3, False, None, None) for one in sets)
    left = tuple(map(tuple, open))
    words = "it holds", "something falls", severity, "invented"
    return BrokenFacts(id, id[0], *words, (id[1:],), complete, "", found, left, "cvc5", None)


def view_of(
    *asked: BrokenFacts, size: int = 2, course: CourseFacts | None = None, checks: tuple[CheckFacts, ...] = ()
) -> FailuresView:
    """What is told of four failures, `a` to `c` and the common cause `d` of `a` and `b`."""
    items = (item("a"), item("b"), item("c", "broken"), item("d", "happens", ("a", "b")))
    code = FOUND if any(one.sets for one in asked) else UNDECIDED
    rates, left = (None, (), ()), ((), ("assumed",), ("caution",))
    return view_of_facts(
        FailuresFacts(
            1,
            PROGRAM,
            code,
            "x.yaml",
            "A hold",
            size,
            items,
            (),
            (),
            asked,
            *rates,
            course,
            checks,
            *left,
            identification(()),
        )
    )


LATCHES = (
    broken("p1", "2", ("a", "bc")),
    broken("p2", "2", ("a", "d")),
    broken("q3", "1", ("-",)),
    broken("r4", "3", ("a", "b"), 1, ("cd",)),
)


def test_each_severity_is_counted_by_itself() -> None:
    """Sets by their size, common causes apart; what nothing needs to fail for by requirement; what is open too."""
    rows = by_severity(view_of(*LATCHES))
    assert [(row.severity, row.asked, [number for _, number in row.counts], row.open) for row in rows] == [
        ("1", 1, [1, 0, 0, 0], ""),
        ("2", 2, [0, 1, 1, 1], ""),
        ("3", 1, [0, 2, 0, 0], "at least 1 set"),
    ]


def test_a_set_is_dormant_only_where_none_of_its_failures_shows() -> None:
    """Single failures first; of what is not known it is not said; without a course nothing is."""
    course = CourseFacts("container", 9, (), ("a", "c"), ("d",), "")
    (hidden,) = noticing_of(view_of(*LATCHES, course=course))
    assert hidden.rows == (("2", "A sticks", ""),)
    both = CourseFacts("container", 9, (), ("b", "c"), (), "the time was up")
    (hidden,) = noticing_of(view_of(*LATCHES, course=both))
    assert [said for _, said, _ in hidden.rows] == ["B sticks", "B sticks and c sticks"]
    assert hidden.texts[1] == "NOT all of it was followed: the time was up."
    assert not noticing_of(view_of(*LATCHES))


def test_what_a_check_shows_is_told_apart_from_what_nothing_shows() -> None:
    """A set is dormant where no check shows any of it; what is not known counts as not shown.  Every format says so."""
    course = CourseFacts("container", 9, (), ("a", "b", "c"), (), "")
    check = CheckFacts("look.yaml", "Look", 4, (ShownAt("b", 3),), ("a",), ("c", "d"), "")
    view = view_of(*LATCHES, course=course, checks=(check,))
    hidden, found = noticing_of(view)
    assert [said for _, said, _ in hidden.rows] == ["A sticks"]
    assert found.rows == (
        ("3", "B sticks", "look.yaml, action 3"),
        ("2", "B sticks and c sticks", "B sticks: look.yaml, action 3"),
    )
    plain = " ".join(line.text.strip() for line in failures_report(view, False, 1.0))
    for text in (failures_html(view), failures_markdown(view), plain):
        assert "look.yaml, action 3" in text
        assert "of 2 that is not known" in text
    alone, _ = noticing_of(view_of(*LATCHES, checks=(check,)))
    assert [said for _, said, _ in alone.rows] == ["A sticks", "D sticks"]


def test_each_failure_is_told_with_what_it_breaks() -> None:
    """Alone, then with which others; of what is not known nothing is said."""
    told = {
        name: ([(one.beside, one.broken) for one in row.effects], row.rest)
        for mode in by_failure(view_of(*LATCHES[:3]))
        for row in mode.rows
        for name in row.names
    }
    pair, rest = ("severity 2: p",), "In no other set of at most 2 failures."
    assert told == {
        "the a": ([("alone", ("severity 2: p (2 places)",))], rest),
        "the b": ([("with: C sticks", pair)], rest),
        "the c": ([("with: B sticks", pair)], rest),
        "the d (at once: A sticks and b sticks)": ([("alone", pair)], rest),
    }


def row_of(count: int, breaks: Mapping[int, Sequence[int]], places: int, size: int = 1) -> FailuresView:
    """So many latches in a row; by the place of each, at which places of one requirement it breaks it alone."""
    by_place: list[list[SetFacts]] = [[] for _ in range(places)]
    for latch, where in breaks.items():
        for at in where:
            by_place[at].append(SetFacts((f"f{latch}",), 3, False, None, None))
    asked = tuple(
        msgspec.structs.replace(broken(f"p{at}", "1", ()), about=(f"bay {at}",), sets=tuple(sets))
        for at, sets in enumerate(by_place)
    )
    view = view_of(*asked, size=size)
    items = tuple(item(f"f{at}") for at in range(count))
    return view_of_facts(msgspec.structs.replace(view.facts, failures=items))


@pytest.mark.parametrize(
    ("breaks", "said"),
    [
        ({at: [at] for at in range(5)}, ("in turn, bay 0 to bay 4: the f0 to the f4 (5)",)),
        ({at: range(5) for at in range(4)}, ("everywhere: the f0 to the f3 (4)",)),
        ({0: [2], 1: [2], 2: [2], 4: [2]}, ("bay 2: the f0 to the f2 (3), the f4",)),
        ({0: [0], 1: [1], 2: [1], 3: [3]}, ("bay 0: the f0", "bay 1: the f1, the f2", "bay 3: the f3")),
        (
            {0: [0, 1], 1: [1, 2], 2: [2, 4]},
            ("bay 0 and bay 1: the f0", "bay 1 and bay 2: the f1", "bay 2 and bay 4: the f2"),
        ),
        ({0: [0], 1: [1], 3: [3], 4: [4]}, ("bay 0: the f0", "bay 1: the f1", "bay 3: the f3", "bay 4: the f4")),
    ],
)
def test_like_items_are_told_together_only_where_they_follow_one_another(
    breaks: Mapping[int, Sequence[int]], said: tuple[str, ...]
) -> None:
    """In the order of the hold, none left out between, and at places that are the same or the next ones in turn."""
    (table,) = by_requirement(row_of(5, breaks, 5))
    assert [(row.ways, row.told) for _, rows in table.alike for row in rows] == [("latch: stuck", said)]


def test_what_is_told_together_is_in_the_table_one_by_one() -> None:
    """CSV has a row for each requirement and set, for what is not settled, and for what is in no set."""
    view = view_of(*LATCHES)
    rows = list(csv.DictReader(failures_csv(view).splitlines()))
    assert [(row["result"], row["requirement"], row["failures"], row["severity"]) for row in rows] == [
        ("breaks", "p1", "a", "2"),
        ("breaks", "p1", "b; c", "2"),
        ("breaks", "p2", "a", "2"),
        ("breaks", "p2", "d", "2"),
        ("breaks", "q3", "", "1"),
        ("breaks", "r4", "a", "3"),
        ("breaks", "r4", "b", "3"),
        ("not settled", "r4", "c; d", "3"),
    ]
    assert {row["caution"] for row in rows} == {"caution"}
    assert {row["known"] for row in rows} == {view.completeness}
    (none,) = csv.DictReader(failures_csv(row_of(1, {}, 1)).splitlines())
    assert (none["result"], none["failures"], none["said"]) == ("in no set that was found", "f0", "f0 sticks")


@pytest.mark.parametrize(
    ("requirement", "size", "said"),
    [
        (broken("p1", "1", ()), 2, "In no set of at most 2 failures."),
        (broken("p1", "1", (), 1), 1, "Breaks nothing by itself."),
        (broken("p1", "1", (), 1), 2, "Breaks nothing by itself; of more not settled."),
        (broken("p1", "1", (), 2, ("ac",)), 2, "Breaks nothing by itself; of more not settled."),
        (broken("p1", "1", (), 1, ("a",)), 1, "Not settled whether it breaks anything."),
        (broken("p1", "1", (), 0), 1, "Not settled whether it breaks anything."),
        (broken("p1", "1", (), -1), 2, "Not settled whether it breaks anything."),
        (broken("p1", "1", ("a",), 0), 2, "Not settled whether it breaks anything else."),
        (broken("p1", "1", ("ab",), 2, ("ac",)), 2, "Breaks nothing else by itself; of more not settled."),
        (broken("p1", "1", ("a",), 1), 1, ""),
    ],
)
def test_no_more_is_said_of_a_failure_than_is_known(requirement: BrokenFacts, size: int, said: str) -> None:
    """Beside the sets in which it is, by how far they are all that there are."""
    rows = [row for mode in by_failure(view_of(requirement, size=size)) for row in mode.rows]
    assert next(row.rest for row in rows if "the a" in row.names) == said


def test_each_requirement_is_told_with_its_sets() -> None:
    """The gravest first, by size, with the places where a set is a smallest one, and whether there are others."""
    told = [
        (one.first.from_, [(group.title, row.said, row.places) for group, rows in one.groups for row in rows], one.rest)
        for one in by_requirement(view_of(*LATCHES))
    ]
    assert told == [
        ("q", [("Broken although nothing fails", "Nothing fails", "3")], ""),
        (
            "p",
            [
                ("Single failures", "A sticks", "all"),
                ("Common causes", "D sticks", "1 of 2: 2"),
                ("Pairs of failures", "B sticks and c sticks", "1 of 2: 1"),
            ],
            "There is no other set of at most 2 failures.",
        ),
        (
            "r",
            [("Single failures", "A sticks", "4"), ("Single failures", "B sticks", "4")],
            "NOT complete. Of single failures there are no others; of larger sets there may be."
            " At least 1 set could not be settled.",
        ),
    ]


@pytest.mark.parametrize(
    ("complete", "size", "said"),
    [
        (0, 2, "NOT complete. There may be others."),
        (1, 2, "NOT complete. Of single failures there are no others; of larger sets there may be."),
        (2, 3, "NOT complete. Of single failures and pairs there are no others; of larger sets there may be."),
        (1, 1, "There is no other single failure."),
    ],
)
def test_how_far_sets_are_all_there_are(complete: int, size: int, said: str) -> None:
    """The size up to which it is known is told."""
    assert by_requirement(view_of(broken("p1", "1", ("a",), complete), size=size))[0].rest == said


def test_where_too_many_sets_are_open_to_be_named_it_is_at_least_so_many() -> None:
    """Of one requirement one pair is left; of another nothing is claimed about pairs, which no number may hide."""
    view = view_of(broken("p1", "1", ("a",), 2, ("bc",)), broken("q1", "1", ("a",), 1), broken("r2", "2", (), 1))
    said = "Of single failures there are no others; of larger sets there may be"
    counted = "at least 1 set of failures, counted for each requirement, could not be settled"
    assert view.completeness == f"NOT complete. {said} ({counted})."
    assert [row.open for row in by_severity(view)] == ["at least 1 set", "some"]


@pytest.mark.parametrize(
    ("open", "single", "left"),
    [
        (("bc",), True, "1 set"),
        (("bc", "bd"), True, "2 sets"),
        (("b",), False, "1 set"),
        (("b", "cd"), False, "2 sets"),
    ],
)
def test_sets_that_are_open_leave_known_what_is_smaller(open: tuple[str, ...], single: bool, left: str) -> None:
    """Of single failures all is known where only pairs are open; of each requirement, and of all together."""
    view = view_of(broken("p1", "1", ("a",), 2, open), broken("q1", "1", ("a",)))
    known = "Of single failures there are no others; of larger sets there may be"
    others = "These sets are proved to break a requirement; there may be others"
    rests = [one.rest for one in by_requirement(view)]
    assert rests[0] == f"NOT complete. {known if single else 'There may be others'}. {left} could not be settled."
    assert rests[1] == "There is no other set of at most 2 failures."
    counted = f"({left} of failures, counted for each requirement, could not be settled)"
    assert view.completeness == f"NOT complete. {known if single else others} {counted}."


@pytest.mark.parametrize(
    ("complete", "size", "said"),
    [
        (0, 2, "NOT complete. There may be some."),
        (1, 2, "NOT complete. Of single failures there are none; of larger sets there may be."),
        (1, 1, "There is no single failure that breaks it."),
        (2, 2, "There is no set of at most 2 failures that breaks it."),
    ],
)
def test_where_no_set_is_found_no_other_is_spoken_of(complete: int, size: int, said: str) -> None:
    """What nothing breaks has no *other* sets."""
    assert by_requirement(view_of(broken("p1", "1", (), complete), size=size))[0].rest == said


def test_what_is_disputed_is_said_on_every_page() -> None:
    """Nothing that stands beside it is to be used."""
    view = view_of(msgspec.structs.replace(LATCHES[0], disputed="it does not fit", complete=-1))
    assert "DISPUTED" in by_requirement(view)[0].rest
    assert "DISPUTED" in failures_html(view)
    assert "DISPUTED" in failures_markdown(view)
    assert "two parts of this program contradict each other" in failures_html(view)


class Page(HTMLParser):
    """The rows of the tables of a page, its heads without a scope, and its text."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.rows: list[list[str]] = []
        self.unscoped: list[str] = []
        self.text = ""
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Begins a row or a cell."""
        if tag == "tr":
            self.rows.append([])
        if tag in ("td", "th"):
            self.rows[-1].append("")
        if tag == "th" and "scope" not in dict(attrs):
            self.unscoped.append(str(self.getpos()))

    def handle_data(self, data: str) -> None:
        """Keeps what is read."""
        self.text += data
        if self.rows and self.rows[-1]:
            self.rows[-1][-1] += data


def test_page_and_text_to_paste_say_the_same(capsys: pytest.CaptureFixture[str]) -> None:
    """Of a real analysis: every head has its scope, each format has every set, and one signs after what is signed."""
    shown = {}
    for layout in ("html", "markdown", "json", "csv", "text"):
        assert cli.run([*ASKED, "--format", layout]) == FOUND
        shown[layout] = capsys.readouterr().out
    page, facts = Page(shown["html"]), json.loads(shown["json"])
    assert page.unscoped == []
    tokens = MarkdownIt("commonmark").enable("table").parse(shown["markdown"])
    cells = [token.content for at, token in enumerate(tokens) if at and tokens[at - 1].type == "td_open"]
    said = {one["id"]: one["text"] for one in facts["failures"]}
    sets = [one["failures"] for asked in facts["requirements"] for one in asked["sets"]]
    assert max(map(len, some(sets))) == 1
    for failures in sets:
        words = " and ".join(said[id] for id in failures) or "nothing fails"
        words = words[0].upper() + words[1:]
        ways = [f"{one['item']}: {one['mode']}" for one in facts["failures"] if one["id"] in failures]
        assert any(all(way in " ".join(row) for way in ways) for row in page.rows), words
        assert words in cells, words
    table = list(csv.DictReader(shown["csv"].splitlines()))
    listed = {(row["requirement"], row["failures"]) for row in table}
    assert listed >= {(one["id"], "; ".join(each["failures"])) for one in facts["requirements"] for each in one["sets"]}
    assert {id for row in table for id in row["failures"].split("; ")} >= {one["id"] for one in facts["failures"]}
    flat = " ".join(page.text.split())
    for text in (*facts["assumptions"], *facts["cautions"]):
        assert flat.index(text) < flat.index("Signed is all that stands before this line")
    assert "COMMON CAUSES" in shown["text"]
    assert "and 1 common cause break" in " ".join(shown["text"].split())


@pytest.mark.browser
@pytest.mark.skipif(not (shutil.which("chromium") and shutil.which("pdftotext")), reason="no Chromium or pdftotext")
def test_printed_tables_can_be_signed(tmp_path: Path) -> None:
    """On paper the first sheet has result, caution and the table by severity, and no heading ends a sheet."""
    page, paper = tmp_path / "page.html", tmp_path / "page.pdf"
    assert cli.run([*ASKED, "--format", "html", "-o", str(page)]) == FOUND
    print_page(page, paper)
    sheets = sheets_of(paper)
    first = "\n".join(sheets[0])
    assert "break a requirement" in first
    assert "This is not approved maintenance data" in first
    assert "Requirements asked" in first
    headings = re.findall(r"<h[23]>(.*?)</h[23]>", page.read_text())
    assert not [lines[-1] for lines in some(sheets) if lines[-1] in headings]


def wired(*lines: tuple[str, str, str], alike: str = "sensor") -> tuple[FailureItem, ...]:
    """Contacts that weld: each line by what it is of, its place, and a letter for each of its contacts."""
    return tuple(
        msgspec.structs.replace(
            item(f"{of}.{place}.{asks}", "welded"),
            name=f"the contact {asks}",
            item="contact",
            contact=ContactAt(asks, of, place, alike),
        )
        for of, place, letters in lines
        for asks in letters
    )


def of_contacts(items: tuple[FailureItem, ...], *asked: BrokenFacts) -> FailuresView:
    """What is told of them."""
    facts = view_of(*asked, size=1).facts
    return view_of_facts(msgspec.structs.replace(facts, failures=items))


def breaking(id: str, *failures: str) -> BrokenFacts:
    """A requirement that each of these breaks alone."""
    return msgspec.structs.replace(
        broken(id, "1", (), 1), sets=tuple(SetFacts((one,), 3, False, None, None) for one in failures)
    )


def test_contacts_of_like_lines_are_told_once_with_the_places() -> None:
    """The same positions of lines that ask for like things; others, and a line of two contacts, by themselves."""
    items = wired(("lane", "fore", "abcd"), ("lane", "aft", "efgh"), ("door", "is", "ij"))
    at = {one.id: one for one in items}
    chosen = [id for id in at if at[id].name[-1] in "abcegi"]
    (table,) = by_failure(of_contacts(items, breaking("p1", *chosen)))
    breaks, none = table.rows
    assert breaks.names == (
        '3 contacts ("a" to "c" (3)) in lane (fore)',
        '2 contacts ("e", "g") in lane (aft)',
        'the contact "i" in door (is)',
    )
    assert none.names == (
        'the contact "d" in lane (fore)',
        '2 contacts ("f", "h") in lane (aft)',
        'the contact "j" in door (is)',
    )
    alike = [id for id in at if at[id].name[-1] in "acegi"]
    (table,) = by_failure(of_contacts(items, breaking("p1", *alike)))
    assert table.rows[0].names == ('2 contacts ("a", "c") in lane (fore, aft)', 'the contact "i" in door (is)')


def test_lines_that_ask_for_other_things_are_not_told_together() -> None:
    """As many contacts in the same positions, but of another sort."""
    items = wired(("lane", "fore", "abc")) + wired(("lane", "aft", "def"), alike="relay")
    (table,) = by_failure(of_contacts(items, breaking("p1", "lane.fore.a", "lane.aft.d")))
    assert table.rows[0].names == ('the contact "a" in lane (fore)', 'the contact "d" in lane (aft)')


def test_like_lines_that_break_another_place_each_are_told_in_turn() -> None:
    """Which contacts is said once, then where the requirement breaks and in which line; none is left out."""
    items = wired(("lane", "fore", "abc"), ("lane", "aft", "def"))
    view = of_contacts(items, breaking("p1", "lane.fore.a", "lane.fore.c"), breaking("p2", "lane.aft.d", "lane.aft.f"))
    (table,) = by_requirement(view)
    ((_, (row,)),) = table.alike
    assert row.told == ('in turn, 1: 2 contacts ("a", "c") in lane (fore); 2: lane (aft)',)


def test_the_runs_that_are_told_are_of_unlike_sets(capsys: pytest.CaptureFixture[str]) -> None:
    """Of the gravest each of another way to fail and another item, as long as there are such."""
    Path("loose.yaml").write_text(WIRED)
    Path("asked.yaml").write_text(WIRED_ASKED)
    args = ["failures", "loose.yaml", "--no-standing", "--requirements", "asked.yaml", "--runs", "6"]
    assert cli.run([*args, "--format", "json"]) == FOUND
    facts = json.loads(capsys.readouterr().out)
    known = {one["id"]: one for one in facts["failures"]}
    told = [one["failures"] for asked in facts["requirements"] for one in asked["sets"] if one["story"] is not None]
    assert len(told) == 6
    single = [id for failures in told for id in failures]
    assert len(single) >= 3
    assert len({(known[id]["item"], known[id]["mode"]) for id in single}) == len(single)
    gravest = [asked for asked in facts["requirements"] if asked["severity"] == "1"]
    grave = {id for asked in gravest for one in asked["sets"] for id in one["failures"]}
    assert set(single) <= grave
