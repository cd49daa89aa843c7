"""Requirements that range over kinds of unit, over what went before, and over the levers of one direction."""

from __future__ import annotations

from itertools import product

import pytest

from interlock.hold.compile.compiler import CompiledHold, compile_hold
from interlock.hold.compile.levers import commanding, levers_of
from interlock.hold.language.model import Direction, Hold, RequirementText
from interlock.hold.loader import Source, load_hold, load_specification
from interlock.kernel.claims import Fails, Holds, Limits
from interlock.kernel.expressions import FALSE
from interlock.prove.search.explicit import explicit
from interlock.report.text.lines import as_text
from interlock.report.text.proof import proof_lines
from interlock.report.views.proof import proof_view
from interlock.study.verify import Status, verify
from tests.agreement.hold_texts import HALF, LONG, compile_text, doorway, hold_text, standing
from tests.some import some

PUSHED = hold_text(
    rows=3,
    ball_mat="[1C, 2C]",
    units=f"{HALF}\n{LONG}",
    doorways=doorway("[1C, 2C]", "left"),
    rules="[{bays: 3C, kinds: HALF}]",
    pushing="always",
)
"""One lane of three bays; a long unit has room in the two at the door only."""


def requirements(*items: str) -> tuple[RequirementText, ...]:
    """Requirement texts from the fields that tell them apart."""
    rest = ', hazard: none, severity: "4", scheme: MIL-STD-882E, source: common practice no source'
    text = "interlock: 1\nspecification: tests\nrequirements:\n"
    text += "".join(f"  - {{id: r{number}, {item}{rest}}}\n" for number, item in enumerate(items, 1))
    loaded = load_specification(Source("asked.yaml", text.encode()))
    assert loaded.value is not None, loaded.diagnostics
    return loaded.value


def only(id: str) -> tuple[RequirementText, ...]:
    return tuple(text for text in standing() if text.id == id)


# ---- kinds of unit -----------------------------------------------------------------------------------------------


def test_kinds_are_asked_of_the_bays_where_they_have_room() -> None:
    """A requirement over bays and their kinds has one for each pair that some placement makes, and no other."""
    compiled = compile_text(PUSHED, only("bay-can-be-filled"))
    inside = [p for p in compiled.floor.placements if set(p.cells) <= set(compiled.floor.bays)]
    pairs = {f"bay-can-be-filled[{cell},{p.kind}]" for p in inside for cell in p.cells}
    assert {instance.requirement.id for instance in compiled.instances} == pairs
    assert pairs == {f"bay-can-be-filled[{pair}]" for pair in ("1C,HALF", "2C,HALF", "3C,HALF", "1C,LONG", "2C,LONG")}


def test_the_kinds_of_a_bay_and_the_bays_of_a_kind_agree() -> None:
    """`b.kinds` and `k.bays` are two views of one relation; `units` are all kinds that the hold lists."""
    compiled = compile_text(
        PUSHED,
        requirements(
            "text: a, kind: can, for: {b: bays, k: b.kinds}, condition: b is k",
            "text: a, kind: can, for: {k: units, b: k.bays}, condition: b is k",
            'text: a, kind: can, for: {k: units}, condition: "some b in bays: b is k"',
        ),
    )
    first, second, third = (
        {frozenset(id for _, id in one.bindings) for one in compiled.instances if one.origin.id == name}
        for name in ("r1", "r2", "r3")
    )
    assert first == second
    assert third == {frozenset({"HALF"}), frozenset({"LONG"})}


def test_a_variable_for_a_kind_says_what_its_name_would() -> None:
    """`b is k` with k standing for a kind is `b is` that kind, in requirements and behind quantifiers."""
    compiled = compile_text(
        PUSHED,
        requirements(
            "text: a, kind: never, for: {k: units}, condition: 1C is k",
            "text: a, kind: never, condition: 1C is HALF",
            "text: a, kind: never, condition: 1C is LONG",
            'text: a, kind: never, condition: "some k in units: 1C is k"',
            "text: a, kind: never, condition: 1C is HALF or 1C is LONG",
        ),
    )
    conditions = {instance.requirement.id: instance.requirement.condition for instance in compiled.instances}
    assert conditions["r1[HALF]"] == conditions["r2"] != conditions["r3"] == conditions["r1[LONG]"]
    assert conditions["r4"] == conditions["r5"]


def test_the_report_names_the_bays_that_were_left_out() -> None:
    """What the layout rules out is said, where kinds of unit were asked about, and only there."""
    compiled = compile_text(PUSHED, standing())
    asked = verify(compiled, explicit, Limits(), chosen=["bay-can-be-filled"])
    line = "Left out, as the layout has no room there for a LONG: 3C"
    assert line in as_text(proof_lines(proof_view("pushed.yaml", asked, standing(), 0), False))
    other = verify(compiled, explicit, Limits(), chosen=["latched-only-closed", "nothing-across-behind-shut-doors"])
    assert "Left out" not in as_text(proof_lines(proof_view("pushed.yaml", other, standing(), 0), False))


# ---- after something else ----------------------------------------------------------------------------------------


def test_a_bay_is_emptied_only_after_it_was_filled() -> None:
    """The run that shows it brings a unit in and out; that the bay is empty at the start shows nothing."""
    compiled = compile_text(PUSHED, only("bay-can-be-emptied"))
    for answer in some(verify(compiled, explicit, Limits()).answers):
        assert answer.status is Status.HOLDS
        assert isinstance(answer.finding, Fails)
        assert answer.story is not None
        said = [after for step in answer.story.steps for after in step.after]
        (bay,) = (id for _, id in answer.instance.bindings)
        filled = [at for at, text in enumerate(said) if text.startswith(f"bay {bay} holds")]
        emptied = [at for at, text in enumerate(said) if text == f"bay {bay} is empty"]
        assert filled
        assert emptied
        assert filled[0] < emptied[-1]


def test_what_never_happens_first_has_nothing_after_it() -> None:
    """Where nothing ever takes a unit into a bay, that it leaves again is shown to be impossible, not taken as read."""
    text = PUSHED.replace("pushing: always", "pushing: never")
    compiled = compile_text(text, only("bay-can-be-emptied"))
    found = {a.instance.requirement.id: a for a in verify(compiled, explicit, Limits()).answers}
    assert found["bay-can-be-emptied[3C]"].status is Status.FAILS
    assert isinstance(found["bay-can-be-emptied[3C]"].finding, Holds)
    assert found["bay-can-be-emptied[3C]"].instance.requirement.condition == FALSE
    # the loader brings units into the bays at the sill, from where nothing takes them out
    assert found["bay-can-be-emptied[1C]"].instance.requirement.first
    assert found["bay-can-be-emptied[1C]"].status is Status.FAILS


# ---- the levers of one direction ---------------------------------------------------------------------------------

TWO_LANES = """\
controls:
  - {id: PWR, kind: switch, positions: ["off", "on"], starts: "off"}
  - {id: A, kind: lever, positions: [fore, aft]}
  - {id: B, kind: lever, positions: [fore, aft]}
  - {id: J, kind: lever, positions: [push, pull]}
  - {id: Y, kind: lever, positions: [left, right]}
stations:
  - {id: S1, controls: [PWR, A, J, Y], owns: PWR is on}
  - {id: S2, controls: [B], owns: PWR is off}
groups:
  - {id: both, members: [A, B]}
relays:
  - {id: held_aft, sets: A is aft, drops: A is neutral}
circuits:
  - {id: run_aft, use: logic, is: held_aft and Y is neutral}
zones:
  - id: Z
    bays: [1C]
    power: always
    LEVERS
    commands: COMMANDS
"""


def hold_with(commands: str, levers: str = "") -> Hold:
    text = hold_text(
        ball_mat="[1C]",
        doorways=doorway("[1C]", "left"),
        rest=TWO_LANES.replace("COMMANDS", commands).replace("LEVERS", levers and f"levers: {levers}"),
    )
    loaded = load_hold(Source("test.yaml", text.encode()), lambda name: None)
    assert loaded.value is not None, loaded.diagnostics
    return loaded.value


@pytest.mark.parametrize(
    ("command", "levers", "found"),
    [
        ("{station: S1, aft: A is aft}", "", {("A", "aft")}),
        ("{station: S1, aft: A is fore}", "", {("A", "aft")}),
        ("{station: S1, aft: not A is neutral}", "", {("A", "aft")}),
        ("{station: S1, aft: A is aft or B is aft}", "", {("A", "aft")}),
        ("{station: S2, aft: A is aft or B is aft}", "", {("B", "aft")}),
        ("{station: S1, aft: A is aft or Y is left}", "", {("A", "aft")}),
        ("{station: S1, aft: PWR is on}", "", set()),
        ("{station: S1, aft: run_aft}", "", {("A", "aft")}),
        ('{station: S2, aft: "some v in both: v is aft"}', "", {("B", "aft")}),
        ('{station: S1, aft: "some v in levers: v is not neutral"}', "", {("A", "aft"), ("J", "push"), ("J", "pull")}),
        ('{station: S2, aft: "some v in S2.controls: v is aft"}', "", {("B", "aft")}),
        ("{station: S1, aft: J is push}", "", {("J", "push")}),
        ("{station: S1, aft: J is not neutral}", "", {("J", "push"), ("J", "pull")}),
        ("{station: S1, aft: A is aft or J is push}", "[A]", {("A", "aft")}),
        ("{station: S1, aft: J is push}", "[A, B]", {("A", "aft")}),
    ],
)
def test_which_levers_command_a_zone_aft(command: str, levers: str, found: set[tuple[str, str]]) -> None:
    """The contact that is wired does not make a lever one for that way: its station, its marks and its zone do."""
    hold = hold_with(command, levers)
    (zone,) = hold.zones
    assert set(commanding(hold, zone, zone.commands[0], Direction.AFT)) == found


def test_the_levers_of_a_zone_are_those_that_it_lists_or_names() -> None:
    """A fresh command is one with such a lever, through circuits and relays too; not one that only has to be let go."""
    commands = "[{station: S1, aft: run_aft}, {station: S2, aft: B is aft}]"
    named, listed = hold_with(commands), hold_with(commands, "[J, A]")
    assert levers_of(named, named.zones[0]) == ("A", "B")
    assert levers_of(listed, listed.zones[0]) == ("A", "J")


def compiled_with(command: str) -> CompiledHold:
    compilation = compile_hold(hold_with(command), only("drive-only-while-held"))
    assert compilation.compiled is not None, compilation.diagnostics
    return compilation.compiled


def test_a_lever_counts_while_its_station_is_in_charge() -> None:
    """The drive runs while a lever is held there; a lever at a station that is not in charge is no command."""
    for sound, (one, other) in some(product((True, False), (("S1", "S2"), ("S2", "S1")))):
        lever = {"S1": "A", "S2": "B"}[one if sound else other]
        (answer,) = verify(compiled_with(f"{{station: {one}, aft: {lever} is aft}}"), explicit, Limits()).answers
        assert answer.instance.requirement.id == "drive-only-while-held[1C,1C.aft]"
        assert answer.status is (Status.HOLDS if sound else Status.FAILS)
