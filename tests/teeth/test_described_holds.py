"""Three holds described as somebody new to the language would: sound as they stand, and each flaw in them is found.

The first tapers, has two doors, hydraulic drives, levers that are pressed to split, go in and out; the second takes
pallets of three bays over overridable latches, pushes by hand where somebody stands, and runs on a momentary switch; in
the third nearly all is done by hand, and stops go down on handles.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path

import pytest

from interlock import cli
from interlock.kernel.claims import Limits
from interlock.prove.decide import decide
from interlock.study.verify import Status, verify
from tests.agreement.hold_texts import compile_text, standing
from tests.some import swept

FOLDER = Path(__file__).parent / "described"
TAPERING, NOSE, AISLE = "tapering-hold.yaml", "nose-door-hold.yaml", "single-aisle-hold.yaml"
SAFETY = tuple(text.id for text in standing() if text.kind.value in ("never", "always", "only if", "order"))
"""What must never happen; what can be done is asked of the sound holds only, where all of it is."""


@cache
def outcome(name: str, change: tuple[str, str], asked: tuple[str, ...] | None) -> dict[str, frozenset[Status]]:
    """For each requirement text the statuses of its instances."""
    text = (FOLDER / name).read_text(encoding="utf-8")
    assert text.count(change[0]) == 1 or change == ("", "")
    found = verify(compile_text(text.replace(*change), standing()), decide, Limits(), chosen=asked)
    statuses: dict[str, set[Status]] = {}
    for answer in found.answers:
        statuses.setdefault(answer.instance.requirement.id.partition("[")[0], set()).add(answer.status)
    return {id: frozenset(those) for id, those in statuses.items()}


@pytest.mark.parametrize("name", [TAPERING, NOSE, AISLE])
def test_no_false_alarm(name: str) -> None:
    """Every requirement of the standing set that has what it speaks of holds, and none of them idly."""
    found = outcome(name, ("", ""), None)
    assert len(found) >= 20
    assert set(found.values()) == {frozenset({Status.HOLDS})}


FLAWS = [
    pytest.param(
        TAPERING,
        ("is: up_M2L or up_M2R}", "is: up_M2L}"),
        {"no-drive-against-device", "nothing-rises-under-a-unit"},
        id="the latch of the other lane is not asked before the middle position",
    ),
    pytest.param(
        TAPERING,
        ("(at2R or at3C implies up_M2R)", "(at2R implies up_M2R)"),
        {"secured-behind-shut-doors"},
        id="half of the line holds the middle position",
    ),
    pytest.param(
        TAPERING,
        ("is: HYD is on and armed and some_door_open", "is: HYD is on and some_door_open"),
        {"fresh-command-after-power-loss"},
        id="no fresh command when pressure has built up",
    ),
    pytest.param(
        TAPERING,
        ("is: HYD is on and armed and some_door_open", "is: HYD is on and armed"),
        {"no-drive-power-behind-shut-doors"},
        id="stored pressure behind shut doors",
    ),
    pytest.param(
        TAPERING,
        (
            "{station: PANEL, left: LV1 is in, right: LV1 is out}",
            "{station: PANEL, left: LV1 is out, right: LV1 is in}",
        ),
        {"drive-only-while-held"},
        id="in and out are crossed at the main door",
    ),
    pytest.param(
        TAPERING,
        (
            "{station: PANEL, right: LV2 is in, left: LV2 is out}",
            "{station: PANEL, left: LV2 is in, right: LV2 is out}",
        ),
        {"drive-only-while-held"},
        id="in and out are those of the other door",
    ),
    pytest.param(
        TAPERING,
        ("line_up or at3C or over_line or over_sill2", "line_up or at3C or over_sill2"),
        {"no-drive-against-unit"},
        id="with the lanes split a unit is driven at one that stopped before the middle",
    ),
    pytest.param(
        TAPERING,
        ("is: GP is on and PB2 is pressed and door2_open}", "is: GP is on and PB2 is pressed}"),
        {"door-path-clear", "secured-behind-shut-doors", "sill-devices-locking-behind-shut-door"},
        id="the sill button works with the door shut",
    ),
    pytest.param(
        TAPERING,
        ("is: levers_free and load_held}", "is: levers_free and up_SL2 and not over_sill2}"),
        {"nothing-across-behind-shut-doors", "secured-behind-shut-doors"},
        id="the second door does not ask for the load",
    ),
    pytest.param(
        NOSE,
        ("((over{r} and stuck_aft{r+1}) or (not over{r} and (up_M{r} or at{r+1})))", "(up_M{r} or at{r+1})"),
        {"no-one-sided-drive"},
        id="a long pallet is taken for three short ones",
    ),
    pytest.param(
        NOSE,
        (
            "momentary switch, positions: [in, off, out], returns: off, door: D1}",
            "switch, positions: [in, off, out], starts: off}",
        ),
        {"drive-only-while-held", "fresh-command-after-power-loss"},
        id="the lane switch stays where it is put",
    ),
    pytest.param(
        NOSE,
        ("up_M{r-1} or up_OL{r-1} or at{r-1}", "up_M{r-1} or at{r-1}"),
        {"no-drive-against-device"},
        id="driven against an overridable latch from behind",
    ),
    pytest.param(
        NOSE,
        ("(at2 implies over1 or up_M1 or up_OL1) and", ""),
        {"secured-behind-shut-doors"},
        id="an overridable latch that is kept down is not noticed",
    ),
    pytest.param(
        NOSE,
        ("hand_work: not D1 is closed", "hand_work: always"),
        {"secured-behind-shut-doors"},
        id="the latches are within reach behind the shut door",
    ),
    pytest.param(
        NOSE,
        ("still1 and still2 and still3 and up_SL", "up_SL"),
        {"nothing-across-behind-shut-doors"},
        id="shut on a pallet that is half-way",
    ),
]


@pytest.mark.parametrize(("name", "change", "lost"), swept(FLAWS, 9))
def test_a_flaw_loses_what_it_should(name: str, change: tuple[str, str], lost: set[str]) -> None:
    """One text replaced: of what must never happen exactly these fail, everything else still holds."""
    found = outcome(name, change, SAFETY)
    assert {id for id, statuses in found.items() if Status.FAILS in statuses} == lost
    assert {status for statuses in found.values() for status in statuses} <= {
        Status.HOLDS,
        Status.VACUOUS,
        Status.FAILS,
    }


@pytest.mark.thorough
def test_a_checklist_is_in_the_words_of_the_equipment(capsys: pytest.CaptureFixture[str]) -> None:
    """Buttons are pressed, a supply that needs another does not stay as it is, and the audit finds every step sure."""
    assert cli.run(["checklist", str(FOLDER / TAPERING), "--load", "3C=BOX"]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "The ground power is on, and stays so." in said
    assert "The hydraulic pressure is off." in said
    assert "Press the sill button of the aft door and keep it pressed." in said
    assert "Release the sill button of the aft door." in said
    assert "AUDIT:" not in said


def test_the_description_is_told_as_it_is_meant(capsys: pytest.CaptureFixture[str]) -> None:
    """What the words of the description come to is told, for a look at the equipment."""
    assert cli.run(["describe", str(FOLDER / TAPERING)]) == 0
    said = " ".join(capsys.readouterr().out.split())
    for part in (
        "3C: one bay in the middle of the lanes L and R",
        "LVX: lane lever: lever (fore, aft), can be pressed as well",
        "LV1: doorway lever: lever (in, out), by door D1 in is left, out is right",
        "LV2: aft door lever: lever (in, out), by door D2 in is right, out is left",
        "GS: centre guide switch: momentary switch (off, lower), springs back to off",
        "HYD: hydraulic pressure: supply, comes on only while GP is on and PUMP is run, may last for a while without",
        "under 1R, 2R only: fore while LVX is fore and LVX is pressed and SIDE is right",
        "hydraulic pressure comes on at any time after it has what it needs, and may last for any time without.",
        "Between the lanes and 3C a unit one lane wide comes from either lane",
    ):
        assert part in said, part
    assert cli.run(["describe", str(FOLDER / NOSE)]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "Units can be pushed by hand in these bays only: 1C, 2C while AIR is off" in said
    assert "drive air comes on at any time after it has what it needs, and goes off at once without." in said
