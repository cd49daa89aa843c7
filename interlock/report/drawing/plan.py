"""The hold from above, as one self-contained SVG: bays, devices, doors, drive zones, and what a state puts there.

Forward is to the left, so the right-hand side of the hold is at the top, as an arrow and words on the plan say.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any, TypeAlias
from xml.etree import ElementTree

from interlock.diagnostics.visible import visible
from interlock.hold.compile.compiler import CompiledHold
from interlock.hold.kinds import DEVICE_KINDS
from interlock.hold.language.model import Device, Direction, Doorway
from interlock.kernel.evaluator import State
from interlock.report.drawing import marks
from interlock.report.drawing.grid import NAME, Grid
from interlock.report.drawing.legend import draw_facts, draw_notes
from interlock.report.drawing.shapes import (
    FONTS,
    INK,
    PAPER,
    SOFT,
    UNIT_FILL,
    UNIT_INK,
    Box,
    around,
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
from interlock.report.drawing.zones import draw_zones, name_zones
from interlock.report.views.snapshot import Snapshot, take

_TOPS = 60.0


def plan_svg(compiled: CompiledHold, state: State | None = None, title: str | None = None) -> str:
    """The plan view, of the hold as built or in one state; the title is the hold's own where none is given.

    A state may hold more variables than the machine of `compiled`, behind those.  The same arguments give the same
    text.  Elements carry `data-id` (an id of the description), devices and doors also `data-state`.
    """
    return _plan(compiled, state, title, draw_notes)


def plan_without_key_svg(compiled: CompiledHold, state: State, title: str) -> str:
    """The same in one state, without the key of marks and zones."""
    return _plan(compiled, state, title, draw_facts)


_Notes: TypeAlias = Callable[[ElementTree.Element, CompiledHold, Snapshot | None, float, float], float]


def _plan(compiled: CompiledHold, state: State | None, title: str | None, draw_under: _Notes) -> str:
    grid = Grid(compiled, _TOPS)
    snapshot = None if state is None else take(compiled, state)
    doors: Mapping[str, tuple[str, ...]] = {} if snapshot is None else snapshot.doors
    heading = visible(compiled.hold.title if title is None else title)
    root = ElementTree.Element("svg", {"xmlns": "http://www.w3.org/2000/svg"})
    ElementTree.SubElement(root, "title").text = heading
    paper = element(root, "rect", fill=PAPER)
    width = max(grid.right, 560.0)
    lines = wrap(heading, 15, width - 24, bold=True)
    for at, line in enumerate(lines[:2]):
        write(root, 12, 22 + 18 * at, line, 15, bold=True)
    _compass(root, grid)
    _hull(root, grid)
    for door in compiled.hold.doorways:
        _door(root, grid, door, doors.get(door.id))
    _bays(root, compiled, grid, snapshot)
    draw_zones(root, compiled, grid)
    if snapshot is not None:
        _units(root, compiled, grid, snapshot)
    # names lie above units: a unit on its way would cover them
    for id in compiled.floor.bays:
        _bay_name(root, grid, id)
    name_zones(root, compiled, grid)
    _devices(root, grid, snapshot)
    for door in compiled.hold.doorways:
        _door_words(root, grid, door, doors.get(door.id))
    if snapshot is not None:
        _drives_and_people(root, compiled, grid, snapshot)
    height = draw_under(root, compiled, snapshot, grid.bottom, width)
    for name, value in (("width", width), ("height", height)):
        paper.set(name, number(value))
        root.set(name, number(value))
    root.set("viewBox", f"0 0 {number(width)} {number(height)}")
    root.set("role", "img")
    root.set("aria-label", f"Plan view, forward to the left: {heading}")
    root.set("font-family", FONTS)
    return as_text(root)


def _compass(root: ElementTree.Element, grid: Grid) -> None:
    hull = grid.inside
    y = hull.middle[1]
    group = element(root, "g", title="forward is to the left", klass="compass")
    arrow = path_of([(8, y), (22, y - 9), (22, y - 3), (44, y - 3), (44, y + 3), (22, y + 3), (22, y + 9)], True)
    element(group, "path", d=arrow, fill=INK)
    write(group, 12, y + 24, "FWD", 12, bold=True)
    end = grid.right - 50
    write(root, end, y + 4, "AFT", 12, bold=True, fill=SOFT)
    write(root, 8, hull.top + 12, "RIGHT", 10, fill=SOFT)
    write(root, 8, hull.bottom - 4, "LEFT", 10, fill=SOFT)


def _span_of(grid: Grid, door: Doorway) -> Box:
    bays = [bay for bay in door.bays if bay in grid.floor.cells]
    return around(*(grid.cell(bay) for bay in bays))


def _hull(root: ElementTree.Element, grid: Grid) -> None:
    element(root, "rect", title="the hull", **grid.inside.sides, fill="none", stroke=INK, stroke_width=3.0)
    for cell in grid.floor.cells.values():
        if cell.door is not None:
            box, says = grid.cell(cell.id), f"loader at {cell.door}"
            looks = {"fill": "none", "stroke": SOFT, "stroke_dasharray": "7 4"}
            element(root, "rect", title=says, klass="loader", data_id=cell.id, **box.sides, **looks)
            write(root, box.left + 6, box.bottom - 6, says, NAME, fill=SOFT)


def _door(root: ElementTree.Element, grid: Grid, door: Doorway, facts: tuple[str, ...] | None) -> None:
    hull, span = grid.inside, _span_of(grid, door)
    position = None if facts is None else facts[0]
    says = f"{door.name} ({door.id})" + ("" if facts is None else ": " + ", ".join(facts))
    group = element(root, "g", title=says, klass="door", data_id=door.id, data_state=" ".join(facts or ()))
    lengthwise = door.side.axis == "y"
    line = {
        Direction.RIGHT: hull.top, Direction.LEFT: hull.bottom, Direction.FORE: hull.left, Direction.AFT: hull.right
    }[door.side]  # fmt: skip
    inwards = 1 if door.side in (Direction.RIGHT, Direction.FORE) else -1
    low, high = (span.left, span.right) if lengthwise else (span.top, span.bottom)
    strip = grid.strip_y if lengthwise else grid.strip_x

    def bar(near: float, far: float, first: float, last: float, **looks: Any) -> None:
        a, b = sorted((near, far))
        if lengthwise:
            element(group, "rect", x=first, y=a, width=last - first, height=b - a, **looks)
        else:
            element(group, "rect", x=a, y=first, width=b - a, height=last - first, **looks)

    # the sill, between the doorway and the bays
    bar(line, line + inwards * strip, low, high, fill="#eceff1", stroke=SOFT, stroke_width=0.8)
    bar(line - 3, line + 3, low, high, fill=PAPER)
    if position in (None, "closed"):
        looks: dict[str, Any] = {"fill": INK if position else PAPER, "stroke": INK, "stroke_width": 1.4}
        bar(line - 4, line + 4, low, high, **looks)
    elif position == "moving":
        bar(line - 4, line + 4, low, (low + high) / 2, fill=PAPER, stroke=INK, stroke_width=1.4, stroke_dasharray="5 3")
    for end in (low, high):
        bar(line - 8, line + 8, end - 2, end + 2, fill=INK)


def _door_words(root: ElementTree.Element, grid: Grid, door: Doorway, facts: tuple[str, ...] | None) -> None:
    hull, span = grid.inside, _span_of(grid, door)
    lines = grid.door_lines(door, facts or ())
    step = NAME + 3
    x, y = span.middle
    for at, line in enumerate(lines):
        bold = at == 0
        half = text_width(line, NAME, bold) / 2 + 2
        if door.side.axis == "y":
            under = door.side is Direction.LEFT
            y = hull.bottom + 18 + step * at if under else hull.top - 12 - step * (len(lines) - 1 - at)
            plate(root, x - half, y - NAME, 2 * half, step)
            write(root, x, y, line, NAME, anchor="middle", bold=bold)
        else:
            behind = door.side is Direction.AFT
            x = hull.right + 18 + step * at if behind else hull.left - 12 - step * (len(lines) - 1 - at)
            plate(root, x - NAME, y - half, step, 2 * half)
            write(root, x, y, line, NAME, anchor="middle", bold=bold, turned=True)


def _bays(root: ElementTree.Element, compiled: CompiledHold, grid: Grid, snapshot: Snapshot | None) -> None:
    layout = compiled.hold.layout
    only: dict[str, tuple[str, ...]] = {bay: rule.kinds for rule in layout.rules for bay in rule.bays}
    for id, (row, lane) in layout.bay_names.places.items():
        if id not in grid.floor.cells:
            write(root, *grid.place(row, lane).middle, "no bay", NAME, anchor="middle", fill=SOFT)
            continue
        box = grid.cell(id)
        says = [f"bay {id}"]
        if id in only:
            says.append("only " + ", ".join(only[id]))
        if id in layout.ball_mat:
            says.append("ball mat")
        group = element(root, "g", title=", ".join(says), klass="bay", data_id=id)
        element(group, "rect", **box.sides, fill="#fafafa", stroke=SOFT)
        if id in layout.ball_mat:
            balls(group, box.shrunk(6))


def _bay_name(root: ElementTree.Element, grid: Grid, id: str) -> None:
    box = grid.cell(id)
    plate(root, box.left + 13, box.bottom - 18, text_width(id, 12, bold=True) + 4, 15)
    write(root, box.left + 15, box.bottom - 6, id, 12, bold=True)


def _unit_room(box: Box) -> Box:
    return Box(box.left + 10, box.top + 17, box.right - 10, box.bottom - 20)


def _units(root: ElementTree.Element, compiled: CompiledHold, grid: Grid, snapshot: Snapshot) -> None:
    names = {unit.id: unit.name for unit in compiled.hold.units}
    for placement in snapshot.resting:
        boxes = [_unit_room(grid.cell(cell)) for cell in placement.cells]
        says = f"{names[placement.kind]} in {', '.join(placement.cells)}"
        group = _unit_box(root, around(*boxes), says, placement.kind)
        room = boxes[0]
        lines = wrap(names[placement.kind], NAME, room.width - 6)
        x, y = room.middle
        y += 4 - (NAME + 2) * len(lines) / 2
        write(group, x, y, placement.kind, NAME + 1, anchor="middle", bold=True, fill=UNIT_INK)
        for at, line in enumerate(lines, 1):
            write(group, x, y + at * (NAME + 2), line, NAME, anchor="middle", fill=UNIT_INK)
    for move in snapshot.crossings:
        kind = move.source.kind
        before = around(*(_unit_room(grid.cell(cell)) for cell in move.source.cells))
        after = around(*(_unit_room(grid.cell(cell)) for cell in move.target.cells))
        says = f"{names[kind]} half-way over {' and '.join(face.id for face, _ in move.crossed)}"
        shared = [cell for cell in move.source.cells if cell in move.target.cells]
        if shared:
            group = _unit_box(root, _between(before, after), says, kind, moving=True)
            x, y = _unit_room(grid.cell(shared[0])).middle
            write(group, x, y, kind, NAME + 1, anchor="middle", bold=True, fill=UNIT_INK)
            write(group, x, y + NAME + 2, "half-way", NAME, anchor="middle", fill=UNIT_INK)
            continue
        # from the middle of one bay to the middle of the next, which leaves room for words on both sides of the face
        if move.direction.axis == "x":
            low, high = sorted((before.middle[0], after.middle[0]))
            # to a bay in the middle of two lanes it is shifted half a lane
            box = Box(low, (before.top + after.top) / 2, high, (before.bottom + after.bottom) / 2)
        else:
            low, high = sorted((before.middle[1], after.middle[1]))
            box = Box(before.left, low, before.right, high)
        group = _unit_box(root, box, says, kind, moving=True)
        # a shifted unit lies over the name of the bay: its words stand higher
        rise = 11 if before.top != after.top and move.direction.axis == "x" else 0
        _half_way_words(group, grid, box, kind, move.direction.axis, rise)


def _between(one: Box, other: Box) -> Box:
    """Half-way from one box to the other."""
    return Box(
        (one.left + other.left) / 2,
        (one.top + other.top) / 2,
        (one.right + other.right) / 2,
        (one.bottom + other.bottom) / 2,
    )


def _half_way_words(group: ElementTree.Element, grid: Grid, box: Box, kind: str, axis: str, rise: float) -> None:
    """The name on one side of the face, `half-way` on the other, so that the devices between stay clear."""
    if axis == "x":
        half = grid.bay_x / 2 - 10
        # beside the first lane that the unit lies in, clear of the strips between lanes
        y = box.top + (grid.bay_y - 37) / 2 + 4 - rise
        write(group, box.left + half / 2, y, kind, NAME + 1, anchor="middle", bold=True, fill=UNIT_INK)
        write(group, box.right - half / 2, y, "half-way", NAME, anchor="middle", fill=UNIT_INK)
    else:
        x = box.left + (grid.bay_x - 20) / 2
        write(group, x, box.top + 16, kind, NAME + 1, anchor="middle", bold=True, fill=UNIT_INK)
        write(group, x, box.bottom - 8, "half-way", NAME, anchor="middle", fill=UNIT_INK)


def _unit_box(root: ElementTree.Element, box: Box, says: str, kind: str, moving: bool = False) -> ElementTree.Element:
    group = element(root, "g", title=says, klass="unit moving" if moving else "unit", data_id=kind)
    looks: dict[str, Any] = {"fill": UNIT_FILL, "stroke": UNIT_INK, "stroke_width": 2.0, "rx": 3}
    if moving:
        looks["stroke_dasharray"] = "9 4"
    element(group, "rect", **box.sides, **looks)
    return group


def _devices(root: ElementTree.Element, grid: Grid, snapshot: Snapshot | None) -> None:
    states: Mapping[str, str] = {} if snapshot is None else snapshot.devices
    for slot in grid.slots():
        device = slot.device
        state = states.get(device.id)
        says = _says(device, state)
        group = element(root, "g", title=says, klass="device", data_id=device.id, data_state=state or "")
        standing = marks.standing_of(device.kind, state)
        marks.draw_mark(group, slot.x, slot.y, DEVICE_KINDS[device.kind], slot.along, standing)
        for direction in device.gives_way:
            marks.draw_way(group, slot.x, slot.y, direction)
        if device.fixed is not None:
            marks.draw_held(group, slot.x, slot.y)
        if state == "kept_down":
            marks.draw_kept(group, slot.x, slot.y)
        if snapshot is not None and device.id in snapshot.failed:
            marks.draw_failed(group, slot.x, slot.y)
        write(group, slot.x, slot.y + 19, device.id, NAME, anchor="middle")


def _says(device: Device, state: str | None) -> str:
    says = f"{device.name} ({device.id}), {device.kind}"
    if state is not None and len(DEVICE_KINDS[device.kind].states) > 1:
        says += f": {state.replace('_', ' ')}"
    if device.stops:
        says += "; stops " + ", ".join(device.stops)
    if device.gives_way:
        says += "; gives way to " + ", ".join(device.gives_way)
    if device.restrains:
        says += f"; restrains {', '.join(device.restrains)} when {device.locking.replace('_', ' ')}"
    if device.fixed is not None:
        says += f"; held {device.fixed.replace('_', ' ')}"
    if device.deferred is not None:
        says += f" (deferred: {device.deferred.because})"
    return says


def _drives_and_people(root: ElementTree.Element, compiled: CompiledHold, grid: Grid, snapshot: Snapshot) -> None:
    running: dict[str, list[Direction]] = {}
    for bay, direction in snapshot.running:
        running.setdefault(bay, []).append(direction)
    for bay, directions in running.items():
        box = grid.cell(bay)
        says = f"the drive under bay {bay} runs {', '.join(directions)}"
        group = element(root, "g", title=says, klass="drive", data_id=bay)
        for at, direction in enumerate(directions):
            marks.draw_run(group, box.left + grid.bay_x / 2 + 20 * at, box.bottom - 11, direction)
    places = {place.id: place for place in compiled.hold.places}
    inside: dict[str, list[str]] = {}
    for person, place in snapshot.people.items():
        at_bay = places[place].bay
        if at_bay in grid.floor.cells and at_bay is not None:
            inside.setdefault(at_bay, []).append(person)
    for bay, people in inside.items():
        box = grid.cell(bay)
        group = element(root, "g", title=f"{', '.join(people)} in bay {bay}", klass="person", data_id=people[0])
        for at in range(len(people)):
            marks.draw_person(group, box.right - 18 - 13 * at, box.bottom - 11)
