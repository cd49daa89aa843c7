"""A hold that tapers: one bay in the middle of two lanes, against counts on paper and the meaning in the guide."""

from __future__ import annotations

from random import Random

import pytest

from interlock.hold.compile.compiler import CompiledHold
from interlock.hold.origin import Arrive, Depart, Means
from interlock.kernel.evaluator import as_mapping, is_enabled, truths_in
from interlock.prove.search.explicit import count_states
from tests.agreement.hold_texts import HALF, LONG, WIDE, compile_text, doorway, hold_text


def centred(*rows: int) -> str:
    return "[" + ", ".join(f"{{row: {row}, lane: C, between: [L, R]}}" for row in rows) + "]"


def merging(rows: int, *middle: int, side: str = "fore", units: str = HALF, **layout: str) -> CompiledHold:
    """Two lanes with a door over both at one end; in the rows `middle` there is one bay between them."""
    row = 1 if side == "fore" else rows
    doors = doorway(f"[{row}L, {row}R]", side)
    fields = {"pushing": "always", **layout}
    return compile_text(
        hold_text(lanes="[L, R]", rows=rows, centred=centred(*middle), doorways=doors, units=units, **fields)
    )


@pytest.mark.parametrize(
    ("rows", "middle", "side", "states"),
    [
        (2, (2,), "fore", 70),
        (3, (3,), "fore", 408),
        (3, (1,), "aft", 408),
        (4, (3, 4), "fore", 960),
        (3, (2,), "fore", 380),
    ],
)
def test_as_many_states_as_on_paper(rows: int, middle: tuple[int, ...], side: str, states: int) -> None:
    """Own derivation: bays and loader places are the points of a tree; a state is a matching (units half-way) with the
    other points free or taken: the sum of 2 ** (points not matched).  A path of m points has f(m) = 2 f(m-1) + f(m-2),
    f(0) = 1, f(1) = 2.  Loader, lane, middle, lane, loader are paths of 5 and 7: 70, 408.  With one more point behind
    the middle of 7: 2 * 408 + 12 * 12 = 960.  Lanes that part again: the middle with two arms of 2 points (f = 5) and
    two of 1 (f = 2): free or taken 2 * 5 * 5 * 2 * 2 = 200, matched with one of the arms 2 * (2 * 5 * 2 * 2) + 2 * (5 *
    5 * 2) = 180: 380.
    """
    assert count_states(merging(rows, *middle, side=side).machine).states == states


def test_only_units_one_lane_wide_stand_in_the_middle() -> None:
    """A pallet over both lanes goes as far as the last full row; of a long unit all is in the middle, or none."""
    wide = merging(3, 3, units=WIDE + "\n" + HALF)
    assert {p.id for p in wide.floor.placements if p.kind == "WIDE"} == {"WIDE.1L+1R", "WIDE.2L+2R", "WIDE.D1-1L+D1-1R"}
    long = merging(4, 3, 4, units=LONG + "\n" + HALF)
    inside = {p.id for p in long.floor.placements if p.kind == "LONG" and long.floor.is_inside(p)}
    assert inside == {"LONG.1L+2L", "LONG.1R+2R", "LONG.3C+4C"}
    assert not [m for m in long.floor.moves if m.source.kind == "LONG" and "3C" in m.cells]


def test_a_door_at_a_bay_in_the_middle() -> None:
    """Doors beside it, and behind it where a long unit comes in: loader places of the same width behind, one beside."""
    for side, lanes in (("left", -1), ("right", 2), ("aft", 0)):
        text = hold_text(
            lanes="[L, R]", rows=2, centred=centred(2), doorways=doorway("2C", side), units=HALF, pushing="always"
        )
        floor = compile_text(text).floor
        assert floor.cells["D1-2C"].lane == lanes
        assert len([move for move in floor.moves if "D1-2C" in move.cells]) == 2
    text = hold_text(
        lanes="[L, R]", rows=3, centred=centred(2, 3), doorways=doorway("3C", "aft"), units=LONG + "\n" + HALF
    )
    assert "LONG.2C+3C" in {placement.id for placement in compile_text(text).floor.placements}


LATCHES = """\
- {id: ML, kind: manual latch, on: 2L.aft, stops: [fore, aft], restrains: x, locking: raised, starts: lowered}
- {id: MR, kind: manual latch, on: 2R.aft, stops: [fore, aft], restrains: x, locking: raised, starts: lowered}
- {id: SP, kind: spring latch, on: 2R.aft, stops: fore, gives_way: aft, restrains: z, locking: raised}
- {id: MC, kind: manual latch, on: 3C.fore, stops: fore, restrains: x, locking: raised, starts: lowered}"""
DRIVES = """\
controls:
  - {id: F, kind: switch, positions: [off, on], starts: off}
  - {id: A, kind: switch, positions: [off, on], starts: off}
zones:
  - {id: Z, bays: [1L..2L, 1R..2R, 3C], power: always, commands: [{fore: F is on, aft: A is on}]}
"""


def latched() -> CompiledHold:
    return compile_text(
        hold_text(
            lanes="[L, R]",
            rows=3,
            centred=centred(3),
            doorways=doorway("[1L, 1R]", "fore"),
            devices=LATCHES,
            pushing="always",
            rest=DRIVES,
        )
    )


def test_the_line_between_lanes_and_middle() -> None:
    """In any state: held where both halves hold, driven against a device on either half, stopped by its own half."""
    compiled = latched()
    machine, things, sides = compiled.machine, compiled.world.things, compiled.world.sides
    moves = {
        (deed.move.source.cells[0], deed.move.target.cells[0]): name
        for name, origin in compiled.origins.rules.items()
        if isinstance(deed := origin.deed, Depart) and deed.means is Means.PUSH
    }
    rules = {rule.name: rule for rule in machine.rules}
    draw, seen = Random(11), set()
    for _ in range(3_000):
        state = tuple(
            draw.choice((variable.domain[0], draw.choice(variable.domain)))
            if variable.name.endswith("crossing")
            else draw.choice(variable.domain)
            for variable in machine.variables
        )
        values, true = as_mapping(machine, state), truths_in(machine, state)
        up = {id: true(things[id].states["standing"]) for id in ("ML", "MR", "SP", "MC")}
        full = {bay: values[f"bay.{bay}.holds"] != "empty" for bay in ("1L", "2L", "1R", "2R", "3C")}
        over = {face: values[f"face.{face}.crossing"] != "none" for face in ("1L.aft", "1R.aft", "2L.aft", "2R.aft")}
        crossed = over["2L.aft"] or over["2R.aft"]
        assert up["SP"] <= (not crossed)
        for id in ("ML", "MR", "SP", "MC"):
            assert true(things[id].states["covered"]) == crossed
        middle, left, right = (sides[side].states for side in ("3C.fore", "2L.aft", "2R.aft"))
        assert true(middle["restrained"]) == (up["MC"] or (up["ML"] and up["MR"]))
        assert true(left["restrained"]) == up["ML"]
        assert true(right["restrained"]) == up["MR"]
        forward, back = values["control.F.position"] == "on", values["control.A.position"] == "on"
        any_up = up["ML"] or up["MR"]
        assert true(middle["driven_on_device"]) == (full["3C"] and forward and (any_up or up["SP"] or up["MC"]))
        for bay, side in (("2L", left), ("2R", right)):
            assert true(side["driven_on_device"]) == (full[bay] and back and any_up)
        assert true(middle["opposed"]) == (forward and back)
        free = not crossed and not full["3C"]
        expected = {
            ("2L", "3C"): full["2L"] and free and not over["1L.aft"] and not up["ML"],
            ("2R", "3C"): full["2R"] and free and not over["1R.aft"] and not up["MR"],
            ("3C", "2L"): full["3C"]
            and not crossed
            and not full["2L"]
            and not over["1L.aft"]
            and not up["ML"]
            and not up["MC"],
            ("3C", "2R"): full["3C"]
            and not crossed
            and not full["2R"]
            and not over["1R.aft"]
            and not up["MR"]
            and not up["SP"]
            and not up["MC"],
        }
        found = {ends: is_enabled(machine, rules[name], state) for ends, name in moves.items() if "3C" in ends}
        assert found == expected
        seen |= {ends for ends, so in found.items() if so}
    assert len(seen) == 4


def test_a_unit_under_way_to_the_middle_goes_on_or_back_to_its_lane() -> None:
    """Half-way over the left half it arrives in the middle, or in the left lane again; never in the right one."""
    compiled = latched()
    arrivals = {
        (deed.move.crossed[0][0].id, deed.move.target.cells[0])
        for origin in compiled.origins.rules.values()
        if isinstance(deed := origin.deed, Arrive) and deed.means is Means.PUSH and "3C" in deed.move.cells
    }
    assert arrivals == {("2L.aft", "3C"), ("2L.aft", "2L"), ("2R.aft", "3C"), ("2R.aft", "2R")}
