"""The floor in characters: row 1, the most forward, at the top."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from interlock.hold.compile.compiler import CompiledHold
from interlock.hold.floor import Face
from interlock.hold.kinds import DEVICE_KINDS
from interlock.hold.language.model import Direction
from interlock.report.text.lines import WIDTH, Line, Tone, flow
from interlock.report.views.snapshot import Snapshot

LEGEND = {
    False: "fore is up; # a device stands there at the start, : a device is down there, = a doorway, outside the bay",
    True: "fore is up; # a device stands there, : a device is down, ~ a unit is on its way over, = a doorway, outside "
    "the bay",
}
_WIDEST_BAY = 10
_MARGIN = 8
_WIDEST_NAME = 16
_BESIDE_NAME = 5
"""The row's number, in front of it the names of the doors on the left, and blanks."""


class _Picture:
    def __init__(self, compiled: CompiledHold, snapshot: Snapshot | None) -> None:
        self.compiled = compiled
        self.floor = compiled.floor
        hold = compiled.hold
        layout = hold.layout
        left = max((len(self._door_names([bay], Direction.LEFT)) for bay in self.floor.bays), default=0)
        self.margin = max(_MARGIN, left + _BESIDE_NAME)
        self.wide = max(3, min(_WIDEST_BAY, (WIDTH - self.margin - _MARGIN) // len(layout.lanes) - 1))
        inside = [cell for cell in self.floor.cells.values() if cell.door is None]
        self.bays = {(cell.row, lane): cell.id for cell in inside for lane in cell.lanes}
        self.marks: dict[Face, str] = {}
        for device in hold.devices:
            kind = DEVICE_KINDS[device.kind]
            started = device.fixed or (device.starts[0] if device.starts else kind.initial)
            state = started if snapshot is None else snapshot.devices[device.id]
            mark = "#" if state in kind.standing else ":"
            for side in device.on:
                for face in self.floor.faces(side.bay, side.direction):
                    if self.marks.get(face) != "#":
                        self.marks[face] = mark
        self.inside: dict[str, str] = {}
        self.over: dict[Face, str] = {}
        if snapshot is not None:
            for placement in snapshot.resting:
                self.inside.update(dict.fromkeys(placement.cells, placement.kind))
            for move in snapshot.crossings:
                self.over.update({face: move.source.kind for face, _ in move.crossed})

    def mark(self, face: Face) -> str | None:
        """The sign on a face; None where there is nothing."""
        return "~" if face in self.over else self.marks.get(face)

    def rows(self) -> Iterator[str]:
        layout = self.compiled.hold.layout
        lanes = range(len(layout.lanes))
        blank = " " * self.margin
        yield blank + "".join(f" {lane[: self.wide]:^{self.wide}}" for lane in layout.lanes)
        for row in range(layout.rows + 2):
            texts = [self._cell(row, lane) for lane in (-1, *lanes, len(lanes))]
            if row not in (0, layout.rows + 1):
                yield blank + self._border(row, Direction.FORE)
                bays = [self.bays[row, lane] for lane in lanes if (row, lane) in self.bays]
                start = f"{self._door_names(bays, Direction.LEFT):<{self.margin - 4}}{row:>2} {texts[0][-1]}"
                signs = "".join(self._upright(row, lane) + texts[lane + 1] for lane in lanes)
                end = f"{self._upright(row, len(lanes))}{texts[-1][0]} {self._door_names(bays, Direction.RIGHT)}"
                yield start + signs + end
                if row == layout.rows:
                    yield blank + self._border(row, Direction.AFT)
            elif any(text.strip() for text in texts):
                yield blank + "".join(f" {text}" for text in texts[1:-1])

    def _cell(self, row: int, lane: int) -> str:
        """What is in a bay; outside, the doorways of the bays around."""
        bay = self.bays.get((row, lane))
        if bay is not None:
            # a centred bay takes up two lanes: on the left it is named, on the right is what is in it
            centred = self.floor.cells[bay].width > 1
            what = bay if centred and lane == self.floor.cells[bay].lane else self.inside.get(bay, "")
            return f"{what[: self.wide]:^{self.wide}}"
        lying = [*self._doors(row - 1, lane, Direction.AFT), *self._doors(row + 1, lane, Direction.FORE)]
        if lying:
            return f"{' '.join(lying)[: self.wide - 1]:=^{self.wide}}"
        left = "=" if self._doors(row, lane - 1, Direction.RIGHT) else " "
        right = "=" if self._doors(row, lane + 1, Direction.LEFT) else " "
        return f"{left}{' ' * (self.wide - 2)}{right}"

    def _doors(self, row: int, lane: int, side: Direction) -> list[str]:
        bay = self.bays.get((row, lane))
        doors = self.compiled.hold.doorways
        return [door.id for door in doors if door.side is side and bay in door.bays]

    def _door_names(self, bays: Sequence[str], side: Direction) -> str:
        doors = self.compiled.hold.doorways
        return " ".join(door.id for door in doors if door.side is side and set(door.bays) & set(bays))[:_WIDEST_NAME]

    def _upright(self, row: int, lane: int) -> str:
        """The sign between a cell and the one to its left."""
        here, left = self.bays.get((row, lane)), self.bays.get((row, lane - 1))
        if here is not None:
            return " " if here == left else self.mark(self._face(here, Direction.LEFT, lane)) or "|"
        return " " if left is None else self.mark(self._face(left, Direction.RIGHT, lane)) or "|"

    def _face(self, bay: str, side: Direction, lane: int) -> Face:
        """The face on that side of a bay; of two, the one towards the lane."""
        faces = self.floor.faces(bay, side)
        return faces[min(lane - self.floor.cells[bay].lane, len(faces) - 1)] if len(faces) > 1 else faces[0]

    def _border(self, row: int, side: Direction) -> str:
        text = "+"
        for lane in range(len(self.compiled.hold.layout.lanes)):
            face = self._lying(row, lane, side)
            if face is None:
                text += " " * self.wide + "+"
                continue
            sign = self.mark(face) or "-"
            name = self.over.get(face, "")[: self.wide]
            text += (f"{name:{sign}^{self.wide}}" if name else "-" + sign * (self.wide - 2) + "-") + "+"
        return text

    def _lying(self, row: int, lane: int, side: Direction) -> Face | None:
        """The face on that side of a cell, where it or the one beyond is a bay."""
        beyond = row + (-1 if side is Direction.FORE else 1)
        if (row, lane) in self.bays:
            return self._face(self.bays[row, lane], side, lane)
        return self._face(self.bays[beyond, lane], side.opposite, lane) if (beyond, lane) in self.bays else None


def floor_lines(compiled: CompiledHold, snapshot: Snapshot | None = None) -> tuple[Line, ...]:
    """The floor as described (None) or in one state, with a legend."""
    picture = _Picture(compiled, snapshot)
    legend = flow(LEGEND[snapshot is not None], 2, 2, Tone.FAINT)
    return (*(Line(row[:WIDTH].rstrip()) for row in picture.rows()), *legend)
