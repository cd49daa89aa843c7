"""Corners of the language that no demonstration has: each means what the guide says, in every reachable state."""

from __future__ import annotations

from collections.abc import Iterator

from interlock.hold.compile.compiler import CompiledHold
from interlock.hold.compile.world import Thing
from interlock.hold.loader import Source as Text
from interlock.kernel.evaluator import State, as_mapping, evaluate, successors
from interlock.kernel.expressions import FALSE, TRUE, Value
from interlock.kernel.machine import Machine
from tests.agreement.hold_texts import LONG, compile_text, doorway, faults_of, hold_text
from tests.agreement.state_graphs import state_graph


def reached(compiled: CompiledHold) -> Iterator[tuple[Machine, State, dict[str, Value]]]:
    machine = compiled.machine
    for _, data in state_graph(machine).nodes(data=True):
        yield machine, data["state"], as_mapping(machine, data["state"])


def powered(lags: str) -> CompiledHold:
    return compile_text(
        hold_text(
            rows=2,
            doorways=doorway("1C", "left"),
            devices="- {id: PL, kind: powered latch resting lowered, on: 1C.aft, stops: [aft], restrains: [x], "
            f"locking: raised, circuit: SW is on, starts: lowered{lags}}}",
            rest="controls:\n  - {id: SW, kind: switch, positions: [off, on], starts: off}\n",
        )
    )


def test_what_lags_lets_others_act_first() -> None:
    """A powered latch follows its circuit at once; one that lags can be caught behind it, and then still follows."""
    behind = {}
    for lags in ("", ", lags: true"):
        compiled = powered(lags)
        energised = compiled.world.things["SW"].states["on"]
        raised = compiled.world.things["PL"].states["raised"]
        found: dict[tuple[bool, bool], int] = {}
        for machine, state, _ in reached(compiled):
            pair = (evaluate(machine, energised, state), evaluate(machine, raised, state))
            found[pair] = found.get(pair, 0) + 1
            if lags and pair[0] != pair[1] and evaluate(machine, compiled.world.things["1C"].states["empty"], state):
                after = [then for _, then in successors(machine, state)]
                assert any(evaluate(machine, raised, then) != pair[1] for then in after)
                assert any(evaluate(machine, energised, then) != pair[0] for then in after)
        behind[lags] = {pair for pair in found if pair[0] != pair[1]}
    assert behind[", lags: true"] == {(True, False), (False, True)}
    assert behind[""] == set()


def test_a_lever_that_is_fixed_puts_no_panel_to_use() -> None:
    """A panel is in use while a lever behind it is held; one that a modification fixed in neutral is never held."""
    levers = """\
controls:
  - {id: PN, kind: access panel, starts: closed}
  - {id: LA, kind: lever, positions: [fore, aft], behind: PN}
  - {id: LB, kind: lever, positions: [fore, aft], behind: PN, fixed: neutral}
"""
    compiled = compile_text(hold_text(doorways=doorway("1C", "left"), rest=levers))
    held = {"opened": False, "shut while held": False}
    panel = compiled.world.things["PN"]
    for machine, state, values in reached(compiled):
        now_open = evaluate(machine, panel.states["open"], state)
        lever_held = values["control.LA.position"] != "neutral"
        assert evaluate(machine, compiled.world.things["LB"].states["held"], state) is False
        assert now_open or not lever_held
        held["opened"] |= now_open and lever_held
        shuts = any(evaluate(machine, panel.states["closed"], then) for _, then in successors(machine, state))
        held["shut while held"] |= now_open and lever_held and shuts
    assert held == {"opened": True, "shut while held": False}


def test_a_door_moved_by_hand_is_driven_while_it_moves() -> None:
    """By hand a door is being moved, both ways at once, exactly while it is neither open nor closed."""
    compiled = compile_text(hold_text(doorways=doorway("1C", "left", moves="always")))
    door = compiled.world.things["D1"]
    met = set()
    for machine, state, values in reached(compiled):
        moving = values["door.D1.position"] == "moving"
        met.add(moving)
        for word in ("driven", "driven_open", "driven_closed"):
            assert evaluate(machine, door.states[word], state) == moving
    assert met == {False, True}


def test_a_powered_door_is_driven_where_it_is_free_to_go() -> None:
    """Driven towards open while its drive runs so and it is not open yet; towards closed likewise."""
    text = doorway("1C", "left", moves="SW is fore").replace("moved_by: hand", "moved_by: power")
    text = text.replace("closes: SW is fore", "closes: SW is aft")
    rest = "controls:\n  - {id: SW, kind: switch, positions: [off, fore, aft], starts: off}\n"
    compiled = compile_text(hold_text(doorways=text, rest=rest))
    door = compiled.world.things["D1"]
    met = set()
    for machine, state, values in reached(compiled):
        way, at = values["control.SW.position"], values["door.D1.position"]
        told = (way == "fore" and at != "open", way == "aft" and at != "closed")
        met.add(told)
        assert evaluate(machine, door.states["driven_open"], state) == told[0]
        assert evaluate(machine, door.states["driven_closed"], state) == told[1]
        assert evaluate(machine, door.states["driven"], state) == any(told)
    assert met == {(False, False), (True, False), (False, True)}


def test_a_hold_without_a_doorway_lacks_no_way_to_its_bays() -> None:
    """That no unit can come to a bay is a fault only where there is a sill to come from."""
    assert faults_of(Text("test.yaml", hold_text().encode())) == ()
    apart = hold_text(rows=2, lanes="[L, R]", doorways=doorway("1L", "left"))
    (fault,) = faults_of(Text("test.yaml", apart.encode()))
    assert fault.code == "unreachable-bay"
    assert fault.message.startswith("no unit can come to 1R, 2R from any doorway")


def test_parts_of_a_station() -> None:
    """A station's controls are those that it lists, in its order; it is in charge as it says."""
    rest = """\
controls:
  - {id: SA, kind: switch, positions: [off, on], starts: off}
  - {id: SB, kind: switch, positions: [off, on], starts: off}
stations:
  - {id: A, controls: [SB, SA], owns: SA is on}
  - {id: B, controls: [SB], owns: always}
"""
    compiled = compile_text(hold_text(doorways=doorway("1C", "left"), rest=rest))
    assert compiled.world.things["A"].parts["controls"] == ("SB", "SA")
    assert compiled.world.things["B"].states["owning"] == TRUE
    for machine, state, values in reached(compiled):
        owning = evaluate(machine, compiled.world.things["A"].states["owning"], state)
        assert owning == (values["control.SA.position"] == "on")


def test_a_zone_is_held_while_any_of_its_levers_is() -> None:
    """Two levers command a zone: each holds it by itself, towards the side that it is held to."""
    rest = """\
controls:
  - {id: LA, kind: lever, positions: [fore, aft]}
  - {id: LB, kind: lever, positions: [fore, aft]}
zones:
  - {id: Z, bays: [1C], power: never, commands: [{fore: LA is fore or LB is fore, aft: LA is aft or LB is aft}]}
"""
    compiled = compile_text(hold_text(doorways=doorway("1C", "left"), rest=rest))
    zone = compiled.world.things["Z"]
    assert zone.parts["levers"] == ("LA", "LB")
    met = set()
    for machine, state, values in reached(compiled):
        at = {values["control.LA.position"], values["control.LB.position"]}
        met.add(frozenset(at))
        assert evaluate(machine, zone.states["held"], state) == (at != {"neutral"})
        for way in ("fore", "aft"):
            part = compiled.world.part(zone, way)
            assert isinstance(part, Thing)
            assert evaluate(machine, part.states["held"], state) == (way in at)
            assert part.states["inhibited"] == FALSE and part.states["permitted"] == TRUE
        assert evaluate(machine, zone.states["running"], state) is False
    assert len(met) == 6


def test_a_unit_that_only_comes_in_sideways_covers_what_it_lies_on() -> None:
    """A line between two bays that no unit ever crosses is covered by one that comes to lie over it all the same."""
    compiled = compile_text(
        hold_text(
            rows=2,
            ball_mat="[1C, 2C]",
            units=LONG,
            pushing="always",
            doorways=doorway("[1C, 2C]", "left"),
            devices="- {id: ML, kind: manual latch, on: 1C.aft, stops: [aft], restrains: [x], locking: raised, "
            "starts: lowered}",
        )
    )
    side = compiled.world.part(compiled.world.things["1C"], "aft")
    assert isinstance(side, Thing)
    met = set()
    for machine, state, values in reached(compiled):
        lies, raised = values["bay.1C.holds"] != "empty", values["device.ML.position"] == "raised"
        half_way = any(name.endswith(".crossing") and value != "none" for name, value in values.items())
        met.add((lies, half_way, raised))
        assert evaluate(machine, side.states["covered"], state) == (lies or half_way)
    assert met == {(False, False, False), (False, False, True), (True, False, False), (False, True, False)}


def test_what_stops_nothing_but_holds_down_does_something() -> None:
    """Only a device that neither stops nor restrains is told to do nothing: one may hold units down alone."""

    def codes(stops: str, restrains: str) -> list[str]:
        device = (
            f"- {{id: ML, kind: manual latch, on: 1C.aft, stops: [{stops}], restrains: [{restrains}], locking: raised, "
            "starts: lowered}"
        )
        text = hold_text(rows=2, doorways=doorway("1C", "left"), devices=device)
        return [fault.code for fault in faults_of(Text("test.yaml", text.encode()))]

    assert "device-stops-nothing" not in codes("", "z")
    assert "device-stops-nothing" not in codes("aft", "")
    assert "device-stops-nothing" in codes("", "")
