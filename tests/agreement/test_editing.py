"""What is looked up in a text while it is written: faults, completion, what a word is, renaming; broken texts too."""

from __future__ import annotations

import gc
import random
from dataclasses import replace
from pathlib import Path

import pytest

from interlock.cli.reading import fetch
from interlock.diagnostics.codes import CODES
from interlock.hold.editing.completing import Offer, complete
from interlock.hold.editing.known import Known, know
from interlock.hold.editing.looking import definition_of, outline, references_of, told_at
from interlock.hold.editing.meanings import Mentioned
from interlock.hold.editing.mending import mend
from interlock.hold.editing.renaming import Edit, Refused, edited, name_to_change, rename
from interlock.hold.kinds import DEVICE_KINDS
from interlock.hold.language.field_types import Listed, types_within
from interlock.hold.language.model import SECTIONS, Hold
from interlock.hold.language.nodes import split_lines
from interlock.hold.language.text_types import Choice
from interlock.hold.loader import Source
from interlock.hold.overlay.changes import CHANGES
from interlock.report.markdown.hover import hover_markdown
from tests.golden.small_hold import TEXT
from tests.repo.test_codes import whole_file
from tests.some import swept

ROOT = Path(__file__).parents[2]
LANE = "models/single-lane.yaml"
DECK = "models/twin-lane.yaml"
LOAD = "models/procedures/single-lane-load.yaml"
FLAWED = "models/flawed/sill-lock-switches-left-out.yaml"
HERE = "@@"
"""Where the cursor is."""
FILES = sorted(
    path.relative_to(ROOT).as_posix()
    for folder in ("models", "specs")
    for path in (ROOT / folder).rglob("*.yaml")
    if path.name != "expected.yaml"
)


@pytest.fixture(autouse=True)
def at_root(monkeypatch: pytest.MonkeyPatch) -> None:
    """Files are named from the folder of the project."""
    monkeypatch.chdir(ROOT)


def text_of(name: str) -> str:
    return (ROOT / name).read_text("utf-8")


def opened(name: str, old: str = "", new: str = "", text: str | None = None) -> tuple[Known, int, int]:
    """A file in which the first `old` is written over by `new`, with the place of the cursor; `text` replaces it."""
    text = text_of(name) if text is None else text
    assert old in text
    changed = text.replace(old, new, 1)
    before, _, after = changed.partition(HERE)
    lines = before.split("\n")
    sound = know(Source(name, text.encode()), fetch)
    known = know(Source(name, (before + after).encode()), fetch, sound)
    return known, len(lines), len(lines[-1]) + 1


def offers(name: str, old: str, new: str) -> dict[str, Offer]:
    known, line, column = opened(name, old, new)
    return {one.text: one for one in complete(known, line, column)}


@pytest.mark.parametrize("name", swept(FILES, 12))
def test_sound_files_have_no_faults_and_names_that_are_there(name: str) -> None:
    """A shipped file is known without a fault; every name in it stands where it is said to stand, letter by letter or
    with the holes of a repetition."""
    known = know(Source(name, (ROOT / name).read_bytes()), fetch)
    errors = [one for one in known.faults if CODES[one.code].severity == "error"]
    assert errors == []
    for one in known.mentions:
        line = known.lines[one.span.line - 1]
        written = line[one.span.column - 1 : one.span.column - 1 + one.span.length]
        assert written == one.name or "{" in written, one


def test_every_name_given_is_found() -> None:
    """The names that are given in a file are those that the loader finds."""
    known = know(Source(DECK, (ROOT / DECK).read_bytes()), fetch)
    assert known.hold is not None
    given = {one.name for one in known.mentions if one.section is not None}
    listed = {
        thing.id for section in SECTIONS for thing in getattr(known.hold, section) if getattr(thing, "id", "") != ""
    }
    assert given == listed


EXPECTED = {
    "a kind": (LANE, "kind: powered guide resting raised", "kind: po@@", set(DEVICE_KINDS)),
    "the states of a kind": (
        LANE,
        "    locking: raised\n    starts: raised\n\n",
        "    locking: @@\n\n",
        {"lowered", "raised"},
    ),
    "positions of a lever": (
        LANE,
        "kind: lever, positions: [left, right]}",
        "kind: lever, positions: [left, right], starts: @@}",
        {"neutral", "left", "right"},
    ),
    "states behind is": (LANE, "moves: gate_released", "moves: GP is not @@", {"off", "on"}),
    "parts behind the dot": (
        LANE,
        "moves: gate_released",
        "moves: 3C.@@",
        {"fore", "aft", "left", "right", "up", "sides", "devices", "kinds"},
    ),
    "controls alone": (LANE, "controls: [LVB]", "controls: [@@]", {"KEY", "STN", "LVA", "LVB", "LVS", "SGS"}),
    "directions": (LANE, "on: 1C.left", "on: 1C.@@", {"fore", "aft", "left", "right"}),
    "places, in an unfinished list": (LANE, "places: [at_door, in_bay_1]", "places: [@@", {"at_door", "in_bay_1"}),
    "true and false": (LANE, "may_be_lost: true", "may_be_lost: @@", {"true", "false"}),
    "what can be lowered by hand": (LOAD, "steps:\n", "steps:\n  - lower @@\n", {"M1", "M2", "M3"}),
    "positions of a switch": (LOAD, "steps:\n", "steps:\n  - set KEY to @@\n", {"off", "on"}),
    "doors to bring a unit to": (LOAD, "steps:\n", "steps:\n  - bring HALF to @@\n", {"D1"}),
    "states to be fixed in": (FLAWED, "changes:\n", "changes:\n  - {fix: M3L, in: @@\n", {"lowered", "raised"}),
    "what a change can do": (FLAWED, "changes:\n", "changes:\n  - @@\n", {f"{one}: " for one in CHANGES} | {"for: "}),
    "failure modes": (
        LANE,
        "zones:\n",
        "failures:\n  - {of: GP, mode: @@}\nzones:\n",
        {"lost", "returns"},
    ),
    "states of a start": (LOAD, "start: {GP: on}", "start: {GP: @@}", {"off", "on"}),
}


@pytest.mark.parametrize("asked", EXPECTED)
def test_exactly_what_fits_is_offered(asked: str) -> None:
    """At each place exactly the words are offered that are right there."""
    name, old, new, wanted = EXPECTED[asked]
    assert set(offers(name, old, new)) == wanted


def test_states_and_words_of_expressions() -> None:
    """Where a fact begins everything that can be said is offered, and quantifiers; behind one what joins; and states
    of a variable are those of what it runs through."""
    begun = offers(LANE, "moves: gate_released", "moves: not @@")
    assert {"door_open", "KEY", "3C", "every", "not"} <= set(begun) and "off" not in begun
    assert {"and", "or", "implies"} == set(offers(LANE, "moves: gate_released", "moves: GP is on @@"))
    assert {"raised", "lowered"} <= set(offers(LANE, "moves: gate_released", "moves: every m in devices, m is @@"))
    assert "devices" in offers(LANE, "moves: gate_released", "moves: every m in @@")
    groups = opened(LANE, "zones:\n", "requirements:\n  - for: {d: doors}\n    when: d is @@\nzones:\n")
    assert {"closed", "latched"} <= {one.text for one in complete(*groups)}


def test_part_of_a_word_is_replaced() -> None:
    """What is written of the word already is replaced, and no more."""
    assert offers(LANE, "kind: powered guide resting raised", "kind: powered gui@@")["spring latch"].replaces == 11
    assert offers(LANE, "moves: gate_released", "moves: GP is on and door_@@")["door_open"].replaces == 5


def test_keys_are_those_that_are_left() -> None:
    """The keys of a record are offered, those that are needed first, without those that are there."""
    found = offers(LANE, "kind: lever, positions: [left, right]}", "kind: lever, @@")
    assert {"starts: ", "positions: ", "behind: "} <= set(found)
    assert not {"id: ", "kind: ", "name: "} & set(found)
    assert offers(LANE, "title:", "@@title:")["layout: "].order < offers(LANE, "title:", "@@title:")["relays: "].order


CHOICES = [
    (section, field.key, sorted(str(one) for kind in kinds for one in kind.options), isinstance(field.type, Listed))
    for section, record in SECTIONS.items()
    for field in record.declaration.fields
    if (kinds := [one for one in types_within(field.type) if isinstance(one, Choice)])
]


@pytest.mark.parametrize(
    ("section", "key", "choices", "is_list"), CHOICES, ids=lambda one: one if isinstance(one, str) else ""
)
def test_every_choice_of_every_record_is_offered(section: str, key: str, choices: list[str], is_list: bool) -> None:
    """Whatever one of a few words can stand in a field of an item, exactly these are offered there."""
    before = f"interlock: 1\n{section}:\n  - {{id: X, {key}: {'[' if is_list else ''}"
    known = know(Source("x.yaml", f"{before}{']' if is_list else ''}}}\n".encode()), lambda name: None)
    lines = before.split("\n")
    found = complete(known, len(lines), len(lines[-1]) + 1)
    assert sorted(one.text for one in found) == choices


def test_what_a_word_is() -> None:
    """A thing is told with what it is and can be, a field with what it is for, a kind with what it does."""
    told = told_at(*opened(LANE, "moves: gate_released", "moves: SG is ra@@ised and SG is lowered"))
    assert told is None
    told = told_at(*opened(LANE, "moves: gate_released", "moves: S@@G is raised"))
    assert told is not None and told.kind is DEVICE_KINDS["powered guide resting raised"]
    assert {"raised", "lowered"} <= set(told.states) and told.about == "a device: sill guard"
    field = told_at(*opened(LANE, "restrains: [x, z]", "restr@@ains: [x, z]"))
    assert field is not None and field.field is not None and "Axes along which" in hover_markdown(field)
    kind = told_at(*opened(LANE, "kind: powered guide resting raised", "kind: powered gu@@ide resting raised"))
    assert kind is not None and "raised to lowered" in hover_markdown(kind)


def test_definition_and_references_go_through_files() -> None:
    """A name in a modification leads to the hold that it modifies, and the name of its file to that file."""
    known, line, column = opened(FLAWED, "change: door_free", "change: door_@@free")
    given = definition_of(known, line, column)
    assert given is not None and given.file == DECK
    assert "door_free" in known.reads[DECK][given.line - 1]
    assert {span.file for span in references_of(known, line, column)} == {DECK, FLAWED}
    file = definition_of(*opened(FLAWED, "../twin-lane.yaml", "../twin@@-lane.yaml"))
    assert file is not None and (file.file, file.line) == (DECK, 1)


def test_outline_lists_items() -> None:
    """The outline has the sections in order, and their items with what people call them."""
    known, _, _ = opened(LANE)
    sections = {part.name: part for part in outline(known)}
    assert list(sections)[:4] == ["interlock", "title", "about", "layout"]
    assert ("SG", "sill guard") in [(part.name, part.about) for part in sections["devices"].parts]
    assert sections["devices"].last_line < sections["controls"].span.line


def renamed(name: str, old: str, new: str, called: str, text: str | None = None) -> str | Refused:
    """The file with what is at the cursor called otherwise."""
    known, line, column = opened(name, old, new, text)
    found = rename(known, line, column, called, fetch)
    return found if isinstance(found, Refused) else edited(known.lines, found)


@pytest.mark.parametrize(
    ("old", "new", "called"),
    swept(
        [
            ("{id: GP, name", "{id: G@@P, name", "GPU"),
            ("  - id: D1", "  - id: D@@1", "DOOR"),
            ("  - {id: HALF", "  - {id: HA@@LF", "SMALL"),
            ('id: "M{r}"', 'id: "@@M{r}"', "ML{r}"),
            ('id: "up_S{r}"', 'id: "up@@_S{r}"', "stands_{r}"),
            ("{id: at_door", "{id: at@@_door", "out_there"),
            ("- id: armed", "- id: arm@@ed", "fresh"),
        ],
        3,
    ),
)
def test_renamed_description_says_the_same(old: str, new: str, called: str) -> None:
    """After a renaming the description is sound, has the new name in the place of the old one, and back again it is the
    same file."""
    text = text_of(LANE)
    after = renamed(LANE, old, new, called)
    assert isinstance(after, str), after
    now = know(Source(LANE, after.encode()), fetch)
    before = know(Source(LANE, text.encode()), fetch)
    assert now.faults == before.faults == ()
    assert len(now.mentions) == len(before.mentions) and after != text
    known, line, column = opened(LANE, old, new)
    was = name_to_change(known, line, column)
    assert not isinstance(was, Refused)
    again = rename(now, was[0].line, was[0].column, was[1], fetch)
    assert not isinstance(again, Refused)
    assert edited(now.lines, again) == text


@pytest.mark.parametrize(
    ("old", "new", "called", "why"),
    [
        ("{id: GP, name", "{id: G@@P, name", "KEY", "'KEY' is a control already"),
        ("{id: GP, name", "{id: G@@P, name", "1C", "'1C' is a bay"),
        ("{id: GP, name", "{id: G@@P, name", "is", "a word of the language"),
        ("{id: GP, name", "{id: G@@P, name", "bays", "a group that every description has"),
        ("{id: GP, name", "{id: G@@P, name", "a b", "cannot be a name"),
        ("{id: GP, name", "{id: GP, na@@me", "x", "no name here"),
        ('id: "M{r}"', 'id: "@@M{r}"', "MID", "the same {r} in it"),
        ('id: "M{r}"', 'id: "@@M{r}"', "S{r}", "would have a fault"),
        ("{id: GP, name", "{id: G@@P, name", "G{r}", "no braces"),
        ("bay: 1C", "bay: 1@@C", "X", "nothing that has a name of its own"),
        ("reads: D1-1C is occupied", "reads: D1-@@1C is occupied", "X", "is called after 'D1'"),
    ],
)
def test_what_would_clash_is_refused(old: str, new: str, called: str, why: str) -> None:
    """A new name that is taken, reserved or none, and what is no name, is refused with the reason."""
    found = renamed(LANE, old, new, called)
    assert isinstance(found, Refused) and why in found.why, found


def test_renaming_goes_into_options_and_failures() -> None:
    """Changes of options that are not fitted, and contacts that can fail, name things too."""
    text = text_of(LANE) + (
        "options:\n  - id: O1\n    changes:\n      - {fix: SGS, in: raise}\n"
        "      - change: guard_down\n        to: {is: key_power and SGS is lower}\n"
        "failures:\n  - {of: door_released, contact: SGS is raise, mode: stuck_true}\n"
    )
    after = renamed(LANE, "{id: SGS, name", "{id: SG@@S, name", "GSW", text)
    assert isinstance(after, str) and "SGS" not in after
    assert after.count("GSW") == text.count("SGS")


def test_other_open_files_are_renamed_with_it() -> None:
    """A modification that is open follows when a thing of its base is called otherwise."""
    known, line, column = opened(DECK, "id: door_free", "id: door@@_free")
    other = know(Source(FLAWED, text_of(FLAWED).encode()), fetch)
    found = rename(known, line, column, "door_may_move", fetch, [other])
    assert not isinstance(found, Refused)
    assert {edit.span.file for edit in found} == {DECK, FLAWED}
    text = b"interlock: 1\ntitle: t\nmodifies: demo:twin-lane\nchanges:\n  - remove: H1\n"
    alone = know(Source("models/x.yaml", text), fetch)
    refused = rename(alone, 5, 13, "X", fetch)
    assert isinstance(refused, Refused) and "comes with the program" in refused.why


@pytest.mark.parametrize("code", sorted(CODES))
def test_what_a_message_offers_mends_it(code: str) -> None:
    """Where a message names what was meant, writing that in its place takes away at least that fault."""
    known = know(Source("hold.yaml", whole_file(CODES[code].wrong).encode()), fetch)
    edits = [edit for fault in known.faults if fault.code == code and (edit := mend(fault, known)) is not None]
    texts = [edited(known.lines, [edit]) for edit in edits]
    left = [[one.code for one in know(Source("hold.yaml", text.encode()), fetch).faults].count(code) for text in texts]
    assert [count for count in left if count >= [one.code for one in known.faults].count(code)] == []


def test_some_messages_are_mended() -> None:
    """Of the examples of faults many offer what was meant."""
    known = [know(Source("hold.yaml", whole_file(one.wrong).encode()), fetch) for one in CODES.values()]
    assert sum(mend(fault, one) is not None for one in known for fault in one.faults) >= 8


def test_hint_that_takes_in_the_word_before() -> None:
    """`D1 closed` becomes `D1 is closed`, not `D1 D1 is closed`; a text in quotes keeps them."""
    known, _, _ = opened(LANE, "moves: gate_released", "moves: D1 closed")
    (fault,) = known.faults
    assert mend(fault, known) == Edit(replace(fault.span, column=12, length=9), "D1 is closed")


SIGNS = ":{}[]'\"\n\t-,#&*!|>%@`é🔧\ue0f0\r ."


def _mutilated(text: str, seed: int) -> str:
    """A text in the middle of being written: parts gone, doubled, put elsewhere, signs where none belong."""
    rng = random.Random(seed)
    for _ in range(rng.randint(1, 4)):
        at = rng.randrange(len(text) + 1)
        end = min(len(text), at + rng.choice((1, 1, 3, 20, 200)))
        what = rng.choice(("cut", "put", "double", "end"))
        if what == "cut":
            text = text[:at] + text[end:]
        elif what == "put":
            text = (
                text[:at]
                + rng.choice((*":{}[]'\"\n\t-,#&*!|>%@`é🔧\ue0f0\r .", " is ", "{r}", "for: ", "- id: "))
                + text[at:]
            )
        elif what == "double":
            text = text[:at] + text[at:end] + text[at:]
        else:
            text = text[:end]
    return text


@pytest.mark.parametrize("seed", swept(range(240), 20))
def test_broken_texts_are_looked_at(seed: int) -> None:
    """Whatever is done to a file, everything that an editor asks at any place gets an answer."""
    rng = random.Random(seed)
    name = FILES[seed % len(FILES)] if seed % 3 else (LANE, LOAD, FLAWED)[seed // 3 % 3]
    text = text_of(name)
    before = know(Source(name, text.encode()), fetch) if seed % 2 else None
    known = know(Source(name, _mutilated(text, seed).encode()), fetch, before)
    outline(known)
    for fault in known.faults:
        mend(fault, known)
    for _ in range(12):
        line = rng.randint(0, len(known.lines) + 1)
        length = len(known.lines[line - 1]) if 1 <= line <= len(known.lines) else 3
        column = rng.randint(0, length + 2)
        complete(known, line, column)
        told = told_at(known, line, column)
        assert told is None or hover_markdown(told)
        definition_of(known, line, column)
        references_of(known, line, column)
        change = name_to_change(known, line, column)
        assert isinstance(change, Refused) or change[1]
    rename(known, rng.randint(1, len(known.lines)), rng.randint(1, 30), "brand_new", fetch)


def test_lines_are_those_of_editors() -> None:
    """Lines end as YAML and editors say, also where files come from elsewhere."""
    known = know(Source("x.yaml", b"interlock: 1\r\ntitle: x\rlayuot: {}\n"), lambda name: None)
    assert known.lines == split_lines("interlock: 1\r\ntitle: x\rlayuot: {}\n")
    assert known.sort is Hold and (known.faults[-1].span.line, known.faults[-1].code) == (3, "unknown-field")


def test_texts_that_were_typed_over_are_not_kept() -> None:
    """Of forty versions of a text the names of a few are still there: an editor's server stays as large as it is."""
    known = None
    for number in range(40):
        known = know(Source("typed.yaml", f"# {number}\n{TEXT}".encode()), lambda name: None, known)
        assert known.mentions
    assert known is not None
    gc.collect()
    kept = [one for one in gc.get_objects() if isinstance(one, Mentioned) and one.span.file == "typed.yaml"]
    assert len(known.mentions) <= len(kept) < 8 * len(known.mentions)
