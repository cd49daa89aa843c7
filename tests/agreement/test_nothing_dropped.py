"""Nothing that a description says is left out, or given another meaning, without a word."""

from __future__ import annotations

import pytest

from interlock.hold.loader import Source
from interlock.kernel.claims import Limits
from interlock.kernel.evaluator import as_mapping, initial_states
from interlock.prove.decide import decide
from interlock.study.verify import Status, verify
from tests.agreement.hold_texts import HALF, compile_text, doorway, faults_of, hold_text

ABOUT = "hazard: h, severity: '1', scheme: s, source: common practice"


def relay_hold(selector: str, relay: str, sets: str = "SEL is a or SEL is b") -> str:
    """A selector of three positions and a relay that it sets; `selector` and `relay` are how they start."""
    return hold_text(
        rest=f"controls: [{{id: SEL, kind: selector, positions: [a, b, c], starts: {selector}}}]\n"
        f"relays: [{{id: R, sets: {sets}, drops: 'false', starts: {relay}}}]\n"
    )


def codes(text: str) -> list[str]:
    return [fault.code for fault in faults_of(Source("test.yaml", text.encode()))]


def test_a_hold_that_can_start_in_no_way_is_rejected() -> None:
    """Rest is possible in a position in which nothing starts: of no state everything would be proved."""
    assert codes(relay_hold("[a, b]", "released")) == ["start-not-settled"]
    assert codes(relay_hold("[c]", "released")) == []


@pytest.mark.parametrize(
    ("selector", "relay", "said"),
    [
        ("[a, c]", "released", "SEL is set to a at the start"),
        ("[a, b, c]", "released", "SEL is set to b at the start"),
        ("c", "[released, energised]", None),
    ],
)
def test_a_start_that_is_written_down_is_one_of_the_starts(selector: str, relay: str, said: str | None) -> None:
    """A value to start with that is at rest with nothing else is rejected; all others are among the first states."""
    text = relay_hold(selector, relay)
    faults = faults_of(Source("test.yaml", text.encode()))
    if said is not None:
        assert {fault.code for fault in faults} == {"start-not-settled"}
        assert any(said in fault.message for fault in faults)
        return
    machine = compile_text(text).machine
    seen = {as_mapping(machine, state)["relay.R.state"] for state in initial_states(machine)}
    assert seen == {"released", "energised"}


def test_what_can_be_done_in_a_situation_that_cannot_be_fails() -> None:
    """No unit is large enough for a bay that holds none: what should be possible there is not left out, it fails."""
    text = hold_text(
        rows=2,
        ball_mat="[1C]",
        units=HALF,
        doorways=doorway("[1C]", "left", moves='"true"'),
        rules="[{bays: [2C], kinds: [HALF]}]",
        pushing='"true"',
        rest=(
            f"requirements:\n  - {{id: work, text: t, kind: can, for: {{b: bays}}, when: b is manned, "
            f"condition: b is empty, {ABOUT}}}\n"
        ),
    )
    answers = verify(compile_text(text), decide, Limits()).answers
    assert [(answer.instance.requirement.id, answer.status) for answer in answers] == [
        ("work[1C]", Status.FAILS),
        ("work[2C]", Status.FAILS),
    ]


@pytest.mark.parametrize("step", ["step: by_itself R, condition: SEL is c", "step: by_itself R, first: set_a SEL"])
def test_what_a_mechanism_does_at_once_is_no_step_to_ask_about(step: str) -> None:
    """It is part of the step that sets it off: asked where that begins, `only while SEL is c` would seem to hold."""
    kind = "order" if "first" in step else "only if"
    asked = f"requirements: [{{id: r, text: t, kind: {kind}, {step}, {ABOUT}}}]\n"
    assert codes(relay_hold("c", "released") + asked) == ["unknown-verb"]


@pytest.mark.parametrize("name", ["empty", "occupied", "secured", "manned", "driven_one_sided"])
def test_a_kind_of_unit_is_not_called_what_a_bay_can_be_anyway(name: str) -> None:
    """With a kind called `occupied`, bays with units of other kinds would not be occupied any more."""
    assert codes(hold_text(units=f"{HALF}\n- {{id: {name}, across: 1, along: 2}}")) == ["reserved-name"]


def test_a_place_is_not_called_inside_nor_a_position_of_a_lever_held() -> None:
    """Of every person `inside`, of every lever `held` says something already."""
    place = "places: [{id: inside, name: at the door, bay: outside, reaches: []}]\n"
    assert "reserved-name" in codes(hold_text(rest=place))
    lever = "controls: [{id: LV, kind: lever, positions: [held, away]}]\n"
    assert codes(hold_text(rest=lever)) == ["reserved-name"]


@pytest.mark.parametrize(
    "second", [doorway("[1C]", "aft", id="D2", starts="closed"), doorway("[1C]", "left", id="D2", starts="closed")]
)
def test_a_door_that_would_keep_nothing_from_passing_is_rejected(second: str) -> None:
    """One between two bays, or a second one over the same sill: closed or open, units would go through it."""
    doors = doorway("[1C]", "left") + "\n" + second
    assert codes(hold_text(rows=2, ball_mat="[1C]", doorways=doors)) == ["door-closes-nothing"]


@pytest.mark.parametrize("thing", ["S1", "HALF", "C1"])
def test_a_situation_puts_units_in_bays_only(thing: str) -> None:
    """A sensor, a kind of unit or a circuit starts in no state: what is said of it is not passed over."""
    rest = (
        "sensors: [{id: S1, reads: D1 is open}]\ncircuits: [{id: C1, use: logic, is: S1 is on}]\n"
        f"situations: [{{id: s, name: x, sets: {{{thing}: HALF}}}}]\n"
    )
    text = hold_text(rows=2, ball_mat="[1C]", doorways=doorway("[1C]", "left"), rest=rest)
    assert codes(text) == ["start-out-of-range"]


@pytest.mark.parametrize("state", ["latched", "unlatched", "locked", "unlocked"])
def test_a_door_without_a_latch_does_not_start_latched(state: str) -> None:
    """A situation that says so asks for what is not there."""
    rest = f"situations: [{{id: s, name: x, sets: {{D1: {state}}}}}]\n"
    text = hold_text(rows=2, ball_mat="[1C]", doorways=doorway("[1C]", "left"), rest=rest)
    assert codes(text) == ["start-out-of-range"]
