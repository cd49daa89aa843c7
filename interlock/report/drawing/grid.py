"""Where everything on a plan goes: forward is to the left, so the right-hand side of the hold is at the top.

Bays are drawn apart; the strips between them are the faces, wide enough for the devices on them and their names.
Nothing is to scale.  Coordinates are in pixels, x to the right, y down.
"""

from __future__ import annotations

from functools import cached_property

from interlock.diagnostics.frozen import frozen
from interlock.diagnostics.said import say
from interlock.hold.compile.compiler import CompiledHold
from interlock.hold.floor import Cell, Face
from interlock.hold.language.model import Device, Direction, Doorway
from interlock.report.drawing.shapes import Box, Tell, text_width, wrap
from interlock.report.views.wording import named

MARK = 16.0
NAME = 9.0
NOTE = 11.0
ON_ITS_WAY = say("partly across")
"""What is written in a unit that has not arrived yet."""
_SIDE_MARGIN = 58.0
_DOOR_FACTS = (("closed", "moving", "open"), ("latched", "unlatched"), ("locked", "unlocked"))
_CLEAR = 18.0  # the ends of a face that zone outlines may cross


@frozen
class Slot:
    """Room for one device on one face: the middle of its mark; `along` is true on faces that run along the hold."""

    device: Device
    x: float
    y: float
    along: bool


class Grid:
    """The measures of one hold's plan, worked out from what has to fit."""

    def __init__(self, compiled: CompiledHold, tops: float, tell: Tell = str) -> None:
        self.tell = tell
        self.hold = compiled.hold
        self.floor = compiled.floor
        self.tops = tops
        self.on_face: dict[Face, list[Device]] = {}
        for device in self.hold.devices:
            faces = (face for side in device.on for face in self.floor.faces(side.bay, side.direction))
            for face in dict.fromkeys(faces):
                self.on_face.setdefault(face, []).append(device)
        names = max((text_width(d.id, NAME) for d in self.hold.devices), default=0.0)
        self.slot_width = max(names, MARK + 20) + 6
        self.slot_height = MARK + NAME + 7
        across = [len(on) for face, on in self.on_face.items() if _along(face)]
        beside = [len(on) for face, on in self.on_face.items() if not _along(face)]
        self.strip_x = max(self.slot_width + 2, 30.0) if beside else 14.0
        self.strip_y = self.slot_height + 12 if across else 14.0
        words = [w for unit in self.hold.units for w in (*unit.name.split(), unit.id)]
        widest = max((text_width(word, NAME + 1, bold=True) for word in words), default=0.0)
        tags = 0.0
        for cell in self.floor.bays:
            ids = [zone.id for zone in self.hold.zones if cell in zone.bays]
            tags = max(tags, sum(text_width(id, NAME) + 10 for id in ids) + 12)
        halves = max((text_width(unit.id, NAME + 1, bold=True) for unit in self.hold.units), default=0.0)
        halves = max(halves, *(text_width(word, NAME) for word in self.tell(ON_ITS_WAY).split())) + 12
        self.bay_x = max(104.0, widest + 26, tags, max(across, default=0) * self.slot_width + 2 * _CLEAR, 2 * halves)
        lines = max((len(wrap(unit.name, NAME, self.bay_x - 30)) for unit in self.hold.units), default=0)
        self.bay_y = max(88.0, 52 + lines * (NAME + 2), max(beside, default=0) * self.slot_height + 2 * _CLEAR)

    @cached_property
    def bands(self) -> dict[Direction, float]:
        """How much room the doors of each side need outside the hull line for what is said of them."""
        found = {direction: 0.0 for direction in Direction}
        for door in self.hold.doorways:
            found[door.side] = max(found[door.side], 16 + len(self.door_lines(door)) * (NAME + 3))
        return found

    def door_lines(self, door: Doorway, facts: tuple[str, ...] | None = None) -> list[str]:
        """What is said of a door, as wide as its bays allow; the longest facts (None) are what room is kept for."""
        if facts is None:
            said = [[self.tell(say(fact)) for fact in those] for those in _DOOR_FACTS]
            facts = tuple(max(those, key=len) for those in said)
        else:
            facts = tuple(self.tell(say(fact)) for fact in facts)
        bays = [cell for cell in door.bays if cell in self.floor.cells]
        lengthwise = door.side.axis == "y"
        size, strip = (self.bay_x, self.strip_x) if lengthwise else (self.bay_y, self.strip_y)
        room = len(bays) * size + max(0, len(bays) - 1) * strip
        return wrap(named(door.id, door.name, " "), NAME, room) + wrap(", ".join(facts), NAME, room)

    @cached_property
    def inside(self) -> Box:
        """The hull line."""
        outer_rows = [cell.row for cell in self.floor.cells.values()]
        outer_lanes = [cell.lanes[-1] for cell in self.floor.cells.values()]
        before = max(0, 1 - min(outer_rows))
        above = max(0, max(outer_lanes) - (len(self.hold.layout.lanes) - 1))
        left = _SIDE_MARGIN + before * (self.bay_x + 10) + self.bands[Direction.FORE]
        top = self.tops + above * (self.bay_y + 10) + self.bands[Direction.RIGHT]
        rows, lanes = self.hold.layout.rows, len(self.hold.layout.lanes)
        width = rows * self.bay_x + (rows + 1) * self.strip_x
        height = lanes * self.bay_y + (lanes + 1) * self.strip_y
        return Box(left, top, left + width, top + height)

    @cached_property
    def bottom(self) -> float:
        """Where the plan ends and the notes begin."""
        below = max(0, -min(cell.lane for cell in self.floor.cells.values()))
        return self.inside.bottom + self.bands[Direction.LEFT] + below * (self.bay_y + 10) + 24

    @cached_property
    def right(self) -> float:
        """Where the plan ends on the right."""
        behind = max(0, max(cell.row for cell in self.floor.cells.values()) - self.hold.layout.rows)
        return self.inside.right + self.bands[Direction.AFT] + behind * (self.bay_x + 10) + _SIDE_MARGIN

    def place(self, row: int, lane: int) -> Box:
        """The rectangle of a bay, or of a place on the loader."""
        hull = self.inside
        rows, lanes = self.hold.layout.rows, len(self.hold.layout.lanes)
        if row < 1:
            left = hull.left - self.bands[Direction.FORE] + row * (self.bay_x + 10) - self.bay_x
        elif row > rows:
            left = hull.right + self.bands[Direction.AFT] + (row - rows - 1) * (self.bay_x + 10)
        else:
            left = hull.left + self.strip_x + (row - 1) * (self.bay_x + self.strip_x)
        if lane < 0:
            top = hull.bottom + self.bands[Direction.LEFT] + (-lane - 1) * (self.bay_y + 10)
        elif lane >= lanes:
            top = hull.top - self.bands[Direction.RIGHT] - self.bay_y - (lane - lanes) * (self.bay_y + 10)
        else:
            top = hull.top + self.strip_y + (lanes - 1 - lane) * (self.bay_y + self.strip_y)
        return Box(left, top, left + self.bay_x, top + self.bay_y)

    def cell(self, id: str) -> Box:
        """The rectangle of a cell."""
        found: Cell = self.floor.cells[id]
        first, last = (self.place(found.row, lane) for lane in (found.lane, found.lanes[-1]))
        # a centred bay is as wide as a lane, in the middle of two
        return Box(first.left, (first.top + last.top) / 2, first.right, (first.bottom + last.bottom) / 2)

    def face_middle(self, face: Face) -> tuple[float, float]:
        """The middle of the strip in which the devices of a face stand."""
        cell, direction = self.floor.sides_of_face(face)[0]
        if self.floor.cells[cell].door is not None:
            cell, direction = self.floor.sides_of_face(face)[1]
        box = self.cell(cell)
        x, y = box.middle
        if direction is Direction.FORE:
            return box.left - self.strip_x / 2, y
        if direction is Direction.AFT:
            return box.right + self.strip_x / 2, y
        if direction is Direction.LEFT:
            return x, box.bottom + self.strip_y / 2
        return x, box.top - self.strip_y / 2

    def slots(self) -> list[Slot]:
        """Where each device goes, on each of its faces, in the order of the description."""
        found = []
        for face, devices in self.on_face.items():
            x, y = self.face_middle(face)
            for at, device in enumerate(devices):
                shift = at - (len(devices) - 1) / 2
                if _along(face):
                    found.append(Slot(device, x + shift * self.slot_width, y - NAME / 2, True))
                else:
                    found.append(Slot(device, x, y - NAME / 2 + shift * self.slot_height, False))
        order = {device.id: at for at, device in enumerate(self.hold.devices)}
        return sorted(found, key=lambda slot: order[slot.device.id])


def _along(face: Face) -> bool:
    return face.direction.axis == "y"
