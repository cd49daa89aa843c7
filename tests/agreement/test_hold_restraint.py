"""When a unit is restrained: the compiled meaning against the sentence of the language, over every reachable state."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import pytest

from interlock.hold.compile.compiler import CompiledHold
from interlock.hold.compile.world import Thing
from interlock.hold.kinds import DEVICE_KINDS
from interlock.hold.language.model import Direction
from interlock.kernel.evaluator import State, as_mapping, evaluate
from interlock.kernel.expressions import Expr
from interlock.kernel.machine import Machine
from tests.agreement.hold_texts import HALF, WIDE, compile_text, doorway, hold_text
from tests.agreement.state_graphs import state_graph


def reached(compiled: CompiledHold) -> tuple[Machine, list[State]]:
    machine = compiled.machine
    return machine, [data["state"] for _, data in state_graph(machine).nodes(data=True)]


def fact(compiled: CompiledHold, path: str, state: str) -> Expr:
    first, *rest = path.split(".")
    thing = compiled.world.things[first]
    for word in rest:
        part = compiled.world.part(thing, word)
        assert isinstance(part, Thing)
        thing = part
    return thing.states[state]


CASES = [
    (kind, locking, stops, restrains)
    for kind in DEVICE_KINDS
    for locking in DEVICE_KINDS[kind].states
    for stops in ("fore", "aft", "fore, aft")
    for restrains in ("x", "z", "y, z", "x, z")
    # a latch that nothing can override is called a spring latch
    if kind != "overridable latch" or "," not in stops
]


def device_text(kind: str, locking: str, stops: str, restrains: str) -> str:
    extra = ", circuit: SW is on" if kind.startswith("powered") else ""
    extra += f", gives_way: [{'aft' if stops == 'fore' else 'fore'}]" if kind == "overridable latch" else ""
    extra += ", handle: H1" if kind == "handle-worked lock" else ""
    if not kind.startswith("fixed"):
        extra += f", locking: {locking}"
    if DEVICE_KINDS[kind].triggers and any(name != "by_itself" for name in DEVICE_KINDS[kind].triggers):
        extra += f", starts: {DEVICE_KINDS[kind].initial}"
    return f"- {{id: X1, kind: {kind}, on: 1C.aft, stops: [{stops}], restrains: [{restrains}]{extra}}}"


@pytest.mark.parametrize(("kind", "locking", "stops", "restrains"), CASES)
def test_a_device_restrains_while_locking_where_it_stops_along_its_axes(
    kind: str, locking: str, stops: str, restrains: str
) -> None:
    """Two bays, a device between them: a direction is restrained exactly if the device lies on that side, stops the
    direction, restrains its axis and is in its locking state; upwards it needs only z and the locking state.
    """
    rest = "controls:\n  - {id: SW, kind: switch, positions: [off, on], starts: off}\n"
    if kind == "handle-worked lock":
        rest += "  - {id: H1, kind: self-resetting handle}\n"
    compiled = compile_text(
        hold_text(
            rows=2,
            doorways=doorway("1C", "left"),
            pushing="always",
            devices=device_text(kind, locking, stops, restrains),
            rest=rest,
        )
    )
    machine, states = reached(compiled)
    device = compiled.world.things["X1"]
    axes = restrains.split(", ")
    sides = {("1C", "aft"): "aft", ("2C", "fore"): "fore"}
    seen = set()
    for state in states:
        (now,) = (word for word in DEVICE_KINDS[kind].states if evaluate(machine, device.states[word], state))
        seen.add(now)
        for bay in ("1C", "2C"):
            for direction in Direction:
                here = sides.get((bay, direction)) is not None and direction in stops.split(", ")
                expected = here and "x" in axes and now == locking
                assert evaluate(machine, fact(compiled, f"{bay}.{direction}", "restrained"), state) == expected
            up = "z" in axes and now == locking
            assert evaluate(machine, fact(compiled, f"{bay}.up", "restrained"), state) == up
    missed = set(DEVICE_KINDS[kind].states) - seen
    # a spring device that stops every way past it is never under a unit
    by_spring = kind.startswith("spring") or kind == "overridable latch"
    assert missed <= ({"held_down"} if by_spring and "aft" in stops else set())


STOPS = """\
- {id: FS, kind: fixed stop, on: 1C.fore, stops: [fore], restrains: [x]}
- {id: AS, kind: fixed stop, on: 3C.aft, stops: [aft], restrains: [x]}"""


def occupied_rows(machine: Machine, state: State) -> set[int]:
    values: Mapping[str, object] = as_mapping(machine, state)
    return {row for row in (1, 2, 3) if values[f"bay.{row}C.holds"] != "empty"}


@pytest.mark.parametrize("declared", [False, True])
def test_a_neighbour_restrains_only_where_declared_and_only_while_it_is_there(declared: bool) -> None:
    """Three bays between two end stops.  Aft, 1C is held exactly while 2C and 3C are both taken, if the description
    says that neighbours restrain, and never otherwise; an empty bay between breaks the chain.
    """
    compiled = compile_text(
        hold_text(
            rows=3,
            doorways=doorway("1C", "left"),
            pushing="always",
            devices=STOPS,
            neighbour_restrains=str(declared).lower(),
        )
    )
    machine, states = reached(compiled)
    seen = set()
    for state in states:
        rows = occupied_rows(machine, state)
        seen.add(frozenset(rows))
        for row in (1, 2, 3):
            aft = row == 3 or (declared and all(other in rows for other in range(row + 1, 4)))
            fore = row == 1 or (declared and all(other in rows for other in range(1, row)))
            assert evaluate(machine, fact(compiled, f"{row}C.aft", "restrained"), state) == aft
            assert evaluate(machine, fact(compiled, f"{row}C.fore", "restrained"), state) == fore
    assert len(seen) == 8


GUIDES = """\
- {id: LG, kind: fixed guide, on: 1L.left, stops: [left], restrains: [y]}
- {id: CG, kind: manual guide, on: 1L.right, stops: [left, right], restrains: [y, z], locking: raised, starts: lowered}
- {id: SL, kind: manual latch, on: 1R.right, stops: [left, right], restrains: [y], locking: raised, starts: lowered}
- {id: ML, kind: manual latch, on: 1L.fore, stops: [fore], restrains: [x], locking: raised, starts: lowered}
- {id: MR, kind: manual latch, on: 1R.fore, stops: [fore], restrains: [x], locking: raised, starts: lowered}"""


def two_lanes() -> CompiledHold:
    return compile_text(
        hold_text(
            lanes="[L, R]",
            ball_mat="[1L, 1R]",
            units=f"{HALF}\n{WIDE}",
            doorways=doorway("1R", "right"),
            devices=GUIDES,
            pushing="always",
            secured="[fore, left, right]",
        )
    )


def secured_states(compiled: CompiledHold) -> Iterator[tuple[str, str, dict[str, bool], dict[str, bool]]]:
    machine, states = reached(compiled)
    for state in states:
        values = as_mapping(machine, state)
        up = {d: evaluate(machine, compiled.world.things[d].states["raised"], state) for d in ("CG", "SL", "ML", "MR")}
        held = {
            f"{bay}.{word}": evaluate(machine, fact(compiled, f"{bay}.{word}", "restrained"), state)
            for bay in ("1L", "1R")
            for word in ("fore", "left", "right")
        }
        for bay in ("1L", "1R"):
            held[bay] = evaluate(machine, fact(compiled, bay, "secured"), state)
        yield str(values["bay.1L.holds"]), str(values["bay.1R.holds"]), up, held


def test_a_wide_unit_is_held_across_by_its_outer_sides_and_along_by_both_lanes() -> None:
    """Each part counts the other as restraint across; fore, each part needs the latch of its own lane, so the unit is
    secured only with both latches and the sill latch up.  The centre guide, under it, cannot be up.
    """
    met = 0
    for left, right, up, held in secured_states(two_lanes()):
        if left != "WIDE_left":
            continue
        met += 1
        assert right == "WIDE_right"
        assert not up["CG"]
        assert held["1L.right"] and held["1R.left"] and held["1L.left"]
        assert held["1R.right"] == up["SL"]
        assert held["1L"] == up["ML"]
        assert held["1R"] == (up["MR"] and up["SL"])
    assert met >= 8


def test_two_half_width_units_side_by_side_need_the_centre_guide() -> None:
    """No unit counts the other as restraint across: with the guide down neither is secured."""
    met = 0
    for left, right, up, held in secured_states(two_lanes()):
        if (left, right) != ("HALF", "HALF"):
            continue
        met += 1
        assert held["1L.right"] == up["CG"]
        assert held["1R.left"] == up["CG"]
        assert held["1L"] == (up["CG"] and up["ML"])
        assert held["1R"] == (up["CG"] and up["SL"] and up["MR"])
    assert met >= 16


def test_a_device_over_two_sides_restrains_at_both_and_is_held_down_by_either() -> None:
    """One long sill latch over two bays: locking, it restrains both; a unit over one of the sills keeps it down."""
    compiled = compile_text(
        hold_text(
            rows=2,
            doorways=doorway("[1C, 2C]", "left"),
            devices=(
                "- {id: SL, kind: manual latch, on: [1C.left, 2C.left], stops: [left, right], restrains: [y], "
                "locking: raised, starts: lowered}"
            ),
        )
    )
    machine, states = reached(compiled)
    covered = 0
    for state in states:
        raised = evaluate(machine, compiled.world.things["SL"].states["raised"], state)
        for bay in ("1C", "2C"):
            assert evaluate(machine, fact(compiled, f"{bay}.left", "restrained"), state) == raised
            if evaluate(machine, fact(compiled, f"{bay}.left", "crossed"), state):
                covered += 1
                assert not raised
    assert covered
