"""What a standing requirement of severity 1 must not blame, and what it must go on blaming beside it.

An alarm about equipment that is right teaches people to pass over alarms.  Each hold here is right as it stands, and is
written as somebody would write it who never read the standing set.
"""

from __future__ import annotations

import pytest

from interlock.kernel.claims import Fails, Limits
from interlock.kernel.expressions import variables_of
from interlock.prove.search.bmc import bmc
from interlock.prove.search.explicit import explicit
from interlock.report.views.assumptions import assumptions_of
from interlock.study.verify import Status, verify
from tests.agreement.hold_texts import HALF, compile_source, compile_text, doorway, hold_text, overlay, standing
from tests.teeth.test_standing_set import words_of


def failing(text: str, *chosen: str) -> set[str]:
    """The requirements of the standing set that fail, of those chosen; every state is looked at."""
    answers = verify(compile_text(text, standing()), explicit, Limits(), chosen=chosen).answers
    assert answers
    assert {answer.status for answer in answers} <= {Status.HOLDS, Status.VACUOUS, Status.FAILS}
    return {answer.instance.requirement.id for answer in answers if answer.status is Status.FAILS}


# ---- which way a lever position is for ---------------------------------------------------------------------------

HELD = "drive-only-while-held"

JOYSTICK = """\
controls:
  - {id: DIR, kind: selector, positions: [forward, back], starts: forward}
  - {id: JOY, name: joystick, kind: lever, positions: [fore, aft, inboard, outboard]}
  - {id: RUN, name: run lever, kind: lever, positions: [run]}
  - {id: OFF, name: other lever, kind: lever, positions: [a, b, c]}
relays:
  - {id: going_out, sets: JOY is outboard, drops: JOY is neutral}
circuits:
  - {id: off_centre, use: logic, is: JOY is not neutral}
zones:
  - {id: Z, name: doorway, bays: 1C, power: always, LEVERS commands: COMMANDS}
"""


def with_lever(commands: str, *, marks: str = "", levers: str = "") -> str:
    rest = JOYSTICK.replace("COMMANDS", commands).replace("LEVERS", f"levers: {levers}," if levers else "")
    if marks:
        rest = rest.replace("outboard]}", f"outboard], marks: {marks}}}")
    return hold_text(rows=2, ball_mat="[1C]", doorways=doorway("1C", "left"), rest=rest)


@pytest.mark.parametrize(
    "command",
    [
        "{left: JOY is outboard, right: JOY is inboard}",
        "{fore: JOY is fore, left: JOY is outboard, right: JOY is inboard}",
        "{left: JOY is not fore and JOY is not aft and JOY is not inboard and off_centre}",
        "{left: going_out and off_centre}",
        "{fore: RUN is run and DIR is forward, aft: RUN is run and DIR is back}",
        "{fore: JOY is fore and RUN is neutral, aft: JOY is aft and RUN is neutral}",
        '{left: "some v in levers: v is held and (OFF is a or OFF is b) and JOY is neutral"}',
    ],
)
def test_a_position_counts_for_the_direction_that_the_command_asks_for(command: str) -> None:
    """Nothing marks these positions; the command says which way they are for, however it is wired."""
    assert failing(with_lever(command), HELD) == set()


@pytest.mark.parametrize(
    ("command", "lost"),
    [
        ("{left: JOY is fore}", "left"),
        ("{left: JOY is outboard or JOY is aft}", "left"),
        ("{left: off_centre}", "left"),
        ("{left: going_out}", None),
        ("{left: JOY is outboard or DIR is back}", "left"),
        ("{left: not JOY is neutral and not JOY is inboard}", "left"),
        ("{aft: JOY is neutral}", "aft"),
    ],
)
def test_a_wrong_contact_does_not_justify_itself(command: str, lost: str | None) -> None:
    """A position called after a direction is for that one; a drive that runs with the lever let go is blamed."""
    assert failing(with_lever(command), HELD) == ({f"{HELD}[1C,1C.{lost}]"} if lost else set())


MARKS = "{left: outboard, right: inboard}"


@pytest.mark.parametrize(
    ("command", "lost"),
    [
        ("{left: JOY is outboard, right: JOY is inboard}", set()),
        ("{left: JOY is inboard, right: JOY is outboard}", {"left", "right"}),
        ("{left: JOY is inboard or JOY is outboard}", {"left"}),
        ("{left: off_centre and not JOY is inboard and not JOY is fore and not JOY is aft}", set()),
        ("{left: off_centre and not JOY is outboard and not JOY is fore and not JOY is aft}", {"left"}),
    ],
)
def test_a_crossed_contact_is_found_where_the_positions_are_marked(command: str, lost: set[str]) -> None:
    """What is marked is not read off the command, however plausible its name."""
    assert failing(with_lever(command, marks=MARKS), HELD) == {f"{HELD}[1C,1C.{way}]" for way in lost}


def test_the_lever_of_another_zone_does_not_count_in_a_position_without_a_mark() -> None:
    """A zone that lists its levers is commanded by these alone."""
    assert failing(with_lever("{left: JOY is outboard}", levers="[JOY, RUN]"), HELD) == set()
    assert failing(with_lever("{left: OFF is a}", levers="[JOY, RUN]"), HELD) == {f"{HELD}[1C,1C.left]"}


def test_what_is_read_off_a_command_is_an_assumption() -> None:
    """The report names each position that nothing marks, and the direction that its command makes it mean."""
    command = "{fore: JOY is fore, left: JOY is outboard or JOY is aft, right: RUN is run}"
    (said,) = [line for line in assumptions_of(compile_text(with_lever(command))) if "lever positions" in line]
    assert said.endswith("'outboard' of joystick is for left in doorway; 'run' of run lever is for right in doorway.")
    marked = with_lever(command.replace(", right: RUN is run", ""), marks=MARKS)
    assert not [line for line in assumptions_of(compile_text(marked)) if "lever positions" in line]


@pytest.mark.parametrize(
    ("base", "changes", "lost"),
    [
        # the lever of the lane is called after what it does; the marks say which way that is
        (
            "single-lane",
            "- {change: LVA, to: {positions: [inward, outward], marks: {aft: inward, fore: outward}}}\n"
            "- {change: ZX, to: {commands: [{station: STA, fore: LVA is outward, aft: LVA is inward}]}}",
            None,
        ),
        (
            "single-lane",
            "- {change: LVA, to: {positions: [inward, outward], marks: {aft: inward, fore: outward}}}\n"
            "- {change: ZX, to: {commands: [{station: STA, fore: LVA is inward, aft: LVA is outward}]}}",
            "hold lane lever at the door to outward",
        ),
    ],
)
def test_a_demonstration_with_other_words_on_its_lever(base: str, changes: str, lost: str | None) -> None:
    """Right, it holds by proof; crossed, the run says which lever was held to where."""
    compiled = compile_source(overlay(base, changes), standing())
    (answer,) = verify(compiled, bmc, Limits(depth=30), chosen=[f"{HELD}[1C,1C.aft]"]).answers
    if lost is None:
        assert answer.status is not Status.FAILS
    else:
        assert isinstance(answer.finding, Fails) and answer.story is not None
        assert lost in words_of(answer.story)


# ---- the supplies that a zone's drives run on --------------------------------------------------------------------

FRESH = "fresh-command-after-power-loss"


def two_supplies(*, armed: str = "GP is on", power: str = "GP is on and armed", rest: str = "", aft: str = "") -> str:
    return hold_text(
        rows=2,
        doorways=doorway("1C", "left"),
        rest=f"""\
controls:
  - {{id: LV, kind: lever, positions: [fore, aft]}}
supplies:
  - {{id: GP, name: ground power, starts: off, may_be_lost: true}}
  - {{id: LP, name: lighting power, starts: off, may_be_lost: true}}
sensors:
  - {{id: lamp, reads: LP is on}}
relays:
  - {{id: armed, sets: {armed} and LV is neutral, drops: not ({armed})}}
circuits:
  - {{id: light, use: indication, is: LP is on}}
  - {{id: both, use: power, is: GP is on and LP is on}}
{rest}zones:
  - {{id: Z, bays: [1C, 2C], power: {power}, commands: [{{fore: LV is fore, aft: "LV is aft{aft}"}}]}}
""",
    )


def test_a_supply_that_the_drives_do_not_use_asks_for_no_fresh_command() -> None:
    """The light may come back while a lever is held: the drives go on as they were."""
    assert failing(two_supplies(), FRESH) == set()
    assert failing(two_supplies(armed="both", power="both and armed"), FRESH) == set()


@pytest.mark.parametrize(
    "text",
    [
        two_supplies(power="both and armed"),
        two_supplies(aft=" and lamp"),
        two_supplies(armed="LP is on"),
        two_supplies().replace("commands:", "inhibits: {aft: not light}, commands:"),
        two_supplies().replace("commands:", "sections: [{bay: 1C, inhibits: {aft: not light}}], commands:"),
        two_supplies(aft=" and both and (no s in sensors: s is off)"),
    ],
)
def test_a_supply_that_the_drives_do_use_asks_for_one(text: str) -> None:
    """Power, command, inhibit, section, relay, sensor, group: by whatever way the drive starts when it comes back."""
    assert failing(text, FRESH) == {f"{FRESH}[Z]"}


def side_by_side(*, power: str = "bus and armed", drops: str = "not bus", aft: str = "") -> str:
    """Two supplies that feed one bus."""
    return hold_text(
        rows=2,
        doorways=doorway("1C", "left"),
        rest=f"""\
controls:
  - {{id: LV, kind: lever, positions: [fore, aft]}}
supplies:
  - {{id: GP, name: ground power, starts: off, may_be_lost: true}}
  - {{id: AP, name: auxiliary power, starts: off, may_be_lost: true}}
sensors:
  - {{id: lamp, reads: AP is on}}
circuits:
  - {{id: bus, use: power, is: GP is on or AP is on}}
relays:
  - {{id: armed, sets: bus and LV is neutral, drops: {drops}}}
zones:
  - {{id: Z, bays: [1C, 2C], power: {power}, commands: [{{fore: LV is fore, aft: "LV is aft{aft}"}}]}}
""",
    )


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        (side_by_side(), set()),
        (side_by_side(drops="GP is off"), set()),
        (side_by_side(power="bus"), {f"{FRESH}[Z]"}),
        (side_by_side(power="bus and (armed or lamp)"), {f"{FRESH}[Z]"}),
        (side_by_side(aft=" and lamp"), {f"{FRESH}[Z]"}),
        (side_by_side(drops="GP is off and AP is off and LV is neutral"), {f"{FRESH}[Z]"}),
    ],
    ids=["one carries", "one drops it", "no relay", "one gets round it", "one alone", "it never drops while held"],
)
def test_a_supply_beside_which_another_carries_all_is_no_loss(text: str, expected: set[str]) -> None:
    """The drives run on from the other supply, so nothing can start again; what depends on the one alone still can."""
    assert failing(text, FRESH) == expected


def two_levers(*, bays: str, wide: str = HALF, left: str = "left_armed", right: str = "right_armed") -> str:
    """Two zones, each with its lever and a relay for its fresh command."""
    one, two = bays.split("|")
    return hold_text(
        lanes="[L, R]",
        rows=2,
        doorways=doorway("[2L, 2R]", "aft"),
        units=wide,
        rest=f"""\
controls:
  - {{id: JL, kind: lever, positions: [fore, aft]}}
  - {{id: JR, kind: lever, positions: [fore, aft]}}
supplies:
  - {{id: GP, starts: off, may_be_lost: true}}
relays:
  - {{id: left_armed, sets: GP is on and JL is neutral, drops: GP is off}}
  - {{id: right_armed, sets: GP is on and JR is neutral, drops: GP is off}}
circuits:
  - {{id: GP_on, use: power, is: GP is on}}
zones:
  - {{id: ZL, bays: [{one}], power: {left}, commands: [{{fore: JL is fore, aft: JL is aft}}]}}
  - {{id: ZR, bays: [{two}], power: {right}, commands: [{{fore: JR is fore, aft: JR is aft}}]}}
""",
    )


WIDE = "- {id: PAL, name: pallet, across: 2, along: 1}"


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        (two_levers(bays="1L, 2L|1R, 2R", wide=WIDE), set()),
        (two_levers(bays="1L, 2L|1R, 2R", wide=WIDE, left="GP_on"), {f"{FRESH}[ZL]"}),
        (two_levers(bays="1L, 2L|1L, 2L"), set()),
        (two_levers(bays="1L, 2L|1L, 2L", right="GP_on"), {f"{FRESH}[ZR]"}),
    ],
    ids=["wide", "wide and wrong", "shared", "shared and wrong"],
)
def test_a_fresh_command_is_asked_of_the_zone_that_runs(text: str, expected: set[str]) -> None:
    """A zone that stands still has moved nothing: not its part of a wide unit, nor what another runs in its bays."""
    assert failing(text, FRESH) == expected


# ---- nobody is shut in by opening a door -------------------------------------------------------------------------

SHUT_IN = "nobody-shut-in"


def two_doors(*, one: str, two: str, moves: str) -> str:
    def door(id: str, bay: str, side: str, closes: str) -> str:
        return (
            f"- {{id: {id}, bays: {bay}, side: {side}, moved_by: hand, opens: always, closes: {closes}, latch: none, "
            "lock: none, path: [], starts: closed}"
        )

    return hold_text(
        rows=2,
        doorways="\n".join((door("D1", "1C", "left", one), door("D2", "2C", "right", two))),
        rest=f"""\
places:
  - {{id: ramp, bay: outside, reaches: []}}
  - {{id: in_row_1, bay: 1C, reaches: []}}
people:
  - {{id: P1, name: the loader, places: [ramp, in_row_1], starts: ramp, moves: {moves}}}
circuits:
  - {{id: clear, use: permit, is: "no p in people, p is inside"}}
""",
    )


def test_opening_a_door_shuts_nobody_in() -> None:
    """One door stands open and somebody is inside; the other is opened: that shuts nobody in."""
    sound = two_doors(one="clear", two="clear", moves="D1 is open")
    assert failing(sound, SHUT_IN) == set()


def test_somebody_who_comes_in_under_a_door_half_way_is_not_shut_in() -> None:
    """The door cannot be shut on whoever went in while it was still being opened."""
    assert failing(two_doors(one="clear", two="clear", moves="not D1 is closed"), SHUT_IN) == set()


@pytest.mark.parametrize(
    ("one", "two", "lost"),
    [
        ("always", "clear", {"D1"}),
        ("D1 is moving or clear", "clear", {"D1"}),
        ("D1 is open or clear", "clear", {"D1"}),
        ("clear", "always", {"D2"}),
        ("always", "always", {"D1", "D2"}),
    ],
)
def test_shutting_either_door_on_somebody_is_blamed(one: str, two: str, lost: set[str]) -> None:
    """A door without the interlock shuts whoever is inside in; two doors are asked about each by itself."""
    text = two_doors(one=one, two=two, moves="not D1 is closed or not D2 is closed")
    assert failing(text, SHUT_IN) == {f"{SHUT_IN}[{door},P1]" for door in lost}


# ---- who holds a lever --------------------------------------------------------------------------------------------

SHUT_IN = "nobody-shut-in"
TENDED = """\
controls: [{id: UPDN, name: door lever, kind: lever, positions: [up, down]}]
places:
  - {id: sill, name: at the sill, bay: outside, reaches: REACHES}
  - {id: ledge, name: on the ledge, bay: outside, reaches: REACHES}
  - {id: in_1, name: in bay 1C, bay: 1C, reaches: INSIDE}
people: PEOPLE
FAILING"""
ALONE = "[{id: A, places: [sill, ledge, in_1], starts: sill, moves: D1 is open}]"
TWO = (
    "[{id: A, places: [sill, in_1], starts: sill, moves: D1 is open}, "
    "{id: B, places: [ledge], starts: ledge, moves: always}]"
)


def tended(people: str, *, reaches: str = "[UPDN]", inside: str = "[]", failing: str = "") -> str:
    door = doorway("1C", "left", starts="open").replace(
        'moved_by: hand, opens: "false", closes: "false"', "moved_by: power, opens: UPDN is up, closes: UPDN is down"
    )
    rest = TENDED.replace("REACHES", reaches).replace("INSIDE", inside).replace("PEOPLE", people)
    return hold_text(doorways=door, rest=rest.replace("FAILING", failing))


def test_whoever_holds_a_lever_stays_with_it() -> None:
    """A spring-centred lever is held by somebody within reach of it: who works alone is not shut in by their own hand.

    Common practice, no source: that is what a control that springs back is for.
    """
    assert failing(tended(ALONE), SHUT_IN) == set()


@pytest.mark.parametrize(
    "text",
    [
        pytest.param(tended(TWO), id="somebody else can hold it"),
        pytest.param(tended(ALONE, inside="[UPDN]"), id="it can be held from inside"),
        pytest.param(tended(ALONE, reaches="[]"), id="nothing is said of who reaches it"),
        pytest.param(tended(ALONE, failing="failures: [{of: UPDN, mode: spring_broken}]"), id="its spring is broken"),
        pytest.param(tended(ALONE, failing="failures: [{of: UPDN, mode: stuck}]"), id="it is stuck"),
    ],
)
def test_somebody_is_still_shut_in_where_the_lever_stays_down(text: str) -> None:
    """What stays held without the hand of whoever goes in keeps its alarm."""
    assert failing(text, SHUT_IN) == {"nobody-shut-in[D1,A]"}


def test_going_from_one_reach_to_another_needs_no_letting_go() -> None:
    """A lever that can be held from both places may stay held on the way between them."""
    compiled = compile_text(tended(ALONE))
    held = {rule.name for rule in compiled.machine.rules if "control.UPDN.position" in variables_of(rule.guard)}
    assert {name for name in held if name.startswith("person.")} == {
        "person.A.go.sill.in_1",
        "person.A.go.ledge.in_1",
    }
