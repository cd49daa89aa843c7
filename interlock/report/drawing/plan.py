"""The hold from above, as one self-contained SVG: bays, devices, doors, drive zones, and what a state puts there.

Forward is to the left, so the right-hand side of the hold is at the top, as an arrow and words on the plan say.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Protocol, TypeAlias
from xml.etree import ElementTree

from interlock.diagnostics.frozen import frozen
from interlock.diagnostics.said import joined, say
from interlock.diagnostics.visible import visible
from interlock.hold.compile.compiler import CompiledHold
from interlock.hold.language.model import Direction, Doorway
from interlock.kernel.evaluator import State
from interlock.report.drawing.grid import NAME, Grid
from interlock.report.drawing.legend import draw_notes
from interlock.report.drawing.movables import (
    draw_crossing,
    draw_device,
    draw_door,
    draw_door_words,
    draw_drive,
    draw_people,
    draw_resting,
)
from interlock.report.drawing.shapes import (
    FONTS,
    INK,
    PAPER,
    SOFT,
    Tell,
    as_text,
    balls,
    element,
    number,
    path_of,
    plate,
    text_width,
    wrap,
    write,
)
from interlock.report.drawing.words import described
from interlock.report.drawing.zones import draw_zones, name_zones
from interlock.report.views.snapshot import Snapshot, take

TOPS = 60.0


def plan_svg(compiled: CompiledHold, state: State | None = None, title: str | None = None, tell: Tell = str) -> str:
    """The plan view, of the hold as built or in one state; the title is the hold's own where none is given.

    A state may hold more variables than the machine of `compiled`, behind those.  The same arguments give the same
    text.  Elements carry `data-id` (an id of the description), devices and doors also `data-state`.
    """
    snapshot = None if state is None else take(compiled, state)
    heading = compiled.hold.title if title is None else title

    def draw_under(root: ElementTree.Element, top: float, width: float) -> float:
        return draw_notes(root, compiled, snapshot, top, width, tell)

    return draw_plan(compiled, heading, InState(compiled, snapshot), draw_under, described(compiled, snapshot), tell)


class Movables(Protocol):
    """What can be seen to change, in layers from below; other things are drawn between them."""

    def draw_doors(self, root: ElementTree.Element, grid: Grid) -> None:
        """The doors in their openings."""

    def draw_units(self, root: ElementTree.Element, grid: Grid) -> None:
        """Units at rest and half-way."""

    def draw_devices(self, root: ElementTree.Element, grid: Grid) -> None:
        """Devices on the sides of bays."""

    def draw_rest(self, root: ElementTree.Element, grid: Grid) -> None:
        """What is said of doors; drives that run, people."""


Under: TypeAlias = Callable[[ElementTree.Element, float, float], float]
"""Draws under the plan, from a height on and as wide as that; gives the height of the whole picture."""


def draw_plan(
    compiled: CompiledHold, heading: str, movables: Movables, draw_under: Under, says: str = "", tell: Tell = str
) -> str:
    """The plan as SVG, with what is put on it and under it; `says` is the same in words."""
    grid = Grid(compiled, TOPS, tell)
    heading = visible(tell(heading))
    root = ElementTree.Element("svg", {"xmlns": "http://www.w3.org/2000/svg"})
    ElementTree.SubElement(root, "title").text = heading
    paper = element(root, "rect", fill=PAPER)
    width = max(grid.right, 560.0)
    lines = wrap(heading, 15, width - 24, bold=True)
    for at, line in enumerate(lines[:2]):
        write(root, 12, 22 + 18 * at, line, 15, bold=True)
    draw_floor(root, compiled, grid, movables)
    height = draw_under(root, grid.bottom, width)
    for name, value in (("width", width), ("height", height)):
        paper.set(name, number(value))
        root.set(name, number(value))
    root.set("viewBox", f"0 0 {number(width)} {number(height)}")
    root.set("role", "img")
    label = say("Plan view, forward to the left: {heading}. {says}", heading=heading, says=says)
    root.set("aria-label", visible(tell(label).rstrip()))
    root.set("font-family", FONTS)
    return as_text(root)


def draw_floor(root: ElementTree.Element, compiled: CompiledHold, grid: Grid, movables: Movables) -> None:
    """The hold itself, without title and notes."""
    _compass(root, grid)
    _hull(root, grid)
    movables.draw_doors(root, grid)
    _bays(root, compiled, grid)
    draw_zones(root, compiled, grid)
    movables.draw_units(root, grid)
    # names lie above units: a unit on its way would cover them
    for id in compiled.floor.bays:
        _bay_name(root, grid, id)
    name_zones(root, compiled, grid)
    movables.draw_devices(root, grid)
    movables.draw_rest(root, grid)


def _compass(root: ElementTree.Element, grid: Grid) -> None:
    hull = grid.inside
    y = hull.middle[1]
    group = element(root, "g", title=grid.tell(say("forward is to the left")), klass="compass")
    arrow = path_of([(8, y), (22, y - 9), (22, y - 3), (44, y - 3), (44, y + 3), (22, y + 3), (22, y + 9)], True)
    element(group, "path", d=arrow, fill=INK)
    write(group, 12, y + 24, grid.tell(say("FWD")), 12, bold=True)
    aft = grid.tell(say("AFT"))
    write(root, grid.right - max(50, text_width(aft, 12, bold=True) + 4), y + 4, aft, 12, bold=True, fill=SOFT)
    write(root, 8, hull.top + 12, grid.tell(say("RIGHT")), 10, fill=SOFT)
    write(root, 8, hull.bottom - 4, grid.tell(say("LEFT")), 10, fill=SOFT)


def _hull(root: ElementTree.Element, grid: Grid) -> None:
    element(
        root, "rect", title=grid.tell(say("the hull")), **grid.inside.sides, fill="none", stroke=INK, stroke_width=3.0
    )
    for cell in grid.floor.cells.values():
        if cell.door is not None:
            box, says = grid.cell(cell.id), grid.tell(say("loader at {door}", door=cell.door))
            looks = {"fill": "none", "stroke": SOFT, "stroke_dasharray": "7 4"}
            element(root, "rect", title=says, klass="loader", data_id=cell.id, **box.sides, **looks)
            write(root, box.left + 6, box.bottom - 6, says, NAME, fill=SOFT)


def _bays(root: ElementTree.Element, compiled: CompiledHold, grid: Grid) -> None:
    layout = compiled.hold.layout
    only: dict[str, tuple[str, ...]] = {bay: rule.kinds for rule in layout.rules for bay in rule.bays}
    for id, (row, lane) in layout.bay_names.places.items():
        if id not in grid.floor.cells:
            write(root, *grid.place(row, lane).middle, grid.tell(say("no bay")), NAME, anchor="middle", fill=SOFT)
            continue
        box = grid.cell(id)
        says = [say("bay {cell}", cell=id)]
        if id in only:
            says.append(say("only {kinds}", kinds=", ".join(only[id])))
        if id in layout.ball_mat:
            says.append(say("ball mat"))
        group = element(root, "g", title=grid.tell(joined(says, ", ")), klass="bay", data_id=id)
        element(group, "rect", **box.sides, fill="#fafafa", stroke=SOFT)
        if id in layout.ball_mat:
            balls(group, box.shrunk(6))


def _bay_name(root: ElementTree.Element, grid: Grid, id: str) -> None:
    box = grid.cell(id)
    plate(root, box.left + 13, box.bottom - 18, text_width(id, 12, bold=True) + 4, 15)
    write(root, box.left + 15, box.bottom - 6, id, 12, bold=True)


@frozen
class InState:
    """As it is in one state; None: nothing is said of it, and units and people are left out."""

    compiled: CompiledHold
    snapshot: Snapshot | None

    def draw_doors(self, root: ElementTree.Element, grid: Grid) -> None:
        for door in self.compiled.hold.doorways:
            draw_door(root, grid, door, self._facts(door))

    def _facts(self, door: Doorway) -> tuple[str, ...] | None:
        return None if self.snapshot is None else self.snapshot.doors[door.id]

    def draw_units(self, root: ElementTree.Element, grid: Grid) -> None:
        if self.snapshot is not None:
            for placement in self.snapshot.resting:
                draw_resting(root, self.compiled, grid, placement)
            for move in self.snapshot.crossings:
                draw_crossing(root, self.compiled, grid, move)

    def draw_devices(self, root: ElementTree.Element, grid: Grid) -> None:
        for slot in grid.slots():
            id = slot.device.id
            if self.snapshot is None:
                draw_device(root, grid, slot, None)
            else:
                draw_device(root, grid, slot, self.snapshot.devices[id], id in self.snapshot.failed)

    def draw_rest(self, root: ElementTree.Element, grid: Grid) -> None:
        for door in self.compiled.hold.doorways:
            draw_door_words(root, grid, door, self._facts(door))
        if self.snapshot is not None:
            self._draw_drives(root, grid, self.snapshot)
            self._draw_people(root, grid, self.snapshot)

    def _draw_drives(self, root: ElementTree.Element, grid: Grid, snapshot: Snapshot) -> None:
        running: dict[str, list[Direction]] = {}
        for bay, direction in snapshot.running:
            running.setdefault(bay, []).append(direction)
        for bay, directions in running.items():
            draw_drive(root, grid, bay, {way: at for at, way in enumerate(directions)})

    def _draw_people(self, root: ElementTree.Element, grid: Grid, snapshot: Snapshot) -> None:
        places = {place.id: place for place in self.compiled.hold.places}
        inside: dict[str, list[str]] = {}
        for person, place in snapshot.people.items():
            at_bay = places[place].bay
            if at_bay in grid.floor.cells and at_bay is not None:
                inside.setdefault(at_bay, []).append(person)
        for bay, people in inside.items():
            draw_people(root, grid, bay, {person: at for at, person in enumerate(people)})
