"""Of a procedure with one planted error the first finding names the action, or the goal, that is guilty of it."""

from __future__ import annotations

import pytest

from interlock.hold.loader import Source, load_procedure
from interlock.hold.procedure.binding import bind_procedure, compile_for
from interlock.kernel.claims import Limits
from interlock.study.procedure.audit import Audit, Overall, audit_procedure
from tests.agreement.hold_texts import compile_text, doorway, hold_text, standing
from tests.some import swept
from tests.teeth.procedures import bind, demo, planted
from tests.teeth.written_holds import chosen, written

LANE, TWIN = "single-lane-load", "load-two-and-one"


def audit(text: str) -> Audit:
    """What goes wrong by itself, without slips and interruptions."""
    return audit_procedure(bind(text), None, Limits(), slips=False, interrupted=False)


def line_of(text: str, words: str, which: int = 0) -> int:
    """The line, from 1, that has these words; the first of several, or the one numbered so from 0."""
    return [number for number, line in enumerate(text.splitlines(), 1) if words in line][which]


PARKED = """\
interlock: 1
procedure: Wait at the stop behind row 3, then go on to row 6
hold: ../twin-lane.yaml
start: {GP: on}
goal: 6L is HALF and 6L is secured and D1 is open
steps:
  - open AP
  - set PWR to on
  - unlock D1
  - unlatch D1
  - hold LVD to up until D1 is open
  - lower CG1
  - raise M3L
  - bring HALF to D1
  - pull H1
  - run loader in at D1 until 1R is occupied
  - hold LVY to left until 1L is occupied
  - hold LVX to aft until 3L is occupied
  - check 3L is occupied
  - lower M3L
  - hold LVX to aft until 6L is occupied
  - raise M5L
"""
NEVER_LET_GO = planted(
    LANE,
    "      - hold LVA to aft until 4C is occupied\n",
    "      - hold LVA to aft\n      - wait until 4C is occupied\n",
)
WRONG_LATCH = planted(
    LANE,
    "      - raise M3\n      - go P1 to at_door\n      - check M3 is raised\n",
    "      - raise M2\n      - go P1 to at_door\n",
).replace("      - check 3C is secured and 4C is secured\n", "")
WRONG_IN_TWIN = demo(TWIN).replace("- raise M4L\n      - check 5L is secured", "- raise M3L")
_HELD = "  - hold LVX to aft until 3L"
TOO_EARLY = PARKED.replace("  - lower M3L\n", "").replace(_HELD, f"  - lower M3L\n{_HELD}")
_BRING = "bring HALF to D1"
_RUN = "run loader in at D1 until 1C is occupied or 2C is occupied or 3C is occupied or 4C is occupied"
LOADED_LATE = planted(LANE, f"      - {_BRING}\n      - {_RUN}\n", f"      - {_RUN}\n      - {_BRING}\n")

ERRORS = {
    "a lever never let go": (NEVER_LET_GO, "- hold LVA to aft", "never let go"),
    "a lever never let go, another hold": (
        demo(TWIN).replace("- hold LVX to aft until 6L is WIDE", "- hold LVX to aft\n      - wait until 6L is WIDE"),
        "- hold LVX to aft",
        "never let go",
    ),
    "wrong latch without a check": (WRONG_LATCH, "- raise M2", "raise M3 instead"),
    "wrong latch that the goal does not ask for": (
        WRONG_LATCH.replace("4C is secured and 3C is secured and ", ""),
        "- raise M2",
        "raise M3 instead",
    ),
    "wrong latch without a check, another hold": (WRONG_IN_TWIN, "- raise M3L", "raise M4L instead"),
    "a latch far from where it was wanted": (
        WRONG_LATCH.replace("raise M2", "raise M1"),
        "- raise M1",
        "raise M3 instead",
    ),
    "the loader run before there is a unit on it": (LOADED_LATE, f"- {_RUN}", "comes too early"),
    "a stop lowered too early": (TOO_EARLY, "- lower M3L", "comes too early"),
}


@pytest.mark.parametrize("name", ERRORS)
def test_the_first_finding_names_the_guilty_action(name: str) -> None:
    """The cause comes first, at its line, with what was tried and does; the symptoms are known to follow from it."""
    text, words, what = ERRORS[name]
    found = audit(text)
    assert found.overall is Overall.FINDINGS
    first = found.guilty[0]
    assert first.action is not None
    assert first.span.line == line_of(text, words) == found.actions[first.action - 1].bound.action.span.line
    assert what in f"{first.what}; {first.instead}"
    assert first.restores


ROLLING = hold_text(
    rows=2,
    drift="[aft]",
    doorways=doorway("1C", "fore"),
    devices="- {id: AS, kind: fixed stop, on: 2C.aft, stops: [aft], restrains: [x]}\n"
    "- {id: M1, kind: manual latch, on: 1C.aft, stops: [fore, aft], restrains: [x], locking: raised, starts: raised}",
    rest="""\
places:
  - {id: sill, name: at the sill, bay: outside, reaches: []}
  - {id: in_1, name: in bay 1C, bay: 1C, reaches: [M1]}
people: [{id: A, name: loader, places: [sill, in_1], starts: sill, moves: D1 is open}]
""",
)
ROLLED_OVER = """\
interlock: 1
procedure: Roll one in
hold: rolling.yaml
goal: 2C is HALF and M1 is raised
steps:
  - go A to in_1
  - lower M1
  - bring HALF to D1
  - run loader in at D1 until 1C is HALF or 2C is HALF
  - wait until 2C is HALF
  - raise M1
  - go A to sill
"""


def audit_rolled(text: str, hold: str = ROLLING) -> Audit:
    procedure = load_procedure(Source("roll.yaml", text.encode())).value
    assert procedure is not None
    bound = bind_procedure(procedure, compile_text(hold, standing())).bound
    assert bound is not None
    return audit_procedure(bound, None, Limits(), slips=False, interrupted=False)


def test_somebody_in_the_way_goes_out_of_it_and_comes_back() -> None:
    """Who lowers the latch stands where the unit rolls through, and is wanted there again: out and in mends it."""
    (first,) = audit_rolled(ROLLED_OVER).guilty
    assert first.restores
    assert first.span.line == line_of(ROLLED_OVER, "- run loader")
    assert first.what.endswith("is done with somebody in the way")
    out = "loader leaves, and is then at the sill before action 4"
    assert first.instead == f"{out}; loader enters, and is then in bay 1C before action 6"
    mended = ROLLED_OVER.replace("  - run", "  - go A to sill\n  - run").replace(
        "  - raise", "  - go A to in_1\n  - raise"
    )
    assert audit_rolled(mended).guilty == ()


def test_what_ends_a_procedure_before_it_breaks_anything_is_no_mend() -> None:
    """Were the loader run once the unit has arrived, nothing ever arrived, and nobody were in the way of it."""
    staying = ROLLING.replace("starts: sill, moves: D1 is open", "starts: in_1, moves: never")
    found = audit_rolled(ROLLED_OVER.replace("  - go A to in_1\n", "").replace("  - go A to sill\n", ""), staying)
    assert [one.hazard.instance.requirement.id for one in found.breaches] == ["no-unit-moves-onto-a-person[1C]"]
    assert found.guilty == ()


@pytest.mark.parametrize("name", swept(["single-lane-load", "load-two-and-one", "change-at-the-door"], 3))
def test_sound_procedures_have_nobody_to_blame(name: str) -> None:
    """The demonstrations have no finding to look at first; neither has the one that waits at a stop."""
    assert audit(demo(name)).guilty == ()
    assert name != TWIN or audit(PARKED).guilty[0].what.startswith("cargo power was off")


POWERED = {
    LANE: ("      - set KEY to off\n      - close D1\n", "      - close D1\n", " and KEY is off", "- set KEY to on", 1),
    TWIN: ("      - set PWR to off\n      - check PWR is off\n", "", " and PWR is off", "- set PWR to on", 0),
}


@pytest.mark.parametrize("name", POWERED)
def test_power_left_on_is_told_although_no_goal_asks(name: str) -> None:
    """Power that was off at the start and is on at the end is the first finding, at the action that put it on."""
    old, new, goal, words, which = POWERED[name]
    text = planted(name, old, new).replace(goal, "")
    first = audit(text).guilty[0]
    assert first.span.line == line_of(text, words, which)
    assert "was off at the start and is on at the end, and no part of the goal asks for it" in first.what
    # where the goal does ask for it, nobody is to blame
    asked = planted(name, old, new).replace(goal, goal.replace("off", "on"))
    assert audit(asked).guilty == ()


BY_POWER = """\
interlock: 1
procedure: Load bay 3C, the power left on
hold: written.yaml
start: {GP: on}
goal: 3C is ULD and 3C is secured and DOOR is locked and SSW is up
steps:
  - unlock DOOR
  - unlatch DOOR
  - open DOOR
  - set PWR to on
  - raise latch_2C
  - bring ULD to DOOR
  - set SSW to down
  - run loader in at DOOR until 3C is occupied
  - set SSW to up
  - check 3C is secured
  - close DOOR
  - latch DOOR
  - lock DOOR
"""


def test_a_goal_that_leans_on_a_powered_device_does_not_ask_for_its_power() -> None:
    """Bay 3C is secured by a sill lock that power lowers: that it is to be secured asks for no power at the end."""
    procedure = load_procedure(Source("tested.yaml", BY_POWER.encode())).value
    assert procedure is not None
    hold = compile_text(written(chosen(7001, 4, 8))).hold
    compiled = compile_for(hold, procedure, standing()).compiled
    assert compiled is not None
    bound = bind_procedure(procedure, compiled).bound
    assert bound is not None
    first = audit_procedure(bound, None, Limits(), slips=False, interrupted=False).guilty[0]
    assert first.span.line == line_of(BY_POWER, "set PWR to on")
    assert "was off at the start and is on at the end, and no part of the goal asks for it" in first.what


GOALS = {
    "KEY is off and KEY is on": "contradicts itself: 'KEY is off' and 'KEY is on' together can never be so",
    "KEY is off and not (P1 is at_door or P1 is in_bay_1)": "itself: 'not (P1 is at_door or P1 is in_bay_1)' can never",
    "KEY is off and D1 is open": "is out of reach: from this start 'D1 is locked' and 'D1 is open' together never",
}


@pytest.mark.parametrize("goal", GOALS)
def test_a_goal_that_can_never_be_is_proved_so(goal: str) -> None:
    """The first finding is the goal, at its line, with the fewest parts that are never so together."""
    text = planted(LANE, "KEY is off and P1", f"{goal} and P1")
    found = audit(text)
    first = found.guilty[0]
    assert first.action is None
    assert first.span.line == line_of(text, "goal:")
    assert GOALS[goal] in first.what
    assert first.what.endswith("(proved)")
