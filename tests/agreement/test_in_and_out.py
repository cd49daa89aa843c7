"""Levers marked in, out, inboard, outboard, against a table of what a loader means by them."""

from __future__ import annotations

import pytest

from interlock.kernel.claims import Limits
from interlock.prove.search.explicit import explicit
from interlock.study.verify import Status, verify
from tests.agreement.hold_texts import compile_text, doorway, hold_text, standing

CALLED = ("in", "out", "inboard", "outboard")

MEANT = [
    # what is said of the lever, then which way the positions above move a unit: common practice, no source
    ("right", "door: D1", ("left", "right", "left", "right")),
    ("left", "door: D1", ("right", "left", "right", "left")),
    ("right", "lane: A", ("right", "left", "right", "left")),
    ("right", "lane: B", ("right", "left", "right", "left")),
    ("right", "lane: D", ("left", "right", "left", "right")),
    ("left", "lane: C", ("left", "right", "left", "right")),
    ("left", "door: D1, marks: {right: in}", ("right", "left", "right", "left")),
]


def hold(side: str, said: str, ways: tuple[str, ...], lever: int) -> str:
    """Four lanes with one lever for each word; all but the chosen lever command nothing."""
    bay = "1A" if side == "left" else "1D"
    position, way = CALLED[lever], ways[lever]
    return hold_text(
        lanes="[A, B, C, D]",
        ball_mat="1A..1D",
        doorways=doorway(bay, side),
        rest=f"controls: [{{id: LV, kind: lever, positions: [{', '.join(CALLED)}], {said}}}]\n"
        f"zones: [{{id: Z, bays: 1A..1D, power: always, commands: [{{{way}: LV is {position}}}]}}]\n",
    )


def outcome(text: str) -> set[Status]:
    asked = ("drive-only-while-held",)
    found = verify(compile_text(text, standing()), explicit, Limits(), chosen=asked)
    return {answer.status for answer in found.answers} - {Status.VACUOUS}


@pytest.mark.parametrize(("side", "said", "ways"), MEANT)
@pytest.mark.parametrize("lever", range(4))
def test_a_word_is_for_one_direction(side: str, said: str, ways: tuple[str, ...], lever: int) -> None:
    """Wired to the direction that it is meant for it counts as held; wired to the opposite it does not."""
    opposite = {"left": "right", "right": "left"}
    assert outcome(hold(side, said, ways, lever)) == {Status.HOLDS}
    assert outcome(hold(side, said, tuple(opposite[way] for way in ways), lever)) == {Status.FAILS}


def test_without_door_or_lane_the_wiring_is_believed() -> None:
    """As before: nothing says which way the lever goes, so whatever asks for it counts."""
    for ways in (("left",) * 4, ("right",) * 4):
        assert outcome(hold("right", "marks: {left: in, right: out}", ways, 2)) == {Status.HOLDS}


def test_a_nose_door() -> None:
    """In by a door in the nose is aft."""
    text = hold_text(
        rows=2,
        doorways=doorway("1C", "fore"),
        rest="controls: [{id: LV, kind: lever, positions: [in, out], door: D1}]\n"
        "zones: [{id: Z, bays: [1C, 2C], power: always, commands: [{aft: LV is in, fore: LV is not neutral}]}]\n",
    )
    # `not neutral` runs the drives fore while the lever is held in
    assert outcome(text) == {Status.HOLDS, Status.FAILS}
