"""Tiny holds whose places, moves, rules and reachable states are worked out on paper beside each test."""

from __future__ import annotations

import pytest

from interlock.hold.compile.compiler import CompiledHold
from interlock.hold.loader import Source
from interlock.kernel.evaluator import evaluate, initial_states
from interlock.prove.search.explicit import count_states
from tests.agreement.hold_texts import (
    HALF,
    LONG,
    WIDE,
    compile_text,
    doorway,
    faults_of,
    hold_text,
)
from tests.agreement.state_graphs import state_graph


def places(compiled: CompiledHold) -> set[str]:
    return {placement.id for placement in compiled.floor.placements}


def test_one_lane_two_bays_and_a_side_door() -> None:
    """Three places, four moves; only the loader moves anything, and it cannot reach a unit that stands in bay 1C.

    Rules: bring and take away (2); out of the loader's cell over the sill (1); from the sill in, or back out (2).  A
    unit never leaves 1C, none comes to 2C.  States: loader cell and 1C free or taken (4), and one on the sill (1).
    """
    compiled = compile_text(hold_text(rows=2, doorways=doorway("1C", "left")))
    assert places(compiled) == {"HALF.1C", "HALF.2C", "HALF.D1-1C"}
    assert len(compiled.floor.moves) == 4
    assert len(compiled.machine.rules) == 5
    assert count_states(compiled.machine).states == 5


def test_pushing_adds_a_departure_from_each_bay_and_an_arrival_at_each_end() -> None:
    """Three more departures (1C aft, 1C out, 2C fore; nobody pushes on the loader) and four more arrivals: 5 + 7."""
    compiled = compile_text(hold_text(rows=2, doorways=doorway("1C", "left"), pushing="always"))
    assert len(compiled.machine.rules) == 12


@pytest.mark.parametrize(("rows", "states"), [(1, 5), (2, 12), (3, 29), (4, 70), (5, 169)])
def test_a_lane_with_pushing_has_a_pell_number_of_states(rows: int, states: int) -> None:
    """Own derivation: the loader cell and n bays in a row, each free or taken (2); or two neighbours both free with a
    unit over the line between them.  f(m) = 2 f(m - 1) + f(m - 2) with f(0) = 1, f(1) = 2, m = n + 1: 5, 12, 29, 70.
    """
    compiled = compile_text(hold_text(rows=rows, doorways=doorway("1C", "left"), pushing="always"))
    assert count_states(compiled.machine).states == states


@pytest.mark.parametrize(("drift", "states"), [("[aft]", 12), ("[fore]", 5)])
def test_units_roll_only_where_the_floor_falls(drift: str, states: int) -> None:
    """Rolling aft, a unit in 1C comes over the line and to 2C: all 12 states of the lane; rolling fore adds none."""
    compiled = compile_text(hold_text(rows=2, doorways=doorway("1C", "left"), drift=drift))
    assert count_states(compiled.machine).states == states


def test_a_wide_unit_comes_in_through_a_side_door_by_halves() -> None:
    """Loader, half-way at rest on the sill, inside: three places in a line, so two moves there and two back.

    States: nothing, outside, inside, both, at rest on the sill, and under way to either side of that (the other place
    must then be clear): 7.
    """
    compiled = compile_text(hold_text(lanes="[L, R]", ball_mat="[1L, 1R]", units=WIDE, doorways=doorway("1R", "right")))
    assert places(compiled) == {"WIDE.1L+1R", "WIDE.1R+D1-1R", "WIDE.D1-1R+D1-1R-2"}
    assert len(compiled.floor.moves) == 4
    assert count_states(compiled.machine).states == 7


def test_across_the_lanes_a_unit_moves_only_on_the_ball_mat() -> None:
    """With rollers in the left lane the pallet gets no further than half-way, and bay 1L is reported."""
    text = hold_text(lanes="[L, R]", ball_mat="[1R]", units=WIDE, doorways=doorway("1R", "right"))
    (fault,) = faults_of(Source("test.yaml", text.encode()))
    assert fault.code == "unreachable-bay"
    assert "1L" in fault.message


def test_a_long_unit_comes_in_through_a_nose_door_by_halves() -> None:
    """The same line of three places as the wide unit at a side door, along the hold and without ball mat: 7 states."""
    compiled = compile_text(hold_text(rows=2, units=LONG, doorways=doorway("1C", "fore")))
    assert places(compiled) == {"LONG.1C+2C", "LONG.D1-1C+1C", "LONG.D1-1C-2+D1-1C"}
    assert len(compiled.floor.moves) == 4
    assert count_states(compiled.machine).states == 7


def test_a_wide_unit_crosses_the_sill_of_a_nose_door_with_both_parts_at_once() -> None:
    """Two places, both sills crossed together: loader and hold free or taken (4), and one on its way (1)."""
    compiled = compile_text(hold_text(lanes="[L, R]", units=WIDE, doorways=doorway("[1L, 1R]", "fore")))
    assert places(compiled) == {"WIDE.1L+1R", "WIDE.D1-1L+D1-1R"}
    assert {tuple((face.id, part) for face, part in move.crossed) for move in compiled.floor.moves} == {
        (("D1-1L.aft", "WIDE_left"), ("D1-1R.aft", "WIDE_right")),
    }
    assert count_states(compiled.machine).states == 5


def test_a_long_unit_needs_a_side_door_over_two_bays() -> None:
    """Over two bays it goes in sideways in one move (5 states); through a door over one bay it does not go at all."""
    wide_door = compile_text(hold_text(rows=2, units=LONG, doorways=doorway("[1C, 2C]", "left")))
    assert places(wide_door) == {"LONG.1C+2C", "LONG.D1-1C+D1-2C"}
    assert count_states(wide_door.machine).states == 5
    text = hold_text(rows=2, units=LONG, doorways=doorway("1C", "left"))
    assert [fault.code for fault in faults_of(Source("test.yaml", text.encode()))] == ["unreachable-bay"]


THREE_LONG = "- {id: PAL, across: 1, along: 3}"
THREE_WIDE = "- {id: PAL, across: 3, along: 1}"


@pytest.mark.parametrize(
    "hold",
    [
        hold_text(rows=3, units=THREE_LONG, doorways=doorway("1C", "fore")),
        hold_text(lanes="[L, C, R]", units=THREE_WIDE, ball_mat="1L..1R", doorways=doorway("1R", "right")),
    ],
    ids=["lengthwise through the nose", "crosswise through the side"],
)
def test_a_unit_of_three_bays_comes_in_bay_by_bay(hold: str) -> None:
    """Four places in a line: outside, one part in, two parts in, inside; three moves there and three back.

    States: nothing, one unit in each of the four places, one on each of the three ways, one outside and one inside: 9.
    """
    compiled = compile_text(hold)
    assert len(compiled.floor.placements) == 4
    assert len(compiled.floor.moves) == 6
    assert count_states(compiled.machine).states == 9


@pytest.mark.parametrize(
    "hold",
    [
        hold_text(rows=3, units=THREE_LONG, doorways=doorway("[1C, 2C, 3C]", "left")),
        hold_text(lanes="[L, C, R]", units=THREE_WIDE, doorways=doorway("[1L, 1C, 1R]", "fore")),
    ],
    ids=["sideways through the side", "broadside through the nose"],
)
def test_a_unit_of_three_bays_crosses_a_sill_of_three_at_once(hold: str) -> None:
    """Two places: loader and hold free or taken (4), and one on its way (1); every part is called something else."""
    compiled = compile_text(hold)
    assert count_states(compiled.machine).states == 5
    assert len(compiled.floor.parts) == 3
    assert {len(move.crossed) for move in compiled.floor.moves} == {3}


def test_a_bay_that_does_not_exist_holds_nothing_and_lets_nothing_past() -> None:
    """Without 2C a lane of three falls in two: 3C cannot be reached."""
    text = hold_text(rows=3, doorways=doorway("1C", "left"), rules="[{bays: 2C, kinds: []}]")
    (fault,) = faults_of(Source("test.yaml", text.encode()))
    assert fault.code == "unreachable-bay"
    assert "3C" in fault.message


def test_a_bay_rule_keeps_out_kinds_that_it_does_not_list() -> None:
    """Bay 1R takes pallets only: a container stands in 1L or outside, never in 1R, so it never comes in."""
    text = hold_text(
        lanes="[L, R]",
        ball_mat="[1L, 1R]",
        units=f"{HALF}\n{WIDE}",
        doorways=doorway("1R", "right"),
        rules="[{bays: 1R, kinds: [WIDE]}]",
    )
    compiled = compile_text(text)
    assert {place for place in places(compiled) if place.startswith("HALF")} == {"HALF.1L"}


def latches(number: int) -> str:
    return "\n".join(
        f"- {{id: SL{n}, kind: manual latch, on: 1C.left, stops: [left], restrains: [y], locking: raised, "
        "starts: lowered}"
        for n in range(1, number + 1)
    )


@pytest.mark.parametrize("number", [1, 2, 3, 6])
def test_independent_latches_double_the_states(number: int) -> None:
    """k latches that nothing connects, no units: 2^k."""
    compiled = compile_text(hold_text(units="", devices=latches(number)))
    assert count_states(compiled.machine).states == 2**number


def sill_locks(number: int, interlocked: bool) -> CompiledHold:
    every = "every l in locks: l is locking" if interlocked else "true"
    door = (
        f'- {{id: D1, bays: 1C, side: left, moved_by: hand, opens: "true", closes: "{every}", latch: none, lock: none, '
        "path: [], starts: open}"
    )
    members = ", ".join(f"SL{n}" for n in range(1, number + 1))
    return compile_text(
        hold_text(
            units="",
            doorways=door,
            devices=latches(number),
            hand_work="D1 is open" if interlocked else '"true"',
            rest=f"groups:\n  - {{id: locks, members: [{members}]}}\n",
        )
    )


@pytest.mark.parametrize("number", [1, 2, 3, 4, 5])
def test_a_door_that_closes_only_on_locked_sill_latches(number: int) -> None:
    """Closed form 2^k + 1 for a door with two positions (own derivation): open with any setting, closed with one.

    Our door has a third position between them, which adds one more state: it too is left only with every latch
    locked, since the latches cannot be reached unless the door is open.
    """
    compiled = sill_locks(number, interlocked=True)
    machine = compiled.machine
    moving = compiled.world.things["D1"].states["moving"]
    reached = [data["state"] for _, data in state_graph(machine).nodes(data=True)]
    at_rest = [state for state in reached if not evaluate(machine, moving, state)]
    assert len(at_rest) == 2**number + 1
    assert len(reached) == 2**number + 2


@pytest.mark.parametrize("number", [1, 3, 5])
def test_the_same_door_without_its_interlock(number: int) -> None:
    """Every position of the door with every setting of the latches: 2^(k+1) at rest, 3 x 2^k in all."""
    assert count_states(sill_locks(number, interlocked=False).machine).states == 3 * 2**number


def keys(number: int, reachable: dict[int, str]) -> CompiledHold:
    lines = [
        f'  - {{id: K{n}, kind: switch, positions: [off, on], starts: off, reachable: "{reachable.get(n, "true")}"}}'
        for n in range(1, number + 1)
    ]
    return compile_text(hold_text(units="", rest="controls:\n" + "\n".join(lines) + "\n"))


@pytest.mark.parametrize(("number", "states"), [(1, 2), (2, 3), (3, 5), (4, 8), (5, 13), (8, 55)])
def test_neighbouring_controls_that_exclude_each_other(number: int, states: int) -> None:
    """A switch can be reached only while its neighbours are off: settings without two neighbours on, F(n + 2)."""
    rules = {}
    for n in range(1, number + 1):
        beside = [f"K{m} is off" for m in (n - 1, n + 1) if 1 <= m <= number]
        rules[n] = " and ".join(beside) or "true"
    assert count_states(keys(number, rules).machine).states == states


@pytest.mark.parametrize(("number", "way"), [(1, 1), (2, 2), (3, 5), (4, 10), (5, 21), (6, 42)])
def test_trapped_keys_in_the_manner_of_the_chinese_rings(number: int, way: int) -> None:
    """A key turns only while the one before it is on and all before that are off.

    Reached are all 2^n settings, on one path: the farthest is 2^n - 1 steps away, and from all off to all on it takes
    1, 2, 5, 10, 21, 42 steps (OEIS A000975, comment on the Chinese rings).
    """
    rules = {
        n: " and ".join([f"K{n - 1} is on", *(f"K{m} is off" for m in range(1, n - 1))]) for n in range(2, number + 1)
    }
    compiled = keys(number, rules)
    count = count_states(compiled.machine)
    assert (count.states, count.depth) == (2**number, 2**number - 1)
    graph = state_graph(compiled.machine)
    (all_on,) = (data["depth"] for _, data in graph.nodes(data=True) if set(data["state"]) == {"on"})
    assert all_on == way


@pytest.mark.parametrize("number", [1, 2, 5, 8])
def test_a_strict_chain_of_keys(number: int) -> None:
    """Each turned on after the one before and off before it: n + 1 settings in a line, n steps long."""
    rules = {}
    for n in range(1, number + 1):
        before = [f"K{n - 1} is on"] if n > 1 else []
        after = [f"K{n + 1} is off"] if n < number else []
        rules[n] = " and ".join(before + after) or "true"
    count = count_states(keys(number, rules).machine)
    assert (count.states, count.depth) == (number + 1, number)


def test_starts_multiply() -> None:
    """A supply that may start off or on and is never lost stays as it starts: two initial states, no step."""
    rest = "supplies:\n  - {id: GP, starts: [off, on], may_be_lost: false}\n"
    compiled = compile_text(hold_text(units="", rest=rest))
    assert len(list(initial_states(compiled.machine))) == 2
    count = count_states(compiled.machine)
    assert (count.states, count.steps) == (2, 0)
