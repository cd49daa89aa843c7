"""The floor in characters: row 1, the most forward, at the top."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from interlock.hold.compile.compiler import CompiledHold
from interlock.hold.floor import Face, bay_id
from interlock.hold.kinds import DEVICE_KINDS
from interlock.hold.language.model import Direction
from interlock.report.text.lines import WIDTH, Line, Tone, flow
from interlock.report.views.snapshot import Snapshot

LEGEND = {
    False: "fore is up; # a device stands there at the start, : a device is down there, = a doorway",
    True: "fore is up; # a device stands there, : a device is down, = a doorway, ~ a unit is on its way over",
}
_WIDEST_BAY = 10
_MARGIN = 8


class _Picture:
    def __init__(self, compiled: CompiledHold, snapshot: Snapshot | None) -> None:
        self.compiled = compiled
        self.floor = compiled.floor
        hold = compiled.hold
        self.wide = max(3, min(_WIDEST_BAY, (WIDTH - 2 * _MARGIN) // len(hold.layout.lanes) - 1))
        self.marks: dict[Face, str] = {}
        for device in hold.devices:
            kind = DEVICE_KINDS[device.kind]
            started = device.fixed or (device.starts[0] if device.starts else kind.initial)
            state = started if snapshot is None else snapshot.devices[device.id]
            mark = "#" if state in kind.standing else ":"
            for side in device.on:
                face = self.floor.face(side.bay, side.direction)
                if self.marks.get(face) != "#":
                    self.marks[face] = mark
        self.doors = {
            self.floor.face(bay, door.side) for door in hold.doorways for bay in door.bays if bay in self.floor.cells
        }
        self.inside: dict[str, str] = {}
        self.over: dict[Face, str] = {}
        if snapshot is not None:
            for placement in snapshot.resting:
                self.inside.update(dict.fromkeys(placement.cells, placement.kind))
            for move in snapshot.crossings:
                self.over.update({face: move.source.kind for face, _ in move.crossed})

    def mark(self, face: Face) -> str | None:
        """The sign on a face; None where there is nothing."""
        if face in self.over:
            return "~"
        if face in self.marks:
            return self.marks[face]
        return "=" if face in self.doors else None

    def rows(self) -> Iterator[str]:
        layout = self.compiled.hold.layout
        last = len(layout.lanes) - 1
        fore = self._door_names(self.floor.bays, Direction.FORE)
        if fore:
            yield " " * _MARGIN + f"  {fore}"
        yield " " * _MARGIN + "".join(f" {lane[: self.wide]:^{self.wide}}" for lane in layout.lanes)
        for row in range(1, layout.rows + 1):
            bays = [bay_id(row, lane) for lane in layout.lanes]
            yield " " * _MARGIN + self._border(bays, Direction.FORE)
            left = self._door_names(bays, Direction.LEFT)[: _MARGIN - 4]
            text = f"{left:<{_MARGIN - 4}}{row:>2}  "
            for at, bay in enumerate(bays):
                known = bay in self.floor.bays
                sign = self.mark(self.floor.face(bay, Direction.LEFT)) if known else None
                if sign is None and at > 0 and bays[at - 1] in self.floor.bays:
                    sign = self.mark(self.floor.face(bays[at - 1], Direction.RIGHT))
                content = self.inside.get(bay, "") if known else ""
                text += (sign or ("|" if known or at > 0 else " ")) + f"{content[: self.wide]:^{self.wide}}"
            known = bays[last] in self.floor.bays
            sign = self.mark(self.floor.face(bays[last], Direction.RIGHT)) if known else None
            yield text + (sign or ("|" if known else " ")) + "  " + self._door_names(bays, Direction.RIGHT)
        yield " " * _MARGIN + self._border(bays, Direction.AFT)
        aft = self._door_names(self.floor.bays, Direction.AFT)
        if aft:
            yield " " * _MARGIN + f"  {aft}"

    def _door_names(self, bays: Sequence[str], side: Direction) -> str:
        doors = self.compiled.hold.doorways
        return " ".join(door.id for door in doors if door.side is side and set(door.bays) & set(bays))

    def _border(self, bays: list[str], side: Direction) -> str:
        text = "+"
        for bay in bays:
            if bay not in self.floor.bays:
                text += " " * self.wide + "+"
                continue
            face = self.floor.face(bay, side)
            sign = self.mark(face) or "-"
            name = self.over.get(face, "")[: self.wide]
            text += (f"{name:{sign}^{self.wide}}" if name else "-" + sign * (self.wide - 2) + "-") + "+"
        return text


def floor_lines(compiled: CompiledHold, snapshot: Snapshot | None = None) -> tuple[Line, ...]:
    """The floor as described (None) or in one state, with a legend."""
    picture = _Picture(compiled, snapshot)
    legend = flow(LEGEND[snapshot is not None], 2, 2, Tone.FAINT)
    return (*(Line(row[:WIDTH].rstrip()) for row in picture.rows()), *legend)
