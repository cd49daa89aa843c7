"""A plan in pieces for paper: some rows of bays each, none so wide that its lettering falls under six points."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable, Mapping, Sequence
from math import ceil
from xml.etree import ElementTree

from interlock.diagnostics.frozen import frozen
from interlock.diagnostics.said import say
from interlock.diagnostics.visible import visible
from interlock.hold.compile.compiler import CompiledHold
from interlock.hold.floor import Placement
from interlock.hold.language.model import Direction
from interlock.kernel.evaluator import State
from interlock.report.drawing.grid import NAME, Grid
from interlock.report.drawing.legend import draw_key
from interlock.report.drawing.plan import TOPS, InState, draw_floor
from interlock.report.drawing.shapes import FONTS, PAPER, Box, Tell, as_text, element, number, text_width
from interlock.report.drawing.words import described, facts_of
from interlock.report.views.snapshot import Snapshot, take

SMALLEST_PT = 6.0
"""Lettering on paper, in points."""
PAPER_PT = 515.0
"""What A4 and Letter have between their margins, in points; Letter, the wider one, has some to spare."""
SCALE = SMALLEST_PT / NAME
"""Points for each unit of a drawing."""
_WIDEST = PAPER_PT / SCALE
_NUMBERS = re.compile(r"-?\d+(?:\.\d+)?")
_NEAR = 30.0  # what sticks out of its own coordinates: strokes, heads of arrows


@frozen
class Piece:
    """A drawing of its own, and how wide it is to be printed so that its lettering is as small as may be, no smaller.

    `rows` are the rows of bays that it shows, empty for a key.
    """

    svg: str
    width_pt: float
    rows: tuple[int, ...]


@frozen
class Drawn:
    """A plan in pieces, with its title, and in words what has no place on it."""

    title: str
    pieces: tuple[Piece, ...]
    facts: tuple[tuple[str, str], ...]

    @property
    def width_pt(self) -> float:
        """Of all of them side by side."""
        return sum(piece.width_pt for piece in self.pieces)


def whole_plan(compiled: CompiledHold, state: State | None, title: str, tell: Tell = str) -> Drawn:
    """All of the hold, in one state or as it is built."""
    snapshot = None if state is None else take(compiled, state)
    rows, lanes = compiled.hold.layout.rows, len(compiled.hold.layout.lanes)
    facts = () if snapshot is None else tuple(facts_of(compiled, snapshot))
    every = {row: frozenset(range(lanes)) for row in range(1, rows + 1)}
    return Drawn(title, _pieces(compiled, snapshot, title, [every], tell), facts)


def changed_plan(compiled: CompiledHold, before: State, after: State, title: str, tell: Tell = str) -> Drawn:
    """The bays in and beside which something is otherwise than before, as they are after it; no piece where none is."""
    old, new = take(compiled, before), take(compiled, after)
    runs: list[dict[int, frozenset[int]]] = []
    for row, lanes in sorted(_changed(compiled, old, new).items()):
        if runs and row - 1 in runs[-1]:
            runs[-1][row] = lanes
        else:
            runs.append({row: lanes})
    return Drawn(title, _pieces(compiled, new, title, runs, tell), ())


def plan_key(compiled: CompiledHold, state: State | None, tell: Tell = str) -> Drawn:
    """The drive zones, and what the marks of plans mean."""
    root = _drawing()
    paper = element(root, "rect", fill=PAPER)
    snapshot = None if state is None else take(compiled, state)
    height = draw_key(root, compiled, snapshot, 0.0, _WIDEST, tell)
    says = tell(say("Drive zones, and what the marks mean"))
    key = _finished(root, paper, Box(0, 0, _WIDEST, height), says, ())
    return Drawn("", (key,), ())


def _changed(compiled: CompiledHold, old: Snapshot, new: Snapshot) -> dict[int, frozenset[int]]:
    """The lanes, by number, of each row of bays in which something is otherwise; of a doorway all."""
    hold, cells = compiled.hold, compiled.floor.cells
    found: dict[int, frozenset[int]] = {}

    def add(bays: Iterable[str], lanes: Iterable[int] = ()) -> None:
        for cell in (cells[bay] for bay in bays if bay in cells and cells[bay].door is None):
            found[cell.row] = found.get(cell.row, frozenset()) | {*cell.lanes, *lanes}

    for unit in _placed(old) ^ _placed(new):
        add(unit.cells)
    for door in hold.doorways:
        if old.doors[door.id] != new.doors[door.id]:
            add(door.bays, range(len(hold.layout.lanes)))
    for device in hold.devices:
        if old.devices[device.id] != new.devices[device.id]:
            faces = [face for side in device.on for face in compiled.floor.faces(side.bay, side.direction)]
            beside = [cells[id] for face in faces for id, _ in compiled.floor.sides_of_face(face) if id in cells]
            # what stands between two bays is seen with either
            if not any(found.get(cell.row, frozenset()).intersection(cell.lanes) for cell in beside):
                add(side.bay for side in device.on[:1])
    return found


def _placed(snapshot: Snapshot) -> frozenset[Placement]:
    """Where units are, those half-way at both ends."""
    return frozenset((*snapshot.resting, *(end for move in snapshot.crossings for end in (move.source, move.target))))


def _pieces(
    compiled: CompiledHold,
    snapshot: Snapshot | None,
    title: str,
    runs: Sequence[Mapping[int, frozenset[int]]],
    tell: Tell,
) -> tuple[Piece, ...]:
    """`runs` have neighbouring rows, each with the lanes that are to be seen."""
    grid = Grid(compiled, TOPS, tell)
    found = []
    for run in runs:
        rows, lanes = list(run), frozenset[int]().union(*run.values())
        parts = min(len(rows), max(1, ceil(_span(grid, rows, lanes).width / _WIDEST)))
        size = ceil(len(rows) / parts)
        found += [
            _piece(compiled, grid, snapshot, title, rows[at : at + size], lanes) for at in range(0, len(rows), size)
        ]
    return tuple(found)


def _piece(
    compiled: CompiledHold,
    grid: Grid,
    snapshot: Snapshot | None,
    title: str,
    rows: Sequence[int],
    lanes: frozenset[int],
) -> Piece:
    root = _drawing()
    paper = element(root, "rect", fill=PAPER)
    draw_floor(root, compiled, grid, InState(compiled, snapshot))
    window = _window(grid, snapshot, rows, lanes)
    for child in list(root)[1:]:
        box = _bounds(child)
        if box is not None and not _meet(box, window):
            root.remove(child)
    where = say("row {row}", row=rows[0])
    if len(rows) > 1:
        where = say("rows {first} to {last}", first=rows[0], last=rows[-1])
    says = say(
        "Plan view, {where}, forward to the left: {heading}. {says}",
        where=where,
        heading=title,
        says=described(compiled, snapshot, rows),
    )
    return _finished(root, paper, window, grid.tell(says), tuple(rows))


def _drawing() -> ElementTree.Element:
    return ElementTree.Element("svg", {"xmlns": "http://www.w3.org/2000/svg"})


def _finished(
    root: ElementTree.Element, paper: ElementTree.Element, window: Box, says: str, rows: tuple[int, ...]
) -> Piece:
    for name, value in window.sides.items():
        paper.set(name, number(value))
    for name in ("width", "height"):
        root.set(name, number(window.sides[name]))
    root.set("viewBox", " ".join(number(window.sides[name]) for name in ("x", "y", "width", "height")))
    root.set("role", "img")
    root.set("aria-label", visible(says))
    root.set("font-family", FONTS)
    return Piece(as_text(root), round(window.width * SCALE, 1), rows)


def _span(grid: Grid, rows: Collection[int], lanes: Collection[int]) -> Box:
    """From the strips before the first row and lane to those after the last; at the ends of the hold, to the edge."""
    hull, last = grid.inside, grid.hold.layout.rows
    left = 0.0 if 1 in rows else grid.place(min(rows), 0).left - grid.strip_x - 6
    right = grid.right if last in rows else grid.place(max(rows), 0).right + grid.strip_x + 6
    # lanes are counted from the left side of the hold, which is at the bottom
    top, bottom = (grid.place(min(rows), lane) for lane in (max(lanes), min(lanes)))
    above, below = top.top - grid.strip_y - 6, bottom.bottom + grid.strip_y + 6
    return Box(left, max(hull.top - 8, above), right, min(hull.bottom + 8, below))


def _window(grid: Grid, snapshot: Snapshot | None, rows: Sequence[int], lanes: frozenset[int]) -> Box:
    """The same, with doors beside all lanes, and with the loader where a unit is on it."""
    span, hull, cells = _span(grid, rows, lanes), grid.inside, grid.floor.cells
    top, bottom = span.top, span.bottom
    for door in grid.hold.doorways:
        if any(cells[bay].row in rows for bay in door.bays if bay in cells):
            top = min(top, hull.top - grid.bands[Direction.RIGHT]) if top < hull.top else top
            bottom = max(bottom, hull.bottom + grid.bands[Direction.LEFT]) if bottom > hull.bottom else bottom
    if snapshot is not None:
        for cell in (cell for unit in _placed(snapshot) for cell in unit.cells if cells[cell].door is not None):
            if cells[cell].row in rows:
                top, bottom = min(top, grid.cell(cell).top - 6), max(bottom, grid.cell(cell).bottom + 6)
    return Box(span.left, top, span.right, bottom)


def _meet(one: Box, other: Box) -> bool:
    apart = one.right < other.left - _NEAR or one.left > other.right + _NEAR
    return not (apart or one.bottom < other.top - _NEAR or one.top > other.bottom + _NEAR)


def _bounds(drawn: ElementTree.Element) -> Box | None:
    """Where an element and what is in it lie, generously; None where nothing says so."""
    boxes = [box for child in drawn if (box := _bounds(child)) is not None]
    place = {key: float(value) for key, value in drawn.attrib.items() if key in _PLACES and _NUMBERS.fullmatch(value)}
    if drawn.tag == "rect":
        x, y = place["x"], place["y"]
        boxes.append(Box(x, y, x + place["width"], y + place["height"]))
    elif drawn.tag == "text":
        half = text_width(drawn.text or "", place["font-size"], bold=True)
        boxes.append(Box(place["x"] - half, place["y"] - half, place["x"] + half, place["y"] + half))
    elif drawn.tag == "circle":
        boxes.append(Box(place["cx"], place["cy"], place["cx"], place["cy"]))
    elif drawn.tag == "path":
        numbers = [float(one) for one in _NUMBERS.findall(drawn.get("d", ""))]
        if drawn.get("d", "").strip("MLZ0123456789. -") == "" and len(numbers) > 1:
            xs, ys = numbers[::2], numbers[1::2]
            boxes.append(Box(min(xs), min(ys), max(xs), max(ys)))
        elif len(numbers) > 1:
            boxes.append(Box(numbers[0], numbers[1], numbers[0], numbers[1]))
    if not boxes:
        return None
    return Box(
        min(b.left for b in boxes), min(b.top for b in boxes), max(b.right for b in boxes), max(b.bottom for b in boxes)
    )


_PLACES = ("x", "y", "width", "height", "cx", "cy", "font-size")
