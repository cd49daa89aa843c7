"""A command that runs the drives of some bays of a zone only, as a lever that is pressed to split the zone does."""

from __future__ import annotations

from random import Random

import pytest

from interlock.hold.compile.compiler import CompiledHold
from interlock.kernel.claims import Limits
from interlock.kernel.evaluator import as_mapping, evaluate, truths_in
from interlock.prove.decide import decide
from interlock.study.verify import Status, verify
from tests.agreement.hold_texts import compile_text, doorway, hold_text, standing

UNITS = "- {id: HALF, across: 1, along: 1}\n- {id: WIDE, across: 2, along: 1}"
BOTH_OR_ONE = """\
      - {station: S1, fore: LV is fore and not LV is pressed, aft: LV is aft and not LV is pressed}
      - {station: S1, bays: 1R..3R, fore: LV is fore and LV is pressed, aft: LV is aft and LV is pressed and may_split}
"""
SPLIT = """\
controls:
  - {id: LV, kind: lever, positions: [fore, aft], can_be_pressed: true}
  - {id: PB, kind: push button}
  - {id: STN, kind: selector, positions: [here, there], starts: here}
stations:
  - {id: S1, controls: [LV], owns: STN is here}
  - {id: S2, controls: [PB], owns: STN is there}
sensors:
  - for: {r: 1..3}
    id: "wide{r}"
    reads: "{r}L is WIDE"
circuits:
  - {id: may_split, use: permit, is: not wide1 and not wide2 and not wide3}
zones:
  - id: Z
    bays: [1L..3L, 1R..3R]
    power: always
    commands:
BOTH_OR_ONE      - {station: S2, bays: 1L..3L, aft: PB is pressed and may_split}
    sections:
      - for: {r: 1..2, l: [L, R]}
        bay: "{r}{l}"
        inhibits: {aft: "{r+1}{l} is occupied or (wide{r} and ({r+1}L is occupied or {r+1}R is occupied))"}
"""


def hold(rest: str = SPLIT.replace("BOTH_OR_ONE", BOTH_OR_ONE)) -> CompiledHold:
    doors = doorway("[1L, 1R]", "fore")
    return compile_text(hold_text(lanes="[L, R]", rows=3, units=UNITS, doorways=doors, rest=rest), standing())


def test_each_drive_runs_on_the_commands_that_reach_it() -> None:
    """In any state: power and inhibits aside, a drive runs, and a hand is held for it, by what reaches its bay."""
    compiled = hold()
    machine, world = compiled.machine, compiled.world
    draw = Random(3)
    seen = set()
    for _ in range(400):
        state = tuple(draw.choice(variable.domain) for variable in machine.variables)
        values, true = as_mapping(machine, state), truths_in(machine, state)
        here = values["control.STN.position"] == "here"
        lever, button = str(values["control.LV.position"]), values["control.PB.position"] == "pressed"
        way, _, pressed = lever.partition("_and_")
        split = not any(true(world.things[f"{row}L"].states["WIDE"]) for row in (1, 2, 3))
        for lane in ("L", "R"):
            both = here and not pressed
            aft = (both and way == "aft") or (lane == "R" and here and way == "aft" and bool(pressed) and split)
            aft = aft or (lane == "L" and not here and button and split)
            fore = here and way == "fore" and (lane == "R" or not pressed)
            held = {"fore": here and way == "fore", "aft": here and way == "aft"}
            held["aft"] = held["aft"] or (lane == "L" and not here and button)
            for row in (1, 2, 3):
                wide = true(world.things[f"{row}L"].states["WIDE"])
                ahead = [f"{row + 1}{one}" for one in ("LR" if wide else lane)] if row < 3 else []
                blocked = any(true(world.things[bay].states["occupied"]) for bay in ahead)
                drives = machine.definitions
                assert evaluate(machine, drives[f"drive.{row}{lane}.fore"], state) == fore
                assert evaluate(machine, drives[f"drive.{row}{lane}.aft"], state) == (aft and not blocked)
                for direction, so in held.items():
                    assert true(world.sides[f"{row}{lane}.{direction}"].states["held"]) == so
            seen.add((lane, fore, aft, held["aft"]))
    assert len(seen) == 8


def test_two_stations_are_contested_one_station_is_not() -> None:
    """Two commands from one station are no two stations in charge."""
    compiled = hold()
    (answer,) = verify(compiled, decide, Limits(), chosen=("one-station-in-charge",)).answers
    assert answer.status is Status.HOLDS


def outcome(text: str, *asked: str) -> dict[str, Status]:
    found = verify(hold(text), decide, Limits(), chosen=asked)
    return {answer.instance.requirement.id.partition("[")[0]: answer.status for answer in found.answers}


TOGETHER_AND_APART = """\
requirements:
  - id: apart
    text: Two units that came to row 2 together can be separated
    kind: can
    condition: 2L is HALF and 3R is HALF and 1L is empty and 1R is empty
    hazard: a split without effect
    severity: "4"
    scheme: MIL-STD-882E
    source: operability, no source
"""


def test_units_that_moved_together_are_separated() -> None:
    """With the split the right one of two goes on alone; where the pressed lever runs both lanes it cannot."""
    plain = SPLIT.replace("BOTH_OR_ONE", BOTH_OR_ONE).replace("bays: 1L..3L, aft: PB is pressed", "aft: never")
    assert outcome(plain + TOGETHER_AND_APART, "apart") == {"apart": Status.HOLDS}


@pytest.mark.parametrize(
    ("change", "lost"),
    [
        (("", ""), {"no-one-sided-drive": Status.HOLDS, "drive-only-while-held": Status.HOLDS}),
        ((" and may_split}\n      - {station: S2", "}\n      - {station: S2"), {"no-one-sided-drive": Status.FAILS}),
        (("aft: PB is pressed", "aft: LV is aft"), {"drive-only-while-held": Status.FAILS}),
    ],
    ids=["sound", "the split does not ask for a wide unit", "another station's lever runs the left lane"],
)
def test_a_flawed_split_is_found(change: tuple[str, str], lost: dict[str, Status]) -> None:
    """One text replaced, and the requirement about it fails."""
    text = SPLIT.replace("BOTH_OR_ONE", BOTH_OR_ONE)
    # wide units are driven fore on both sides only, here
    text = text.replace("fore: LV is fore and LV is pressed, ", "").replace(*change)
    found = verify(hold(text), decide, Limits(seconds=60), chosen=tuple(lost))
    worst: dict[str, Status] = {}
    for answer in found.answers:
        id = answer.instance.requirement.id.partition("[")[0]
        if worst.get(id) is not Status.FAILS and answer.status is not Status.VACUOUS:
            worst[id] = answer.status
    assert worst == lost
