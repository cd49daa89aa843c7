"""Supplies that need something else, such as hydraulic pressure from an electric pump, against a plain model."""

from __future__ import annotations

import pytest

from interlock.hold.compile.compiler import CompiledHold
from interlock.kernel.claims import Limits
from interlock.kernel.evaluator import as_mapping, initial_states, successors
from interlock.prove.search.explicit import explicit
from interlock.study.verify import Status, verify
from tests.agreement.hold_texts import compile_text, doorway, hold_text, standing

PUMP = """\
controls:
  - {{id: PUMP, name: hydraulic pump switch, kind: switch, positions: [stop, run], starts: stop, reachable: {reach}}}
  - {{id: LV, kind: lever, positions: [fore, aft]}}
supplies:
  - {{id: GP, name: ground power, starts: {start}, may_be_lost: {gp}}}
  - id: HYD
    name: hydraulic pressure
    starts: off
    may_be_lost: {lost}
    needs: GP is on and PUMP is run
    stored: {stored}
relays:
  - {{id: armed, sets: {sets} and LV is neutral, drops: not {sets}}}
zones:
  - {{id: Z, bays: [1C, 2C], power: HYD is on and {relay}, commands: [{{fore: LV is fore, aft: LV is aft}}]}}
"""


def hold(
    *, stored: bool, lost: bool, gp: bool = True, sets: str = "HYD is on", relay: str = "armed", shut: str = ""
) -> CompiledHold:
    reach = "D1 is open" if shut else "always"
    doors = doorway("1C", "fore")
    if shut:
        doors = doors.replace('opens: "false", closes: "false"', f"opens: always, closes: {shut}")
    rest = PUMP.format(
        stored=str(stored).lower(),
        lost=str(lost).lower(),
        gp=str(gp).lower(),
        sets=sets,
        relay=relay,
        reach=reach,
        start="off" if gp else "on",
    )
    return compile_text(hold_text(rows=2, doorways=doors, rest=rest), standing())


State = tuple[bool, bool, bool]


def moves(state: State, stored: bool, lost: bool) -> set[State]:
    """Ground power, pump switch, pressure: what one step of supplies or of a hand makes of them."""
    power, pump, pressure = state
    found = {(not power, pump, pressure), (power, not pump, pressure)}
    if pressure and (lost or (stored and not (power and pump))):
        found.add((power, pump, False))
    if not pressure and power and pump:
        found.add((power, pump, True))
    return {settled(one, stored) for one in found}


def settled(state: State, stored: bool) -> State:
    power, pump, pressure = state
    return power, pump, pressure and (stored or (power and pump))


@pytest.mark.parametrize("stored", [False, True])
@pytest.mark.parametrize("lost", [False, True])
def test_pressure_comes_and_goes_as_in_the_plain_model(stored: bool, lost: bool) -> None:
    """Every start and every step of the supplies and the pump switch, and no others."""
    machine = hold(stored=stored, lost=lost).machine

    def seen(state: tuple[object, ...]) -> State:
        values = as_mapping(machine, state)  # type: ignore[arg-type]
        return (
            values["supply.GP.state"] == "on",
            values["control.PUMP.position"] == "run",
            values["supply.HYD.state"] == "on",
        )

    starts = list(initial_states(machine))
    assert {seen(state) for state in starts} == {(False, False, False)}
    waiting, known = list(starts), set(starts)
    found: dict[State, set[State]] = {}
    while waiting:
        state = waiting.pop()
        for rule, after in successors(machine, state):
            if rule.name.startswith(("supply.", "control.PUMP")):
                found.setdefault(seen(state), set()).add(seen(after))
            if after not in known:
                known.add(after)
                waiting.append(after)
    assert found == {state: moves(state, stored, lost) for state in found}
    assert len(found) == (8 if stored else 5)


def outcome(compiled: CompiledHold, asked: str) -> Status:
    statuses = {answer.status for answer in verify(compiled, explicit, Limits(), chosen=(asked,)).answers}
    (status,) = statuses
    return status


@pytest.mark.parametrize("stored", [False, True])
def test_pressure_that_comes_back_moves_nothing_by_itself(stored: bool) -> None:
    """With a relay that waits for a lever let go under pressure it does not; with one that looks at ground power, or
    none at all, a lever held while the pump builds up pressure starts the drives."""
    asked = "fresh-command-after-power-loss"
    assert outcome(hold(stored=stored, lost=True), asked) is Status.HOLDS
    assert outcome(hold(stored=stored, lost=False), asked) is Status.HOLDS
    assert outcome(hold(stored=stored, lost=False, sets="GP is on"), asked) is Status.FAILS
    assert outcome(hold(stored=stored, lost=True, relay="GP is on"), asked) is Status.FAILS


def test_a_command_must_be_fresh_after_the_supply_that_the_drives_run_on() -> None:
    """What the pump needs comes back in a step before that of the pressure; stored pressure outlasts its loss."""
    compiled = hold(stored=True, lost=False)
    assert compiled.world.things["Z"].parts["supplies"] == ("HYD",)


def test_what_is_stored_is_power_behind_a_shut_door() -> None:
    """A door that can be shut once the pump is stopped leaves no drive power: unless pressure is stored."""
    asked = "no-drive-power-behind-shut-doors"
    assert outcome(hold(stored=False, lost=True, gp=False, shut="PUMP is stop"), asked) is Status.HOLDS
    assert outcome(hold(stored=True, lost=True, gp=False, shut="PUMP is stop"), asked) is Status.FAILS
    assert outcome(hold(stored=True, lost=True, gp=False, shut="PUMP is stop and HYD is off"), asked) is Status.HOLDS
