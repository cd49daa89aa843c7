"""What a sound description reads as: defaults, lists, ranges, repetitions, modifications, positions."""

from __future__ import annotations

from pathlib import Path
from textwrap import dedent, indent
from typing import TypeVar

import pytest

from interlock.diagnostics.spans import Span
from interlock.hold.language.model import Direction, Hold
from interlock.hold.language.printer import print_syntax
from interlock.hold.language.syntax import Chain, Fact, Truth
from interlock.hold.loader import Loaded, Source, load_hold, load_specification

BASE = (Path(__file__).parent / "malformed" / "hold.yaml").read_text("utf-8")


def load(files: dict[str, str], name: str) -> Loaded[Hold]:
    """Read one of several files that can name one another."""

    def fetch(wanted: str) -> Source | None:
        return Source(wanted, files[wanted].encode()) if wanted in files else None

    return load_hold(Source(name, files[name].encode()), fetch)


def sound(files: dict[str, str], name: str) -> Hold:
    """The hold that a file without faults describes."""
    loaded = load(files, name)
    assert loaded.diagnostics == ()
    assert loaded.value is not None
    return loaded.value


def modified(changes: str, **more: str) -> Hold:
    """The base with changes carried out."""
    text = "interlock: 1\ntitle: Modified\nmodifies: hold.yaml\nchanges:\n" + indent(dedent(changes).strip("\n"), "  ")
    return sound({"hold.yaml": BASE, "m.yaml": text + "\n", **more}, "m.yaml")


def added(sections: str) -> Hold:
    """The base with things added."""
    return modified("- add:\n" + indent(dedent(sections).strip("\n"), "    "))


Named = TypeVar("Named")


def by_id(items: tuple[Named, ...], id: str) -> Named:
    """The one of these with that id."""
    (found,) = (item for item in items if getattr(item, "id", None) == id)
    return found


# --- values and defaults


def test_name_defaults_to_the_id() -> None:
    """What people call a thing is its id where nothing else is said."""
    hold = sound({"hold.yaml": BASE}, "hold.yaml")
    assert [device.name for device in hold.devices] == ["M1", "S1"]


def test_defaults_of_devices_follow_their_kind() -> None:
    """What cannot move locks and starts fixed; what returns by itself starts where it rests; lists start empty."""
    hold = added("devices: [{id: F, kind: fixed stop, on: 2L.aft, stops: aft}]")
    fixed, handled = by_id(hold.devices, "F"), by_id(hold.devices, "S1")
    assert (fixed.locking, fixed.starts, fixed.restrains, fixed.gives_way) == ("fixed", ("fixed",), (), ())
    assert (fixed.circuit, fixed.handle, fixed.fixed, fixed.deferred, fixed.lags) == (None, None, None, None, False)
    assert handled.starts == ("raised",)


def test_controls_that_return_by_themselves_start_at_rest() -> None:
    """A lever starts neutral and a handle stowed; a switch starts as written."""
    hold = sound({"hold.yaml": BASE}, "hold.yaml")
    assert {control.id: control.starts for control in hold.controls} == {
        "PWR": ("off",),
        "LV": ("neutral",),
        "H1": ("stowed",),
    }


def test_one_or_a_list() -> None:
    """A single item stands for a list of one."""
    hold = sound({"hold.yaml": BASE}, "hold.yaml")
    latch = by_id(hold.devices, "M1")
    assert [(side.bay, side.direction) for side in latch.on] == [("1L", Direction.AFT)]
    assert latch.restrains == ("x",)
    assert latch.stops == (Direction.FORE, Direction.AFT)
    assert [len(zone.commands) for zone in hold.zones] == [1]


def test_ranges_of_bays() -> None:
    """A range runs along a lane or across a row; single bays and other things stand beside it."""
    hold = added("groups: [{id: g, members: [1L..2L, 1R, M1]}, {id: row, members: 2L..2R}]")
    assert [group.members for group in hold.groups] == [("1L", "2L", "1R", "M1"), ("2L", "2R")]


def test_words_of_yaml_stay_words() -> None:
    """`off`, `no` and numbers are texts until a field wants something else."""
    hold = added("supplies: [{id: GP, name: 010, starts: [off, on], may_be_lost: true}]")
    (supply,) = hold.supplies
    assert (supply.name, supply.starts, supply.may_be_lost) == ("010", ("off", "on"), True)


def test_a_door_without_latch_says_none() -> None:
    """`none` for a latch and a lock reads as no latch and no lock."""
    door = """
    - change: D1
      to: {latch: none, unlatch: none, lock: none, unlock: none, starts: closed}
    """
    (doorway,) = modified(door).doorways
    assert (doorway.latch, doorway.unlatch, doorway.lock, doorway.unlock) == (None, None, None, None)


def test_pushing_never_is_none() -> None:
    """Where the crew never pushes there is no condition for it."""
    assert sound({"hold.yaml": BASE}, "hold.yaml").layout.pushing is None
    pushed = modified("- {change: layout, to: {pushing: D1 is open}}").layout.pushing
    assert isinstance(pushed, Fact)


def test_always_and_never_are_true_and_false() -> None:
    """The words read as truth values."""
    hold = added("sensors: [{id: a, reads: always}, {id: n, reads: never}]")
    values = [sensor.reads for sensor in hold.sensors[1:]]
    assert [value.value for value in values if isinstance(value, Truth)] == [True, False]


def test_comma_and_colon_after_a_group_mean_the_same() -> None:
    """Both ways of writing a quantifier give the same tree."""
    hold = added("""
    sensors:
      - {id: a, reads: "every b in bays: b is empty"}
      - {id: b2, reads: "every b in bays, b is empty"}
    """)
    first, second = (print_syntax(sensor.reads) for sensor in hold.sensors[1:])
    assert first == second == "every b in bays, b is empty"


# --- repetitions


def test_repetition_makes_all_combinations_in_order() -> None:
    """The first variable changes slowest; numbers are counted on; keys stay as they are."""
    hold = added("""
    sensors:
      - for: {r: 1..2, l: [L, R]}
        id: "at{r}{l}"
        name: "row {r}, next {r+1}, before {r-1}"
        reads: "{r}{l} is occupied"
    """)
    made = [(sensor.id, sensor.name, print_syntax(sensor.reads)) for sensor in hold.sensors[1:]]
    assert made == [
        ("at1L", "row 1, next 2, before 0", "1L is occupied"),
        ("at1R", "row 1, next 2, before 0", "1R is occupied"),
        ("at2L", "row 2, next 3, before 1", "2L is occupied"),
        ("at2R", "row 2, next 3, before 1", "2R is occupied"),
    ]


def test_repetition_within_a_repetition_sees_both_variables() -> None:
    """The inner items know the outer variable, also in their ranges."""
    hold = added("""
    zones:
      - for: {l: [R], n: [2]}
        id: "Z{l}"
        bays: "1{l}..2{l}"
        power: always
        commands: {aft: LV is aft}
        sections:
          - for: {r: "1..{n}"}
            bay: "{r}{l}"
            inhibits: {aft: "{r}{l} is occupied"}
    """)
    assert [section.bay for section in hold.zones[-1].sections] == ["1R", "2R"]


def test_braces_outside_a_repetition_are_text() -> None:
    """A requirement keeps its braces, since its `for` speaks of groups."""
    hold = added("""
    requirements:
      - id: r
        text: "{b} is never driven"
        kind: never
        for: {b: ZL.bays}
        condition: b is occupied
        hazard: none
        severity: "4"
        scheme: MIL-STD-882E
        source: common practice, no source
    """)
    (requirement,) = hold.requirements
    assert requirement.text == "{b} is never driven"
    assert [(variable, group.parts) for variable, group in requirement.each] == [("b", ("ZL", "bays"))]
    assert [[span.length for span in group.spans] for _, group in requirement.each] == [[2, 4]]


# --- positions


def test_positions_in_plain_and_quoted_scalars() -> None:
    """A word of an expression lies at its own column, quotes or not."""
    hold = added("""
    sensors:
      - {id: a, reads: M1 is raised}
      - {id: q, reads: "M1 is raised"}
    """)
    places = [sensor.reads.span for sensor in hold.sensors[1:]]
    assert places == [Span("m.yaml", 7, 26, 12), Span("m.yaml", 8, 27, 12)]


def test_positions_in_folded_scalars() -> None:
    """A word of a text that is folded over lines lies on its own line."""
    hold = added("""
    sensors:
      - id: a
        reads: >
          M1 is raised and
          not   D1 is closed
    """)
    reads = hold.sensors[-1].reads
    assert isinstance(reads, Chain)
    assert [arg.span for arg in reads.args] == [Span("m.yaml", 9, 13, 12), Span("m.yaml", 10, 13, 18)]
    assert reads.span == Span("m.yaml", 9, 13, 16)


def test_positions_in_repeated_scalars() -> None:
    """A word that a repetition filled in lies where its braces are; what follows it lies where it was written."""
    hold = added("""
    sensors:
      - for: {r: 1..1}
        id: "a{r}"
        reads: "{r+1}L is occupied and M{r} is raised"
    """)
    reads = hold.sensors[-1].reads
    assert isinstance(reads, Chain)
    first, second = reads.args
    assert isinstance(first, Fact)
    assert isinstance(second, Fact)
    assert first.subject.spans == (Span("m.yaml", 9, 19, 6),)
    assert second.subject.spans == (Span("m.yaml", 9, 42, 4),)
    assert second.state_span == Span("m.yaml", 9, 50, 6)


def test_escapes_point_at_the_scalar() -> None:
    """Where an escape makes columns unknowable, the whole scalar is the place."""
    hold = added(r"""
    sensors:
      - {id: a, reads: "M1 is\x20raised"}
    """)
    assert hold.sensors[-1].reads.span == Span("m.yaml", 7, 26, 17)


def test_records_lie_at_their_id() -> None:
    """A thing is found where its id is written."""
    assert by_id(sound({"hold.yaml": BASE}, "hold.yaml").devices, "M1").span == Span("hold.yaml", 29, 10, 2)


# --- modifications


def test_removing() -> None:
    """What is removed is gone, and the change is listed."""
    hold = modified("- {remove: up_M1}")
    assert hold.sensors == ()
    assert [(change.verb, change.object) for change in hold.changes] == [("remove", "up_M1")]
    assert hold.changes[0].span == Span("m.yaml", 5, 14, 5)


def test_fixing() -> None:
    """What is fixed stays in one state."""
    hold = modified("""
    - {fix: M1, in: raised}
    - {fix: PWR, in: "on"}
    """)
    assert by_id(hold.devices, "M1").fixed == "raised"
    assert by_id(hold.controls, "PWR").fixed == "on"


def test_deferring() -> None:
    """What is deferred is fixed, with the reason and the limit."""
    hold = modified("- {defer: M1, in: lowered, because: cracked pawl, limit: 1L is empty}")
    latch = by_id(hold.devices, "M1")
    assert latch.fixed == "lowered"
    assert latch.deferred is not None
    assert (latch.deferred.because, print_syntax(latch.deferred.limit)) == ("cracked pawl", "1L is empty")


def test_changing_fields() -> None:
    """Given fields are replaced, the others stay, and `none` takes an optional one away."""
    hold = modified("""
    - {fix: M1, in: raised}
    - {change: M1, to: {restrains: [x, z], fixed: none}}
    - {change: layout, to: {drift: aft}}
    """)
    latch = by_id(hold.devices, "M1")
    assert (latch.restrains, latch.fixed, latch.locking) == (("x", "z"), None, "raised")
    assert hold.layout.drift == (Direction.AFT,)
    assert [change.verb for change in hold.changes] == ["fix", "change", "change"]


def test_adding_takes_the_end_of_each_section() -> None:
    """Added things come last, repetitions and all, and may bear the id of what was removed before."""
    hold = modified("""
    - {remove: up_M1}
    - add:
        sensors:
          - for: {r: 1..2}
            id: "at{r}"
            reads: "{r}L is occupied"
          - {id: up_M1, reads: M1 is standing}
        supplies: [{id: GP, starts: "on", may_be_lost: false}]
    """)
    assert [sensor.id for sensor in hold.sensors] == ["at1", "at2", "up_M1"]
    assert [(change.verb, change.object) for change in hold.changes] == [
        ("remove", "up_M1"),
        ("add", "at1"),
        ("add", "at2"),
        ("add", "up_M1"),
        ("add", "GP"),
    ]


def test_changes_can_be_repeated_and_meet_single_repeated_items() -> None:
    """A repetition of changes, and a change of one item that a repetition made."""
    base = BASE.replace(
        "sensors:\n", 'sensors:\n  - for: {r: 1..2, l: [L, R]}\n    id: "at{r}{l}"\n    reads: "{r}{l} is occupied"\n'
    )
    text = """
    interlock: 1
    title: Modified
    modifies: hold.yaml
    changes:
      - for: {l: [L, R]}
        remove: "at1{l}"
      - {change: at2L, to: {reads: never}}
    """
    hold = sound({"hold.yaml": base, "m.yaml": dedent(text)}, "m.yaml")
    assert [sensor.id for sensor in hold.sensors] == ["at2L", "at2R", "up_M1"]
    assert isinstance(hold.sensors[0].reads, Truth)


def test_title_and_about_are_those_of_the_modification() -> None:
    """The modified hold has its own title; its text stays where the modification has none."""
    base = BASE.replace("title: Small hold\n", "title: Small hold\nabout: As delivered\n")
    text = "interlock: 1\ntitle: Modified\nmodifies: hold.yaml\nchanges: [{remove: up_M1}]\n"
    hold = sound({"hold.yaml": base, "m.yaml": text}, "m.yaml")
    assert (hold.title, hold.about) == ("Modified", "As delivered")


def test_modifications_of_modifications() -> None:
    """Changes are carried out from the base outwards; names are relative to the file that says them."""
    first = "interlock: 1\ntitle: First\nmodifies: ../base/hold.yaml\nchanges: [{fix: M1, in: lowered}]\n"
    second = "interlock: 1\ntitle: Second\nmodifies: first.yaml\nchanges: [{fix: M1, in: raised}]\n"
    files = {"base/hold.yaml": BASE, "mods/first.yaml": first, "mods/second.yaml": second}
    loaded = load(files, "mods/second.yaml")
    assert loaded.value is not None
    assert (loaded.value.title, by_id(loaded.value.devices, "M1").fixed) == ("Second", "raised")
    assert [change.span.file for change in loaded.value.changes] == ["mods/first.yaml", "mods/second.yaml"]
    assert set(loaded.sources) == set(files)


def test_a_modification_changes_something() -> None:
    """One change is enough; an empty list of them would give the base under another title, and is refused."""
    text = "interlock: 1\ntitle: Modified\nmodifies: hold.yaml\nchanges: {}\n"
    little = text.format("[{remove: up_M1}]\nabout: nothing else")
    assert sound({"hold.yaml": BASE, "m.yaml": little}, "m.yaml").title == "Modified"
    loaded = load({"hold.yaml": BASE, "m.yaml": text.format("[]")}, "m.yaml")
    assert [one.code for one in loaded.diagnostics] == ["empty-list"]


# --- specifications and files


def test_specification() -> None:
    """Requirements are read with their steps, in order."""
    text = """
    interlock: 1
    specification: Some requirements
    requirements:
      - id: fresh
        text: A fresh command
        kind: order
        for: {z: zones}
        step: run z
        first: [hold z.levers]
        since: lose supplies
        hazard: somebody is crushed
        severity: "1"
        scheme: MIL-STD-882E
        source: common practice, no source
    """
    loaded = load_specification(Source("s.yaml", dedent(text).encode()))
    assert loaded.diagnostics == ()
    assert loaded.value is not None
    (requirement,) = loaded.value
    steps = (requirement.steps, requirement.first, requirement.since)
    assert [(step.verb, step.subject.parts) for (step,) in steps] == [
        ("run", ("z",)),
        ("hold", ("z", "levers")),
        ("lose", ("supplies",)),
    ]


@pytest.mark.parametrize("ends", ["\n", "\r\n", "\r"])
def test_line_ends_and_byte_order_mark_do_not_matter(ends: str) -> None:
    """Files from other systems read the same, positions and all."""
    expected = sound({"hold.yaml": BASE}, "hold.yaml")
    content = b"\xef\xbb\xbf" + BASE.replace("\n", ends).encode()
    assert load_hold(Source("hold.yaml", content), lambda name: None).value == expected


def test_all_faults_come_in_one_pass() -> None:
    """Faults of form, names and fit in different sections are all told at once."""
    text = BASE.replace("locking: raised, starts: lowered", "locking: raised").replace("behind: AP", "")
    text = text.replace("reads: M1 is raised", "reads: M1 raised").replace("bays: 1L..2L", "bays: 1L..9L")
    text = text.replace("controls: [PWR, LV]", "controls: [PWR, LW]")
    codes = [one.code for one in load({"hold.yaml": text}, "hold.yaml").diagnostics]
    assert codes == ["missing-field", "unknown-name", "unexpected-word", "unknown-bay"]


def test_a_repetition_is_told_of_its_own_items_only() -> None:
    """A fault in an item that follows a repeated one does not say that it stands in the repetition."""
    sensors = 'sensors:\n  - {for: {r: 1..2}, id: "up_{r}", reads: D1 iz open}\n  - {id: shut, reads: D1 iz closed}\n'
    text = BASE.replace("sensors:\n", sensors)
    first, second = load({"hold.yaml": text}, "hold.yaml").diagnostics
    assert any("in the repetition r=1" in line for line in first.context)
    assert second.context == ()
