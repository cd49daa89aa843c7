"""Levers marked in, out, inboard, outboard, against a table of what a loader means by them."""

from __future__ import annotations

import re
from html import unescape
from pathlib import Path

import pytest

from interlock import cli
from interlock.kernel.claims import Limits
from interlock.prove.search.explicit import explicit
from interlock.study.verify import Status, verify
from tests.agreement.hold_texts import ROOT, compile_text, doorway, hold_text, standing

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


OWN_WORDS = {
    "positions: [fore, aft]}\n  - {id: LVB": "positions: [nose_end, tail_end], "
    "marks: {fore: nose_end, aft: tail_end}}\n  - {id: LVB",
    "positions: [left, right]": "positions: [in, out], door: D1",
    "positions: [door, loader], starts: door": "positions: [this_side, far_side], starts: this_side",
    "STN is door": "STN is this_side",
    "STN is loader": "STN is far_side",
    "LVA is fore": "LVA is nose_end",
    "LVA is aft": "LVA is tail_end",
    "LVS is left": "LVS is out",
    "LVS is right": "LVS is in",
}
"""An operator's own names for the positions of three controls of the single lane."""


@pytest.mark.usefixtures("done_once")
def test_the_operators_words_are_used_wherever_people_read(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Proofs, audits, checklists, plans and the texts for programs call positions as the operator does, in words."""
    monkeypatch.chdir(tmp_path)
    text = (ROOT / "models" / "single-lane.yaml").read_text(encoding="utf-8")
    for old, new in OWN_WORDS.items():
        assert old in text
        text = text.replace(old, new)
    Path("own.yaml").write_text(text)
    Path("flawed.yaml").write_text(
        text.replace("KEY is on and LVA is neutral and LVB is neutral and LVS", "KEY is on and LVB")
    )
    load = "checklist own.yaml --load 4C=HALF"
    unload = "checklist own.yaml --unload all --aboard 4C=HALF"
    assert cli.run([*load.split(), "--format", "procedure", "-o", "made.yaml"]) == 0
    calls = {
        "prove flawed.yaml --no-blame --only fresh-command-after-power-loss": (
            r"hold .{,30} to (in|out|nose end|tail end)",
            r"is held to (in|out|nose end|tail end)",
        ),
        load: ("door to tail end", "selector is set to this side"),
        f"{load} --format json": ("door to tail end", "selector is set to this side"),
        f"{load} --format html": ("door to tail end", r"\(STN\) this side"),
        unload: ("door to nose end", "doorway lever to out"),
        "walk own.yaml --do 1": ("this side",),
    }
    for call, words in calls.items():
        assert cli.run(call.split()) in (0, 1), call
        said = capsys.readouterr().out
        flat = " ".join(unescape(re.sub(r"</text>\s*<text[^>]*>", " ", said)).split())
        for one in words:
            assert re.search(one, flat), (call, one)
        # as it is written it stands in expressions, and in steps as programs read them
        raw = r"(?<!LVA is )(?<!STN is )\b(nose_end|tail_end|this_side|far_side)\b"
        assert "json" in call or not re.search(raw, flat), call
    assert "hold LVA to tail_end until" in Path("made.yaml").read_text()
