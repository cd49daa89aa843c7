"""The standing set on holds of other shapes than the demonstrations: two doors, a nose door, a floor that falls, units
that hold one another.  Each hold is sound as it stands and loses the named requirement by one change.
"""

from __future__ import annotations

import pytest

from interlock.kernel.claims import Limits
from interlock.prove.search.explicit import explicit
from interlock.study.verify import Status, verify
from tests.agreement.hold_texts import HALF, WIDE, compile_text, hold_text, standing

STOPS = """\
- {id: FS, kind: fixed stop, on: 1C.fore, stops: [fore], restrains: [x]}
- {id: AS, kind: fixed stop, on: 2C.aft, stops: [aft], restrains: [x]}
- {id: LG, kind: fixed guide, on: 2C.left, stops: [left], restrains: [y]}
- {id: RG, kind: fixed guide, on: 1C.right, stops: [right], restrains: [y]}
- {id: ML, kind: manual latch, on: 1C.aft, stops: [fore, aft], restrains: [x], locking: raised, starts: lowered}"""


def sill(id: str, side: str) -> str:
    across = "left, right" if side.endswith(("left", "right")) else "fore, aft"
    return (
        f"\n- {{id: {id}, kind: manual latch, on: {side}, stops: [{across}], restrains: [x, y], locking: raised, "
        "starts: raised}"
    )


def hand_door(id: str, bays: str, side: str, closes: str) -> str:
    return (
        f"- {{id: {id}, bays: {bays}, side: {side}, moved_by: hand, opens: always, closes: {closes}, latch: none, "
        "lock: none, path: [], starts: closed}"
    )


TWO_DOORS = hold_text(
    rows=2,
    pushing="not D1 is closed or not D2 is closed",
    hand_work="not D1 is closed or not D2 is closed",
    doorways="\n".join(
        (
            hand_door("D1", "1C", "left", "load_secured and D1 is sill_clear"),
            hand_door("D2", "2C", "right", "load_secured and D2 is sill_clear"),
        )
    ),
    # nobody lowers a sill latch from inside while its own door is shut
    devices=STOPS
    + """
- id: SL1
  kind: powered latch resting raised
  circuit: SW1 is lower and not D1 is closed
  on: 1C.left
  stops: [left, right]
  restrains: [y]
  locking: raised
- id: SL2
  kind: powered latch resting raised
  circuit: SW2 is lower and not D2 is closed
  on: 2C.right
  stops: [left, right]
  restrains: [y]
  locking: raised""",
    rest="""\
controls:
  - {id: SW1, kind: switch, positions: [raise, lower], starts: raise}
  - {id: SW2, kind: switch, positions: [raise, lower], starts: raise}
circuits:
  - id: load_secured
    use: permit
    is: "not ML is covered and (ML is raised or (1C is empty and 2C is empty))"
""",
)

NOSE_DOOR = hold_text(
    lanes="[L, R]",
    units=WIDE,
    pushing="not D1 is closed",
    hand_work="not D1 is closed",
    doorways=hand_door("D1", "[1L, 1R]", "fore", "SL is raised and SR is raised and D1 is sill_clear"),
    devices="""\
- {id: AL, kind: fixed stop, on: 1L.aft, stops: [aft], restrains: [x]}
- {id: AR, kind: fixed stop, on: 1R.aft, stops: [aft], restrains: [x]}
- {id: LG, kind: fixed guide, on: 1L.left, stops: [left], restrains: [y]}
- {id: RG, kind: fixed guide, on: 1R.right, stops: [right], restrains: [y]}"""
    + sill("SL", "1L.fore")
    + sill("SR", "1R.fore"),
)

FALLING = hold_text(
    rows=2,
    drift="[aft]",
    hand_work="not D1 is closed",
    doorways=hand_door("D1", "1C", "left", "SL1 is raised and not S1 is covered and (1C is empty or ML is raised)"),
    devices=STOPS.replace("stops: [fore, aft]", "stops: [aft]")
    + sill("SL1", "1C.left")
    + "\n- {id: R2, kind: fixed guide, on: 2C.right, stops: [right], restrains: [y]}"
    + "\n- {id: S1, kind: spring guide, on: 1C.aft, stops: [fore], gives_way: [aft], restrains: [x], locking: raised}",
)

NEIGHBOURS = hold_text(
    rows=2,
    pushing="not D1 is closed",
    hand_work="not D1 is closed",
    neighbour_restrains="true",
    doorways=hand_door(
        "D1", "1C", "left", "SL1 is raised and D1 is sill_clear and not ML is covered and (ML is raised or both)"
    ),
    devices=STOPS
    + sill("SL1", "1C.left")
    + "\n- {id: R2, kind: fixed guide, on: 2C.right, stops: [right], restrains: [y]}",
    rest="""\
circuits:
  - {id: both, use: logic, is: "(1C is empty and 2C is empty) or (1C is occupied and 2C is occupied)"}
""",
)

ONE_WAY = {"can-always-be-emptied-and-shut", "bay-can-be-emptied[2C]"}
"""What a hold loses in which nothing takes a unit back up the slope that it rolled down."""

CASES = [
    pytest.param(
        TWO_DOORS,
        ("load_secured and D2 is sill_clear", "D2 is sill_clear"),
        {
            "secured-behind-shut-doors[1C]",
            "secured-behind-shut-doors[2C]",
            "nothing-across-behind-shut-doors[1C,1C.aft]",
            "nothing-across-behind-shut-doors[2C,2C.fore]",
        },
        id="the second of two doors does not ask whether the load is secured",
    ),
    pytest.param(
        TWO_DOORS,
        ("load_secured and D1 is sill_clear", "load_secured"),
        {
            "door-sill-clear[D1]",
            "nothing-across-behind-shut-doors[1C,1C.left]",
            "sill-devices-locking-behind-shut-door[D1,SL1]",
        },
        id="the first of two doors does not ask for its sill",
    ),
    pytest.param(
        NOSE_DOOR,
        ("SL is raised and SR is raised", "SL is raised"),
        {"secured-behind-shut-doors[1R]", "sill-devices-locking-behind-shut-door[D1,SR]"},
        id="a nose door asks for one of its two sill latches",
    ),
    pytest.param(
        FALLING,
        ("not S1 is covered and ", ""),
        ONE_WAY | {"nothing-across-behind-shut-doors[1C,1C.aft]", "nothing-across-behind-shut-doors[2C,2C.fore]"},
        id="a unit that rolls by itself is shut in half-way",
    ),
    pytest.param(
        FALLING,
        ("drift: [aft]", "drift: []"),
        ONE_WAY | {"bay-can-be-filled[2C,HALF]", "bay-can-be-emptied[1C]"},
        id="nothing takes a unit further once the floor is level",
    ),
    pytest.param(
        NEIGHBOURS,
        ("(ML is raised or both)", "(ML is raised or 1C is occupied)"),
        {"secured-behind-shut-doors[1C]"},
        id="a neighbour that is not there is counted on",
    ),
    pytest.param(
        NEIGHBOURS,
        ("neighbour_restrains: true", "neighbour_restrains: false"),
        {"secured-behind-shut-doors[1C]", "secured-behind-shut-doors[2C]"},
        id="neighbours are counted on that do not restrain",
    ),
]


def failing(text: str) -> set[str]:
    verification = verify(compile_text(text, standing()), explicit, Limits())
    statuses = {answer.status for answer in verification.answers}
    assert statuses <= {Status.HOLDS, Status.VACUOUS, Status.FAILS}
    return {a.instance.requirement.id for a in verification.answers if a.status is Status.FAILS}


@pytest.mark.parametrize(
    ("text", "lost"), [(TWO_DOORS, set()), (NOSE_DOOR, set()), (FALLING, ONE_WAY), (NEIGHBOURS, set())]
)
def test_the_hold_is_sound_as_it_stands(text: str, lost: set[str]) -> None:
    """Every state is looked at, and no safety requirement fails; the load can be shut in."""
    assert failing(text) == lost


@pytest.mark.parametrize(("text", "change", "lost"), CASES)
def test_one_change_loses_exactly_these_requirements(text: str, change: tuple[str, str], lost: set[str]) -> None:
    """One text replaced; the requirements named fail and no others."""
    assert text.count(change[0]) == 1
    assert failing(text.replace(*change)) == lost


def test_the_layouts_are_of_other_shapes() -> None:
    """Two doorways, a door in the nose, a drift, neighbours that count: none of the demonstrations has all of these."""
    assert TWO_DOORS.count("moved_by") == 2
    assert "side: fore" in NOSE_DOOR
    assert "drift: [aft]" in FALLING
    assert "neighbour_restrains: true" in NEIGHBOURS
    assert HALF in TWO_DOORS
