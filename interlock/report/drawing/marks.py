"""Our own marks for devices, readable in black and white.

The outline says what a device is for (latch a square, guide a bar, stop a beam with two flanges, lock a round), the
inner mark how it works (a dot by hand, a zigzag a spring, a triangle power, a ring on a stem a handle, nothing: fixed).
Dark stands above the floor, hollow and broken is down, grey is not said.
"""

from __future__ import annotations

from typing import Any
from xml.etree import ElementTree

from interlock.hold.kinds import DEVICE_KINDS, Kind, Purpose, Working
from interlock.hold.language.model import Direction
from interlock.report.drawing.shapes import INK, PAPER, SOFT, element, path_of

UNKNOWN_FILL = "#d5d5d5"
_HALF = 8.0
_TOWARDS = {
    Direction.FORE: (-1.0, 0.0),
    Direction.AFT: (1.0, 0.0),
    Direction.LEFT: (0.0, 1.0),
    Direction.RIGHT: (0.0, -1.0),
}
"""Where each direction points on a plan."""


def standing_of(kind: str, state: str | None) -> bool | None:
    """Whether a device stands above the floor in the state; None where no state is given."""
    if len(DEVICE_KINDS[kind].states) == 1:
        return True
    return None if state is None else state in DEVICE_KINDS[kind].standing


def draw_mark(parent: ElementTree.Element, x: float, y: float, kind: Kind, along: bool, standing: bool | None) -> None:
    """The mark of a device around (x, y); guides lie along their face (`along`: the face runs along the hold)."""
    fill, ink = {True: (INK, PAPER), False: (PAPER, INK), None: (UNKNOWN_FILL, INK)}[standing]
    outline: dict[str, Any] = {"fill": fill, "stroke": INK, "stroke_width": 1.4}
    if standing is False:
        outline["stroke_dasharray"] = "2.4 1.6"
    purpose = kind.purpose
    if purpose is Purpose.STOP:
        _beam(parent, x, y, along)
        return
    if purpose is Purpose.LOCK:
        element(parent, "circle", cx=x, cy=y, r=_HALF, **outline)
    else:
        wide, high = (_HALF, _HALF) if purpose is Purpose.LATCH else (_HALF + 2, 5.0) if along else (5.0, _HALF + 2)
        element(parent, "rect", x=x - wide, y=y - high, width=2 * wide, height=2 * high, **outline)
    if kind.working is Working.HAND:
        element(parent, "circle", cx=x, cy=y, r=2.6, fill=ink)
    elif kind.working is Working.SPRING:
        turns = [(-5.0, 0.0), (-3.0, -3.0), (-1.0, 3.0), (1.0, -3.0), (3.0, 3.0), (5.0, 0.0)]
        if purpose is Purpose.GUIDE and not along:
            turns = [(b, a) for a, b in turns]
        points = path_of((x + a, y + b) for a, b in turns)
        element(parent, "path", d=points, fill="none", stroke=ink, stroke_width=1.3)
    elif kind.working is Working.POWER:
        # it points to where it rests without power
        tip = -3.4 if kind.initial in kind.standing else 3.4
        element(parent, "path", d=path_of([(x - 3.6, y - tip), (x + 3.6, y - tip), (x, y + tip)], True), fill=ink)
    elif kind.working is Working.HANDLE:
        element(parent, "circle", cx=x, cy=y - 2.0, r=2.4, fill="none", stroke=ink, stroke_width=1.3)
        element(parent, "path", d=path_of([(x, y + 0.6), (x, y + 5.4)]), stroke=ink, stroke_width=1.6)


def _beam(parent: ElementTree.Element, x: float, y: float, along: bool) -> None:
    flange, web = _HALF + 1, 2.2
    corners = [(-flange, -6.0), (flange, -6.0), (flange, -3.0), (web, -3.0), (web, 3.0), (flange, 3.0), (flange, 6.0)]
    corners += [(-flange, 6.0), (-flange, 3.0), (-web, 3.0), (-web, -3.0), (-flange, -3.0)]
    if not along:
        corners = [(b, a) for a, b in corners]
    element(parent, "path", d=path_of(((x + a, y + b) for a, b in corners), True), fill=INK)


def draw_way(parent: ElementTree.Element, x: float, y: float, direction: Direction) -> None:
    """An open arrowhead beside a mark: the device gives way to a unit that passes so."""
    beside = -13.0 if direction in (Direction.FORE, Direction.LEFT) else 13.0
    a, b = (3 * part for part in _TOWARDS[direction])
    # across its pointing, both ends lie back by as much as the tip lies ahead
    ends = [(-a - abs(b), -b - abs(a)), (-a + abs(b), -b + abs(a))]
    points = path_of((x + beside + p, y + q) for p, q in (ends[0], (a, b), ends[1]))
    element(parent, "path", d=points, fill="none", stroke=INK, stroke_width=1.3)


def draw_held(parent: ElementTree.Element, x: float, y: float) -> None:
    """Brackets around a mark: the device is held in one position for good."""
    for side in (-1, 1):
        near, far = x + side * 8.5, x + side * 11.5
        points = path_of([(near, y - 11), (far, y - 11), (far, y + 11), (near, y + 11)])
        element(parent, "path", d=points, fill="none", stroke=INK, stroke_width=1.3)


def draw_kept(parent: ElementTree.Element, x: float, y: float) -> None:
    """A bar over a mark: kept down by hand."""
    element(parent, "path", d=path_of([(x - 9, y - 10.5), (x + 9, y - 10.5)]), stroke=INK, stroke_width=2.4)


def draw_failed(parent: ElementTree.Element, x: float, y: float) -> None:
    """Two strokes through a mark: it has failed."""
    for a, b in ((-10, -10), (-10, 10)):
        points = path_of([(x + a, y + b), (x - a, y - b)])
        element(parent, "path", d=points, stroke=PAPER, stroke_width=4.0)
        element(parent, "path", d=points, stroke=INK, stroke_width=1.6)


def draw_run(parent: ElementTree.Element, x: float, y: float, direction: Direction) -> None:
    """A solid arrow: the drive of the bay runs so."""
    a, b = _TOWARDS[direction]
    corners = [(-9, -2), (0, -2), (0, -6), (9, 0), (0, 6), (0, 2), (-9, 2)]
    points = path_of(((x + p * a - q * b, y + p * b + q * a) for p, q in corners), True)
    element(parent, "path", d=points, fill=INK, stroke=PAPER, stroke_width=2.0, paint_order="stroke")


def draw_person(parent: ElementTree.Element, x: float, y: float) -> None:
    """A head over shoulders."""
    element(parent, "circle", cx=x, cy=y - 4.5, r=2.8, fill=SOFT)
    shoulders = path_of([(x - 5, y + 5), (x - 3, y - 0.5), (x + 3, y - 0.5), (x + 5, y + 5)], True)
    element(parent, "path", d=shoulders, fill=SOFT)
