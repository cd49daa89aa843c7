"""Drive zones on a plan: broken outlines around their bays, each with its name set into the line."""

from __future__ import annotations

from xml.etree import ElementTree

from interlock.diagnostics.said import joined, say
from interlock.hold.compile.compiler import CompiledHold
from interlock.hold.language.model import Direction, Zone
from interlock.report.drawing.grid import NAME, Grid
from interlock.report.drawing.shapes import around, element, plate, text_width, write
from interlock.report.views.wording import named

LOOKS = (
    ("#25408f", "9 3"),
    ("#7a2f5b", "2 2.5"),
    ("#1d6b57", "9 3 2 3"),
    ("#7d5a10", "5 4"),
)
"""Ink and dashes of the zones, in turn: the dashes alone tell overlapping zones apart."""


def draw_zones(root: ElementTree.Element, compiled: CompiledHold, grid: Grid) -> None:
    """The outline of every zone: one rectangle where its bays fill one, else one for each run of bays in a lane."""
    levels: dict[str, set[int]] = {}
    for at, zone in enumerate(compiled.hold.zones):
        ink, dashes = LOOKS[at % len(LOOKS)]
        bays = _bays_of(grid, zone)
        level = next(n for n in range(len(compiled.hold.zones)) if all(n not in levels.get(b, ()) for b in bays))
        for bay in bays:
            levels.setdefault(bay, set()).add(level)
        group = element(root, "g", title=grid.tell(says(zone)), klass="zone", data_id=zone.id)
        for run in runs_of(grid, bays):
            box = around(*(grid.cell(bay) for bay in run)).shrunk(3 + 3.0 * min(level, 3))
            element(
                group, "rect", **box.sides, rx=3, fill="none", stroke=ink, stroke_width=1.5, stroke_dasharray=dashes
            )


def name_zones(root: ElementTree.Element, compiled: CompiledHold, grid: Grid) -> None:
    """The id of every zone at the most forward corner of each of its outlines, side by side where several meet."""
    used: dict[str, float] = {}
    for at, zone in enumerate(compiled.hold.zones):
        for run in runs_of(grid, _bays_of(grid, zone)):
            corner = min(run, key=lambda bay: (grid.floor.cells[bay].row, -grid.floor.cells[bay].lane))
            x = grid.cell(corner).left + 14 + used.get(corner, 0.0)
            y = grid.cell(corner).top + 10
            width = text_width(zone.id, NAME)
            used[corner] = used.get(corner, 0.0) + width + 10
            plate(root, x - 2, y - 8, width + 4, 11)
            write(root, x, y, zone.id, NAME, fill=LOOKS[at % len(LOOKS)][0])


def _bays_of(grid: Grid, zone: Zone) -> list[str]:
    return [bay for bay in zone.bays if bay in grid.floor.cells]


def says(zone: Zone) -> str:
    """What a reader is told of a zone."""
    commanded = {direction for command in zone.commands for direction, _ in command.runs}
    runs = joined([d for d in Direction if d in commanded], ", ")
    return say("{zone}: runs {ways}", zone=named(zone.id, zone.name, " "), ways=runs)


def runs_of(grid: Grid, bays: list[str]) -> list[list[str]]:
    """The bays in groups that each fill a rectangle, in a fixed order."""
    cells = [grid.floor.cells[bay] for bay in bays]
    rows, lanes = {cell.row for cell in cells}, {cell.lane for cell in cells}
    solid = len(rows) == max(rows, default=0) - min(rows, default=1) + 1 and all(cell.width == 1 for cell in cells)
    if solid and len(lanes) == max(lanes) - min(lanes) + 1 and len(cells) == len(rows) * len(lanes):
        return [bays]
    found: list[list[str]] = []
    for cell in sorted(cells, key=lambda cell: (cell.lane, cell.row)):
        last = grid.floor.cells[found[-1][-1]] if found else None
        if last is not None and (last.lanes, last.row + 1) == (cell.lanes, cell.row):
            found[-1].append(cell.id)
        else:
            found.append([cell.id])
    return found
