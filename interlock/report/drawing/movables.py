"""What can be seen to change on a plan, drawn as it is in one state: doors, units, devices, drives, people."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any
from xml.etree import ElementTree

from interlock.diagnostics.said import joined, linked, say
from interlock.hold.compile.compiler import CompiledHold
from interlock.hold.floor import Move, Placement
from interlock.hold.kinds import DEVICE_KINDS
from interlock.hold.language.model import Device, Direction, Doorway
from interlock.report.drawing import marks
from interlock.report.drawing.grid import NAME, ON_ITS_WAY, Grid, Slot
from interlock.report.drawing.shapes import (
    INK,
    PAPER,
    SOFT,
    UNIT_FILL,
    UNIT_INK,
    Box,
    around,
    element,
    plate,
    text_width,
    wrap,
    write,
)


def _span_of(grid: Grid, door: Doorway) -> Box:
    bays = [bay for bay in door.bays if bay in grid.floor.cells]
    return around(*(grid.cell(bay) for bay in bays))


def draw_door(root: ElementTree.Element, grid: Grid, door: Doorway, facts: tuple[str, ...] | None) -> None:
    """The door across its opening, with its sill; None: nothing is said of it."""
    hull, span = grid.inside, _span_of(grid, door)
    position = None if facts is None else facts[0]
    says = f"{door.name} ({door.id})"
    if facts is not None:
        says += ": " + ", ".join(grid.tell(say(fact)) for fact in facts)
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


def draw_door_words(root: ElementTree.Element, grid: Grid, door: Doorway, facts: tuple[str, ...] | None) -> None:
    """What a door is called, and the facts that hold of it."""
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


def _unit_room(box: Box) -> Box:
    return Box(box.left + 10, box.top + 17, box.right - 10, box.bottom - 20)


def draw_resting(root: ElementTree.Element, compiled: CompiledHold, grid: Grid, placement: Placement) -> None:
    """A unit where it stands."""
    names = {unit.id: unit.name for unit in compiled.hold.units}
    boxes = [_unit_room(grid.cell(cell)) for cell in placement.cells]
    says = grid.tell(say("{unit} in {bays}", unit=names[placement.kind], bays=", ".join(placement.cells)))
    group = _unit_box(root, around(*boxes), says, placement.kind)
    room = boxes[0]
    lines = wrap(names[placement.kind], NAME, room.width - 6)
    x, y = room.middle
    y += 4 - (NAME + 2) * len(lines) / 2
    write(group, x, y, placement.kind, NAME + 1, anchor="middle", bold=True, fill=UNIT_INK)
    for at, line in enumerate(lines, 1):
        write(group, x, y + at * (NAME + 2), line, NAME, anchor="middle", fill=UNIT_INK)


def draw_crossing(root: ElementTree.Element, compiled: CompiledHold, grid: Grid, move: Move) -> None:
    """A unit on its way: partly across the faces between where it was and where it goes."""
    names = {unit.id: unit.name for unit in compiled.hold.units}
    kind = move.source.kind
    before = around(*(_unit_room(grid.cell(cell)) for cell in move.source.cells))
    after = around(*(_unit_room(grid.cell(cell)) for cell in move.target.cells))
    faces = linked([face.id for face, _ in move.crossed])
    says = grid.tell(say("{unit} partly across {faces}", unit=names[kind], faces=faces))
    shared = [cell for cell in move.source.cells if cell in move.target.cells]
    if shared:
        group = _unit_box(root, _between(before, after), says, kind, moving=True)
        x, y = _unit_room(grid.cell(shared[0])).middle
        write(group, x, y, kind, NAME + 1, anchor="middle", bold=True, fill=UNIT_INK)
        write(group, x, y + NAME + 2, grid.tell(ON_ITS_WAY), NAME, anchor="middle", fill=UNIT_INK)
        return
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
    _crossing_words(group, grid, box, kind, move.direction.axis, rise)


def _between(one: Box, other: Box) -> Box:
    """Half-way from one box to the other."""
    return Box(
        (one.left + other.left) / 2,
        (one.top + other.top) / 2,
        (one.right + other.right) / 2,
        (one.bottom + other.bottom) / 2,
    )


def _crossing_words(group: ElementTree.Element, grid: Grid, box: Box, kind: str, axis: str, rise: float) -> None:
    """The name on one side of the face, how it lies on the other, so that the devices between stay clear."""
    if axis == "x":
        half = grid.bay_x / 2 - 10
        # beside the first lane that the unit lies in, clear of the strips between lanes
        y = box.top + (grid.bay_y - 37) / 2 + 4 - rise
        write(group, box.left + half / 2, y, kind, NAME + 1, anchor="middle", bold=True, fill=UNIT_INK)
        for at, word in enumerate(grid.tell(ON_ITS_WAY).split()):
            line = y + (at - 1) * (NAME + 1)
            write(group, box.right - half / 2, line, word, NAME, anchor="middle", fill=UNIT_INK)
    else:
        x = box.left + (grid.bay_x - 20) / 2
        write(group, x, box.top + 16, kind, NAME + 1, anchor="middle", bold=True, fill=UNIT_INK)
        write(group, x, box.bottom - 8, grid.tell(ON_ITS_WAY), NAME, anchor="middle", fill=UNIT_INK)


def _unit_box(root: ElementTree.Element, box: Box, says: str, kind: str, moving: bool = False) -> ElementTree.Element:
    group = element(root, "g", title=says, klass="unit moving" if moving else "unit", data_id=kind)
    looks: dict[str, Any] = {"fill": UNIT_FILL, "stroke": UNIT_INK, "stroke_width": 2.0, "rx": 3}
    if moving:
        looks["stroke_dasharray"] = "9 4"
    element(group, "rect", **box.sides, **looks)
    return group


def draw_device(root: ElementTree.Element, grid: Grid, slot: Slot, state: str | None, failed: bool = False) -> None:
    """A device's mark as it is in the state, or, where none is given, as it is built."""
    device = slot.device
    says = "; ".join(map(grid.tell, _says(device, state)))
    group = element(root, "g", title=says, klass="device", data_id=device.id, data_state=state or "")
    standing = marks.standing_of(device.kind, state)
    marks.draw_mark(group, slot.x, slot.y, DEVICE_KINDS[device.kind], slot.along, standing)
    for direction in device.gives_way:
        marks.draw_way(group, slot.x, slot.y, direction)
    if device.fixed is not None:
        marks.draw_held(group, slot.x, slot.y)
    if state == "kept_down":
        marks.draw_kept(group, slot.x, slot.y)
    if failed:
        marks.draw_failed(group, slot.x, slot.y)
    write(group, slot.x, slot.y + 19, device.id, NAME, anchor="middle")


def _says(device: Device, state: str | None) -> Iterator[str]:
    kind = DEVICE_KINDS[device.kind]
    head = f"{device.name} ({device.id})"
    if state is not None and len(kind.states) > 1:
        yield say("{device}, {kind}: {state}", device=head, kind=say(kind.id), state=kind.word(state))
    else:
        yield say("{device}, {kind}", device=head, kind=say(kind.id))
    if device.stops:
        yield say("stops {ways}", ways=joined(device.stops, ", "))
    if device.gives_way:
        yield say("gives way to {ways}", ways=joined(device.gives_way, ", "))
    if device.restrains:
        locking = kind.word(device.locking)
        yield say("restrains {ways} when {state}", ways=joined(device.restrains, ", "), state=locking)
    if device.fixed is not None:
        held = say("held {state}", state=kind.word(device.fixed))
        why = None if device.deferred is None else say("(deferred: {because})", because=device.deferred.because)
        yield held if why is None else joined([held, why])


def draw_drive(root: ElementTree.Element, grid: Grid, bay: str, ways: Mapping[Direction, int]) -> None:
    """An arrow for each way in which the drive under a bay runs, at its place from the middle on."""
    box = grid.cell(bay)
    says = grid.tell(say("the drive under bay {bay} runs {ways}", bay=bay, ways=joined(list(ways), ", ")))
    group = element(root, "g", title=says, klass="drive", data_id=bay)
    for way, at in ways.items():
        marks.draw_run(group, box.left + grid.bay_x / 2 + 20 * at, box.bottom - 11, way)


def draw_people(root: ElementTree.Element, grid: Grid, bay: str, people: Mapping[str, int]) -> None:
    """The people in a bay, each at its place from the right."""
    box = grid.cell(bay)
    says = grid.tell(say("{people} in bay {bay}", people=", ".join(people), bay=bay))
    group = element(root, "g", title=says, klass="person", data_id=next(iter(people)))
    for at in people.values():
        marks.draw_person(group, box.right - 18 - 13 * at, box.bottom - 11)
