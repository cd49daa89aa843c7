"""Directions on the floor, and the sides of bays that lie in them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from enum import StrEnum

from interlock.diagnostics.frozen import frozen
from interlock.diagnostics.spans import Span


class Direction(StrEnum):
    """A direction of motion on the floor, as seen by someone who looks forward."""

    FORE = "fore"
    AFT = "aft"
    LEFT = "left"
    RIGHT = "right"

    @property
    def opposite(self) -> Direction:
        """The other way along the same axis."""
        return _OPPOSITE[self]

    @property
    def axis(self) -> str:
        """`x` for fore and aft, `y` for left and right."""
        return "x" if self in (Direction.FORE, Direction.AFT) else "y"


_OPPOSITE = {
    Direction.FORE: Direction.AFT,
    Direction.AFT: Direction.FORE,
    Direction.LEFT: Direction.RIGHT,
    Direction.RIGHT: Direction.LEFT,
}
DIRECTIONS = tuple(Direction)
"""All of them, in the order in which messages list them."""


IN_AND_OUT = ("in", "inboard", "out", "outboard")
"""Positions of levers that go by a door or a lane."""


def in_and_out(inwards: Direction) -> Mapping[str, Direction]:
    """The direction of each of these positions, where in is that way."""
    return dict(zip(IN_AND_OUT, (inwards, inwards, inwards.opposite, inwards.opposite), strict=True))


def inboard_of(lane: str, lanes: Sequence[str]) -> Direction | None:
    """Where the middle of the hold is, seen from a lane; None from a lane in the middle."""
    before, after = lanes.index(lane), len(lanes) - 1 - lanes.index(lane)
    if before == after:
        return None
    return Direction.RIGHT if before < after else Direction.LEFT


@frozen
class Side:
    """A side of a bay; the face that lies there is shared with the neighbour, if there is one."""

    bay: str
    direction: Direction
    span: Span
