"""The floor in characters shows what somebody who stands in the hold would look for: every doorway, every device."""

from __future__ import annotations

import pytest

from interlock.report.text.floor import floor_lines
from tests.agreement.hold_texts import SOUND, compile_file, compile_text, doorway, hold_text

STOP = "- {{id: S{at}, kind: fixed stop, on: [{bay}.{side}], stops: [{side}], restrains: [{axis}]}}"
LEGEND = (
    "  fore is up; # a device stands there at the start, : a device is down there, =\n    a doorway, outside the bay\n"
)


def picture(side: str, bays: list[str], *, device: bool = True, id: str = "D1", **layout: str) -> str:
    """A floor of two lanes and two rows, or another, with a door on one side of some bays, and devices at its sill."""
    axis = "x" if side in ("fore", "aft") else "y"
    devices = [STOP.format(at=at, bay=bay, side=side, axis=axis) for at, bay in enumerate(bays)]
    text = hold_text(
        **{"lanes": "[L, R]", "rows": "2", "ball_mat": "[1L, 1R, 2L, 2R]", **layout},  # type: ignore[arg-type]
        doorways=doorway(f"[{', '.join(bays)}]", side, id=id),
        devices="\n".join(devices) if device else "",
    )
    return "".join(f"{line.text}\n" for line in floor_lines(compile_text(text)))


SIDES = {
    ("right", "1R"): """\
             L          R
        +----------+----------+
     1  |          |          #= D1
        +----------+----------+
     2  |          |          |
        +----------+----------+
""",
    ("left", "1L 2L"): """\
             L          R
        +----------+----------+
D1   1 =#          |          |
        +----------+----------+
D1   2 =#          |          |
        +----------+----------+
""",
    ("fore", "1L"): """\
             L          R
         ====D1====
        +-########-+----------+
     1  |          |          |
        +----------+----------+
     2  |          |          |
        +----------+----------+
""",
    ("aft", "2L 2R"): """\
             L          R
        +----------+----------+
     1  |          |          |
        +----------+----------+
     2  |          |          |
        +-########-+-########-+
         ====D1==== ====D1====
""",
}


@pytest.mark.parametrize(("where", "drawn"), SIDES.items(), ids=" ".join)
def test_a_doorway_and_the_devices_at_its_sill_are_both_seen(where: tuple[str, str], drawn: str) -> None:
    """On each side, for doors of one bay and of several, the door stands outside the bay and the device on its side."""
    side, bays = where
    assert picture(side, bays.split()) == drawn + LEGEND
    assert (
        picture(side, bays.split(), device=False)
        == drawn.replace("#=", "|=").replace("=#", "=|").replace("-########-", "----------") + LEGEND
    )


def test_a_doorway_where_the_floor_is_narrower() -> None:
    """A door beside a place that is no bay is drawn in that place; no border is drawn where there is no bay."""
    only = "[{bays: [1R], kinds: []}]"
    assert (
        picture("right", ["1L"], rules=only, ball_mat="[1L, 2L, 2R]")
        == """\
             L          R
        +----------+          +
     1  |          #=            D1
        +----------+----------+
     2  |          |          |
        +----------+----------+
"""
        + LEGEND
    )


def test_the_name_of_a_door_is_not_cut_to_another() -> None:
    """Names of doors on the left are written out as those on the right are."""
    assert "\nmain_door  1 =#" in picture("left", ["1L"], id="main_door")


@pytest.mark.parametrize("name", SOUND)
def test_every_doorway_of_the_demonstration_holds_is_seen(name: str) -> None:
    """As many doorway marks as the doors have bays, each beside a bay with a sill device that stands."""
    compiled = compile_file(f"models/{name}.yaml")
    rows = [line.text for line in floor_lines(compiled)][:-2]
    bays = sum(len(door.bays) for door in compiled.hold.doorways)
    assert bays and sum(row.count("#=") + row.count("=#") for row in rows) == bays


def test_a_bay_in_the_middle_takes_up_both_lanes() -> None:
    """It is named there, its door is beside it, and the line before it shows what stands on either half."""
    text = hold_text(
        lanes="[L, R]",
        rows=3,
        ball_mat="[1L, 1R]",
        centred="{row: 3, lane: C, between: [L, R]}",
        doorways=doorway("[3C]", "left"),
        devices="""\
- {id: ML, kind: manual latch, on: 2L.aft, stops: [fore, aft], restrains: x, locking: raised, starts: raised}
- {id: MR, kind: manual latch, on: 2R.aft, stops: [fore, aft], restrains: x, locking: raised, starts: lowered}
- {id: RG, kind: fixed guide, on: 3C.right, stops: right, restrains: y}""",
    )
    shown = "".join(f"{line.text}\n" for line in floor_lines(compile_text(text)))
    assert (
        shown.removesuffix(LEGEND)
        == """\
             L          R
        +----------+----------+
     1  |          |          |
        +----------+----------+
     2  |          |          |
        +-########-+-::::::::-+
D1   3 =|    3C               #
        +----------+----------+
"""
    )
