"""When a unit is driven against something: the compiled meaning against plain geometry, over every reachable state."""

from __future__ import annotations

import pytest

from interlock.hold.language.model import Direction
from interlock.kernel.evaluator import as_mapping, evaluate
from interlock.kernel.expressions import Value
from tests.agreement.hold_texts import HALF, WIDE, compile_text, doorway, hold_text
from tests.agreement.state_graphs import state_graph

AT = {"1L": (1, 0), "1R": (1, 1), "2L": (2, 0), "2R": (2, 1), "D1-1R": (1, 2)}
"""Row and column of every cell of the hold below, read off its description."""

SHIFT = {"fore": (-1, 0), "aft": (1, 0), "left": (0, -1), "right": (0, 1)}

TEXT = hold_text(
    lanes="[L, R]",
    rows=2,
    ball_mat="[1L, 1R]",
    doorways=doorway("1R", "right"),
    devices=(
        "- {id: ML, kind: manual latch, on: 1L.aft, stops: [aft], restrains: [x], locking: raised, starts: lowered}\n"
        "- {id: AS, kind: fixed stop, on: [2L.aft, 2R.aft], stops: [aft], restrains: [x]}"
    ),
    rest="""\
controls:
  - {id: SWX, kind: switch, positions: [off, fore, aft], starts: off}
  - {id: SWY, kind: switch, positions: [off, left, right], starts: off}
zones:
  - {id: ZL, bays: [1L, 2L], power: always, commands: [{fore: SWX is fore, aft: SWX is aft}]}
  - {id: ZR, bays: [1R, 2R], power: always, commands: [{fore: SWX is fore, aft: SWX is aft}]}
  - {id: ZD, bays: [1L, 1R], power: always, commands: [{left: SWY is left, right: SWY is right}]}
""",
)
"""No interlock at all: everything that can be driven against something is."""


def beyond(cell: str, direction: str) -> str | None:
    row, column = AT[cell]
    rows, columns = SHIFT[direction]
    return next((other for other, place in AT.items() if place == (row + rows, column + columns)), None)


def running(values: dict[str, Value], cell: str, direction: str) -> bool:
    lever = values["control.SWX.position"] if direction in ("fore", "aft") else values["control.SWY.position"]
    reached = cell in ("1L", "1R") if direction in ("left", "right") else cell != "D1-1R"
    return reached and lever == direction


def under_way(values: dict[str, Value]) -> list[tuple[str, str]]:
    """The two cells that each unit on its way lies over."""
    found = []
    for name, value in values.items():
        if name.startswith("face.") and value != "none":
            cell, direction = name.removeprefix("face.").removesuffix(".crossing").rsplit(".", 1)
            other = beyond(cell, direction)
            assert other is not None
            found.append((cell, other))
    return found


def struck(values: dict[str, Value], cell: str, direction: str) -> bool:
    """A unit in the cell is driven to where another stands, or lies half-way and is not carried off the same way."""
    ahead = beyond(cell, direction)
    if values[f"bay.{cell}.holds"] == "empty" or not running(values, cell, direction) or ahead is None:
        return False
    # across the lanes units move on the ball mat of row 1 only, and out over the sill
    if direction in ("left", "right") and cell not in ("1L", "1R"):
        return False
    if values[f"bay.{ahead}.holds"] != "empty":
        return True
    for ends in under_way(values):
        if ahead in ends:
            along = beyond(ends[0], direction) == ends[1] or beyond(ends[1], direction) == ends[0]
            if not (along and any(running(values, end, direction) for end in ends)):
                return True
    return False


def test_a_unit_is_driven_against_another_at_rest_or_half_way_unless_that_goes_the_same_way() -> None:
    """In every state and for every side, the fact is what the geometry says."""
    compiled = compile_text(TEXT)
    machine = compiled.machine
    at_rest = half_way = trains = 0
    for _, data in state_graph(machine).nodes(data=True):
        values = as_mapping(machine, data["state"])
        for cell in ("1L", "1R", "2L", "2R"):
            for direction in Direction:
                part = compiled.world.part(compiled.world.things[cell], direction.value)
                assert not isinstance(part, tuple)
                expected = struck(values, cell, direction.value)
                found = evaluate(machine, part.states["driven_on_unit"], data["state"])
                assert found == expected, (values, cell, direction)
                ahead = beyond(cell, direction.value)
                if expected:
                    if values[f"bay.{ahead}.holds"] != "empty":
                        at_rest += 1
                    else:
                        half_way += 1
                elif running(values, cell, direction.value) and any(ahead in ends for ends in under_way(values)):
                    trains += values[f"bay.{cell}.holds"] != "empty"
    assert at_rest > 100 and half_way > 20 and trains > 20


def test_a_unit_is_driven_against_a_raised_device_and_not_against_a_stop() -> None:
    """Only 1L aft has a device that can be raised; the fixed stop aft of row 2 is told apart."""
    compiled = compile_text(TEXT)
    machine = compiled.machine
    met = 0
    for _, data in state_graph(machine).nodes(data=True):
        values = as_mapping(machine, data["state"])
        for cell in ("1L", "1R", "2L", "2R"):
            here = values[f"bay.{cell}.holds"] != "empty"
            for direction in Direction:
                part = compiled.world.part(compiled.world.things[cell], direction.value)
                assert not isinstance(part, tuple)
                driven = here and running(values, cell, direction.value)
                raised = (cell, direction.value) == ("1L", "aft") and values["device.ML.position"] == "raised"
                stop = cell in ("2L", "2R") and direction.value == "aft"
                met += driven and raised
                assert evaluate(machine, part.states["driven_on_device"], data["state"]) == (driven and raised)
                assert evaluate(machine, part.states["driven_on_stop"], data["state"]) == (driven and stop)
    assert met


def test_a_unit_is_driven_against_another_where_it_may_not_stand_itself() -> None:
    """A rule that keeps its kind out of the next bay stops no drive: what stands there is struck all the same."""
    compiled = compile_text(
        hold_text(
            rows=2,
            ball_mat="[1C]",
            units="- {id: HALF, across: 1, along: 1}\n- {id: SMALL, across: 1, along: 1}",
            rules="[{bays: [2C], kinds: [SMALL]}]",
            doorways=doorway("[1C]", "left"),
            rest="""\
controls: [{id: LV, kind: lever, positions: [fore, aft]}]
zones:
  - {id: Z, bays: [1C, 2C], power: always, commands: [{fore: LV is fore, aft: LV is aft}]}
""",
        )
    )
    machine = compiled.machine
    side = compiled.world.part(compiled.world.things["1C"], "aft")
    assert not isinstance(side, tuple)
    met = 0
    for _, data in state_graph(machine).nodes(data=True):
        values = as_mapping(machine, data["state"])
        if values["bay.1C.holds"] == "HALF" and values["control.LV.position"] == "aft":
            expected = values["bay.2C.holds"] != "empty"
            met += expected
            assert evaluate(machine, side.states["driven_on_unit"], data["state"]) == expected
    assert met


@pytest.mark.parametrize("rail", [False, True])
def test_a_fixed_guide_keeps_a_unit_from_what_is_beyond(rail: bool) -> None:
    """Away from the ball mat a unit cannot go across; driven so, it strikes its neighbour unless a rail is between."""
    text = TEXT.replace("bays: [1L, 1R], power", "bays: [1L, 1R, 2L, 2R], power")
    if rail:
        text = text.replace(
            "- {id: AS,", "- {id: CR, kind: fixed guide, on: 2L.right, stops: [left, right]}\n  - {id: AS,"
        )
    compiled = compile_text(text)
    machine = compiled.machine
    side = compiled.world.part(compiled.world.things["2L"], "right")
    assert not isinstance(side, tuple)
    seen = set()
    for _, data in state_graph(machine).nodes(data=True):
        values = as_mapping(machine, data["state"])
        if values["bay.2L.holds"] == "HALF" and values["control.SWY.position"] == "right":
            beyond_taken = values["bay.2R.holds"] != "empty"
            seen.add(beyond_taken)
            struck = evaluate(machine, side.states["driven_on_unit"], data["state"])
            assert struck or not beyond_taken or rail
            assert not (struck and rail)
    assert seen == {False, True}


def test_a_unit_over_the_sill_is_driven_along_the_hold_against_its_neighbour() -> None:
    """Half over the sill a unit cannot go along the hold, but its drive does not know: it strikes what is in a bay."""
    text = TEXT.replace(HALF, f"{HALF}\n  {WIDE}")
    compiled = compile_text(text)
    machine = compiled.machine
    side = compiled.world.part(compiled.world.things["1R"], "aft")
    assert not isinstance(side, tuple)
    seen = set()
    for _, data in state_graph(machine).nodes(data=True):
        values = as_mapping(machine, data["state"])
        if values["bay.1R.holds"] == "WIDE_left" and values["control.SWX.position"] == "aft":
            taken = values["bay.2R.holds"] != "empty"
            seen.add(taken)
            if taken:
                assert evaluate(machine, side.states["driven_on_unit"], data["state"])
            elif not any("2R" in ends for ends in under_way(values)):
                assert not evaluate(machine, side.states["driven_on_unit"], data["state"])
    assert seen == {False, True}
