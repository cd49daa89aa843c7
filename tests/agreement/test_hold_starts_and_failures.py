"""Ways to start, and failures that the description declares."""

from __future__ import annotations

import pytest

from interlock.hold.loader import Source
from interlock.kernel.claims import Limits, Proved, Refuted
from interlock.kernel.evaluator import as_mapping, evaluate, initial_states
from interlock.kernel.expressions import Value
from interlock.kernel.machine import Actor, question_of, with_monitors
from interlock.prove.search.bmc import bmc
from interlock.prove.search.explicit import count_states
from tests.agreement.hold_texts import (
    HALF,
    WIDE,
    compile_source,
    compile_text,
    doorway,
    faults_of,
    hold_text,
    overlay,
    standing,
)
from tests.agreement.state_graphs import state_graph
from tests.some import telling

SITUATIONS = """\
- add:
    situations:
      - {id: loaded, sets: {2L: HALF, 3L: WIDE, D1: open, GP: on, AP: open, M2L: raised, LVX: aft}}
      - {id: unlocked, sets: {D1: unlocked}}
      - {id: unlatched, sets: {D1: unlatched}}
      - {id: part_open, sets: {D1: moving}}
"""


def start_of(situation: str) -> dict[str, Value]:
    compiled = compile_source(overlay("twin-lane", SITUATIONS), (), situation)
    found = [as_mapping(compiled.machine, state) for state in initial_states(compiled.machine)]
    assert found
    return found[0]


def test_a_situation_puts_everything_where_it_says_and_leaves_the_rest() -> None:
    """Units with all their parts, devices, controls, supply; what is not named starts as always."""
    start = start_of("loaded")
    assert start["bay.2L.holds"] == "HALF"
    assert (start["bay.3L.holds"], start["bay.3R.holds"]) == ("WIDE_left", "WIDE_right")
    assert start["bay.1R.holds"] == "empty"
    assert start["device.M2L.position"] == "raised"
    assert start["device.M1L.position"] == "lowered"
    assert start["control.LVX.position"] == "aft"
    assert start["control.LVY.position"] == "neutral"
    assert start["supply.GP.state"] == "on"


@pytest.mark.parametrize(
    ("situation", "expected"),
    [
        ("loaded", ("open", "unlatched", "unlocked")),
        ("part_open", ("moving", "unlatched", "unlocked")),
        ("unlatched", ("closed", "unlatched", "unlocked")),
        ("unlocked", ("closed", "latched", "unlocked")),
    ],
)
def test_a_door_that_is_not_closed_does_not_start_latched(situation: str, expected: tuple[str, str, str]) -> None:
    """The demonstration door usually starts closed, latched, locked; what a situation says rules out the rest."""
    start = start_of(situation)
    assert (start["door.D1.position"], start["door.D1.latch"], start["door.D1.lock"]) == expected


@pytest.mark.parametrize(
    ("sets", "says"),
    [
        ("{1L: WIDE, 1R: HALF}", "would stand where the WIDE in bay 1L stands"),
        ("{1L: [HALF, WIDE]}", "cannot be a list"),
        ("{1R: WIDE}", "no WIDE can stand"),
        ("{1L: LONG}", "is never 'LONG'"),
        ("{M1L: open}", "is never 'open'"),
        ("{FSL: raised}", "is never 'raised'"),
        ("{M2L: raised}", "is never 'raised'"),
        ("{M9L: raised}", "M9L"),
        ("{sill_covered: on}", "is never 'on'"),
        ("{GP: broken}", "is never 'broken'"),
    ],
)
def test_a_situation_that_cannot_be_is_refused(sets: str, says: str) -> None:
    """Units that overlap or do not fit, states that a thing never has (M2L is fixed here), unknown things."""
    changes = "- {fix: M2L, in: lowered}\n" + f"- add:\n    situations:\n      - {{id: s, sets: {sets}}}\n"
    faults = faults_of(overlay("twin-lane", changes), "s")
    assert faults
    assert says in faults[0].message


def test_a_situation_that_is_not_described_is_a_mistake_of_the_caller() -> None:
    """The compiler raises; the command line asks before."""
    with pytest.raises(KeyError):
        compile_source(overlay("twin-lane", SITUATIONS), (), "nowhere")


def test_kinds_of_unit_whose_parts_share_a_name_are_refused() -> None:
    """`WIDE_left` as a kind of its own could not be told from the left part of a WIDE."""
    units = f"{WIDE}\n- {{id: WIDE_left, across: 1, along: 1}}"
    text = hold_text(lanes="[L, R]", ball_mat="[1L, 1R]", units=units, doorways=doorway("1R", "right"))
    (fault,) = faults_of(Source("test.yaml", text.encode()))
    assert fault.code == "name-taken"


def fails_with(changes: str, requirement: str, base: str = "twin-lane") -> Refuted | None:
    compiled = compile_source(overlay(base, changes), standing())
    machine = with_monitors(compiled.machine)
    (found,) = (r for r in machine.requirements if r.id == requirement)
    (claim,) = bmc(machine, [question_of(machine, found)], Limits(depth=20))
    assert not isinstance(claim, Proved)
    return claim if isinstance(claim, Refuted) else None


@pytest.mark.parametrize(
    ("failure", "requirement"),
    telling(
        [
            ("up_CG1.stuck_true", "secured-behind-shut-doors[1R]"),
            ("over_M1R.stuck_false", "nothing-across-behind-shut-doors[1R,1R.aft]"),
            ("door_open.reads_opposite", "sill-drive-only-with-door-open[D1]"),
            ("door_latched.stuck_false", "no-door-drive-against-latch[D1]"),
        ],
        ("door_latched.stuck_false", "no-door-drive-against-latch[D1]"),
    ),
)
def test_one_sensor_that_lies_costs_the_sound_hold_a_requirement(failure: str, requirement: str) -> None:
    """The requirement fails, by a run in which that failure strikes once; without the failure it does not fail."""
    sensor, mode = failure.split(".")
    claim = fails_with(f"- add:\n    failures:\n      - {{of: {sensor}, mode: {mode}}}\n", requirement)
    assert claim is not None
    strikes = [rule for rule in claim.trace.rules if rule.startswith("failure.")]
    assert len(strikes) == 1
    assert strikes[0].startswith(f"failure.{failure}")
    assert fails_with("- {fix: M5L, in: lowered}\n", requirement) is None


SPRING = (
    "- {id: S1, kind: spring latch, on: 1C.aft, stops: [fore], gives_way: [aft], restrains: [x], locking: raised, "
    "starts: raised}"
)


def states_of(text: str, device: str) -> set[tuple[str, bool, bool]]:
    """Every (state of the device, covered, failed) that is reached."""
    compiled = compile_text(text)
    machine = compiled.machine
    thing = compiled.world.things[device]
    words = [word for word in ("raised", "held_down", "kept_down") if word in thing.states]
    found: set[tuple[str, bool, bool]] = set()
    for _, data in state_graph(machine).nodes(data=True):
        state = data["state"]
        (now,) = (word for word in words if evaluate(machine, thing.states[word], state))
        failed = bool(as_mapping(machine, state)[f"failure.{device}.stuck"])
        found.add((now, evaluate(machine, thing.states["covered"], state), failed))
    return found


def test_a_spring_latch_that_sticks_stays_where_it_stuck() -> None:
    """Working, it is down exactly under a unit; stuck, it may stay down when the unit is gone, or up under one."""
    text = hold_text(
        rows=2,
        doorways=doorway("1C", "left"),
        pushing="always",
        devices=SPRING,
        rest="failures:\n  - {of: S1, mode: stuck}\n",
    )
    found = states_of(text, "S1")
    working = {(state, covered) for state, covered, failed in found if not failed}
    stuck = {(state, covered) for state, covered, failed in found if failed}
    assert working == {("raised", False), ("held_down", True), ("kept_down", False), ("kept_down", True)}
    assert stuck == working | {("held_down", False), ("raised", True)}


def test_declaring_a_failure_takes_nothing_away() -> None:
    """Without a strike the hold with the failure declared has the states of the hold without it."""
    plain = hold_text(rows=2, doorways=doorway("1C", "left"), pushing="always", devices=SPRING)
    failing = compile_text(plain + "failures:\n  - {of: S1, mode: stuck}\n")
    graph = state_graph(failing.machine)
    struck = [as_mapping(failing.machine, d["state"])["failure.S1.stuck"] for _, d in graph.nodes(data=True)]
    assert struck.count(False) == count_states(compile_text(plain).machine).states


def test_a_handle_that_sticks_does_not_go_back() -> None:
    """A stuck handle stays away from stowed after the unit has passed, and its locks stay down."""
    text = hold_text(
        doorways=doorway("1C", "left"),
        devices=(
            "- {id: SL, kind: handle-worked lock, handle: H1, on: 1C.left, stops: [left, right], restrains: [y], "
            "locking: raised}"
        ),
        rest="controls:\n  - {id: H1, kind: self-resetting handle}\nfailures:\n  - {of: H1, mode: stuck}\n",
    )
    compiled = compile_text(text)
    machine = compiled.machine
    lock, handle = compiled.world.things["SL"], compiled.world.things["H1"]
    met = set()
    for _, data in state_graph(machine).nodes(data=True):
        values = as_mapping(machine, data["state"])
        passing = evaluate(machine, handle.states["held_by_the_unit"], data["state"])
        covered = evaluate(machine, lock.states["covered"], data["state"])
        if passing:
            met.add(
                (bool(values["failure.H1.stuck"]), covered, evaluate(machine, lock.states["raised"], data["state"]))
            )
    assert met == {(False, True, False), (True, True, False), (True, False, False)}


def test_failures_are_steps_of_their_own_kind() -> None:
    """Each strikes once and for good, by no one's act."""
    compiled = compile_text(
        hold_text(units="", devices=SPRING.replace("1C.aft", "1C.fore"), rest="failures:\n  - {of: S1, mode: stuck}\n")
    )
    (rule,) = (rule for rule in compiled.machine.rules if rule.actor is Actor.FAILURE)
    assert dict(rule.update)["failure.S1.stuck"] is True


ROLLING = "- {id: LG, kind: fixed guide, on: 1L.left, stops: [left], restrains: [y]}"


def test_a_wide_unit_half_in_rolls_and_can_be_pushed() -> None:
    """What reaches into the hold is the hold's business: it rolls in by itself where the floor falls that way; wholly
    on the loader it does not.
    """
    text = hold_text(
        lanes="[L, R]",
        ball_mat="[1L, 1R]",
        units=f"{HALF}\n{WIDE}",
        doorways=doorway("1R", "right"),
        devices=ROLLING,
        drift="[left]",
        pushing="always",
    )
    names = {rule.name for rule in compile_text(text).machine.rules}
    assert "unit.WIDE.1R+D1-1R.left.depart.drifting" in names
    assert "unit.WIDE.1R+D1-1R.right.depart.pushed" in names
    assert not any(name.startswith("unit.WIDE.D1-1R+D1-1R-2.left.depart.dr") for name in names)
    assert not any(name.startswith("unit.HALF.D1-1R.left.depart.dr") for name in names)
