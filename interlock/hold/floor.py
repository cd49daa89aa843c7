"""The floor as a graph: cells, the faces between them, where units can stand and how they move.

A *cell* is a bay, or a place on the loader outside a sill.  A *face* is the border of a cell towards one side; two
neighbours share one.  A *placement* is a kind of unit on the cells that it covers; a *move* takes it one cell further.
Placements and moves are the nodes and edges of a `networkx` graph.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import lru_cache
from itertools import product
from types import MappingProxyType
from typing import TYPE_CHECKING

from interlock.diagnostics.frozen import frozen
from interlock.hold.language.model import Direction, Doorway, Hold, Layout, UnitKind

if TYPE_CHECKING:
    import networkx

_SHIFT = {Direction.FORE: (-1, 0), Direction.AFT: (1, 0), Direction.LEFT: (0, -1), Direction.RIGHT: (0, 1)}


_ALONG = {1: ("",), 2: ("fore", "aft"), 3: ("fore", "middle", "aft")}
_ACROSS = {1: ("",), 2: ("left", "right"), 3: ("left", "middle", "right")}


@frozen
class Cell:
    """A bay (`door` None), or a place on the loader beside a sill.

    `row` counts from 1 at the front, `lane` from 0 at the left; outside cells go on counting beyond the floor.  A place
    on the loader is beside `bay`, `depth` cells away from it.  A centred bay is two lanes wide: `lane` is the left one.
    """

    id: str
    row: int
    lane: int
    door: str | None
    bay: str
    depth: int
    width: int = 1

    @property
    def lanes(self) -> range:
        """The lanes that it takes up."""
        return range(self.lane, self.lane + self.width)


@dataclass(frozen=True, slots=True, order=True)
class Face:
    """The border of `cell` towards `direction`.

    Of two cells that share it, `cell` is the one more fore or left; but a lane, not the centred bay that it leads to.
    """

    id: str
    cell: str = field(compare=False)
    direction: Direction = field(compare=False)

    def __str__(self) -> str:
        return self.id


@frozen
class Part:
    """What stands in one cell of a unit of the kind `unit`; `side` tells it from the others, empty where it is all."""

    id: str
    unit: str
    side: str


@frozen
class Placement:
    """A unit of one kind at rest: `cells` from fore to aft and left to right, `parts` names its part in each."""

    kind: str
    cells: tuple[str, ...]
    parts: tuple[str, ...]

    @property
    def id(self) -> str:
        """Kind and cells, unique on one floor."""
        return f"{self.kind}.{'+'.join(self.cells)}"


@frozen
class Move:
    """A unit goes from `source` one cell further in `direction`.

    `crossed` pairs each face that it crosses with the part of the unit that does.  `lain_on` are the other faces that
    it lies on at either end.  `doors` are the doors whose sill it crosses or lies on.
    """

    source: Placement
    target: Placement
    direction: Direction
    crossed: tuple[tuple[Face, str], ...]
    lain_on: tuple[Face, ...]
    doors: tuple[str, ...]

    @property
    def cells(self) -> tuple[str, ...]:
        """All cells that it needs, sorted."""
        return tuple(sorted({*self.source.cells, *self.target.cells}))

    @property
    def passage(self) -> str:
        """The name of the half-way position; the same for the move there and the move back."""
        return f"{self.source.kind}.{'+'.join(face.id for face, _ in self.crossed)}"


@frozen
class Floor:
    """Everything about where things are.  All mappings keep a fixed order; `parts` has those of all kinds by id."""

    cells: Mapping[str, Cell]
    bays: tuple[str, ...]
    parts: Mapping[str, Part]
    placements: tuple[Placement, ...]
    moves: tuple[Move, ...]
    entries: tuple[tuple[str, Placement], ...]
    _at: Mapping[tuple[int, int], str]
    _faces: Mapping[tuple[str, Direction], tuple[Face, ...]]
    _beyond: Mapping[tuple[Face, str], str]

    def neighbours(self, cell: str, direction: Direction) -> tuple[str, ...]:
        """The cells on that side: none or one, or the two lanes at which a centred bay ends."""
        return tuple(other for face in self.faces(cell, direction) if (other := self.beyond(face, cell)) is not None)

    def beyond(self, face: Face, cell: str) -> str | None:
        """The cell on the other side of a face of the cell, if there is one."""
        return self._beyond.get((face, cell))

    def bays_of(self, cells: Iterable[str]) -> list[str]:
        """Those of the cells that lie in the hold, in the same order; the others belong to a loader."""
        return [cell for cell in cells if self.cells[cell].door is None]

    def is_inside(self, placement: Placement) -> bool:
        """No part of the unit is on a loader."""
        return len(self.bays_of(placement.cells)) == len(placement.cells)

    def faces(self, cell: str, direction: Direction) -> tuple[Face, ...]:
        """The faces on that side, from left to right: one, but two of a centred bay towards the lanes.

        Neighbours give the same answer for the face that they share.
        """
        return self._faces[cell, direction]

    def line_of(self, face: Face) -> tuple[Face, ...]:
        """The faces of the line that a face is part of: more than itself where a centred bay meets two lanes."""
        sides = (self.faces(cell, direction) for cell, direction in self.sides_of_face(face))
        return max(sides, key=len)

    def faces_around(self, cells: Iterable[str]) -> frozenset[Face]:
        """All faces of the cells."""
        return frozenset(face for cell in cells for direction in Direction for face in self.faces(cell, direction))

    def sides_of_face(self, face: Face) -> tuple[tuple[str, Direction], ...]:
        """The one or two (cell, direction) pairs that meet at the face, its first cell first."""
        other = self.beyond(face, face.cell)
        sides: tuple[tuple[str, Direction], ...] = ((face.cell, face.direction),)
        return sides if other is None else (*sides, (other, face.direction.opposite))


def parts_of(kind: UnitKind) -> tuple[Part, ...]:
    """The parts of a unit, from fore to aft and left to right; one part has the kind's own name."""
    parts = []
    for i in range(kind.along):
        for j in range(kind.across):
            words = [word for word in (_ALONG[kind.along][i], _ACROSS[kind.across][j]) if word]
            parts.append(Part("_".join((kind.id, *words)), kind.id, " ".join(words)))
    return tuple(parts)


def lay_out(hold: Hold) -> Floor:
    """The floor of a hold: cells inside and outside, every placement and every move; laid out once for each layout."""
    return _laid_out(hold.layout, hold.units, hold.doorways)


@lru_cache(maxsize=16)
def _laid_out(layout: Layout, units: tuple[UnitKind, ...], doorways: tuple[Doorway, ...]) -> Floor:
    only = {bay: rule.kinds for rule in layout.rules for bay in rule.bays}
    at: dict[tuple[int, int], str] = {}
    cells: dict[str, Cell] = {}
    wide = {f"{one.row}{one.lane}" for one in layout.centred}
    for name, (row, lane) in layout.bay_names.places.items():
        if only.get(name, ("any",)):
            cells[name] = Cell(name, row, lane, None, name, 0, 2 if name in wide else 1)
            at.update(dict.fromkeys(_squares(cells[name]), name))
    bays = tuple(cells)
    for door in doorways:
        for cell in _outside(units, door, cells):
            if not any(square in at for square in _squares(cell)):
                cells[cell.id] = cell
                at.update(dict.fromkeys(_squares(cell), cell.id))
    parts = MappingProxyType({part.id: part for kind in units for part in parts_of(kind)})
    faces, beyond = (MappingProxyType(found) for found in _faces(cells, at))
    floor = Floor(MappingProxyType(cells), bays, parts, (), (), (), MappingProxyType(at), faces, beyond)
    placements = tuple(p for kind in units for p in _placements(floor, kind, only))
    known = {(p.kind, p.cells): p for p in placements}
    moves = tuple(m for p in placements for d in Direction for m in _moves(layout, doorways, floor, known, p, d))
    used = {m.source for m in moves} | {m.target for m in moves}
    kept = tuple(p for p in placements if p in used or floor.is_inside(p))
    outside = {m.source for m in moves if all(floor.cells[c].door for c in m.source.cells)}
    entries = tuple((str(floor.cells[p.cells[0]].door), p) for p in kept if p in outside)
    return replace(floor, placements=kept, moves=moves, entries=entries)


def _squares(cell: Cell) -> list[tuple[int, int]]:
    """The rows and lanes that it takes up."""
    return [(cell.row, lane) for lane in cell.lanes]


def _faces(
    cells: Mapping[str, Cell], at: Mapping[tuple[int, int], str]
) -> tuple[dict[tuple[str, Direction], tuple[Face, ...]], dict[tuple[Face, str], str]]:
    """The faces on each side of each cell; and for each face, seen from one of its cells, the other."""
    faces: dict[tuple[str, Direction], tuple[Face, ...]] = {}
    beyond: dict[tuple[Face, str], str] = {}
    for cell in cells.values():
        for direction in Direction:
            rows, lanes = _SHIFT[direction]
            squares = [(row + rows, lane + lanes) for row, lane in _squares(cell)]
            found: dict[Face, None] = {}
            for other in dict.fromkeys(at.get(square) for square in squares if at.get(square) != cell.id):
                face = _shared(cell, direction, None if other is None else cells[other])
                found[face] = None
                if other is not None:
                    beyond[face, cell.id] = other
            faces[cell.id, direction] = tuple(found)
    return faces, beyond


def _shared(cell: Cell, direction: Direction, other: Cell | None) -> Face:
    ahead = direction in (Direction.FORE, Direction.LEFT)
    if other is not None and (other.width < cell.width or (other.width == cell.width and ahead)):
        return Face(f"{other.id}.{direction.opposite}", other.id, direction.opposite)
    return Face(f"{cell.id}.{direction}", cell.id, direction)


def _outside(units: tuple[UnitKind, ...], door: Doorway, cells: Mapping[str, Cell]) -> Iterator[Cell]:
    across = door.side.axis == "y"
    reach = max((kind.across if across else kind.along for kind in units), default=1)
    rows, lanes = _SHIFT[door.side]
    for bay in door.bays:
        if bay in cells:
            for step in range(1, reach + 1):
                name = f"{door.id}-{bay}" + (f"-{step}" if step > 1 else "")
                here = cells[bay]
                lane = (here.lanes[-1] if door.side is Direction.RIGHT else here.lane) + step * lanes
                yield Cell(name, here.row + step * rows, lane, door.id, bay, step, 1 if across else here.width)


def _placements(floor: Floor, kind: UnitKind, only: Mapping[str, tuple[str, ...]]) -> Iterator[Placement]:
    for cell in floor.cells.values():
        covered: list[str] = []
        for i in range(kind.along):
            for j in range(kind.across):
                name = floor._at.get((cell.row + i, cell.lane + j))
                if name is not None and (name not in only or kind.id in only[name]):
                    covered.append(name)
        if any(floor.cells[name].width > 1 for name in covered) and not _fits(floor, kind, cell, covered):
            continue
        doors = {floor.cells[name].door for name in covered} - {None}
        if len(covered) == kind.along * kind.across and len(doors) <= 1:
            yield Placement(kind.id, tuple(covered), tuple(part.id for part in parts_of(kind)))


def _fits(floor: Floor, kind: UnitKind, cell: Cell, covered: Sequence[str]) -> bool:
    """Whether a unit can stand on cells of which one is centred: one lane wide, and all of it in the middle."""
    return kind.across == 1 and all(floor.cells[name].lanes == cell.lanes for name in covered)


def _moves(
    layout: Layout,
    doorways: tuple[Doorway, ...],
    floor: Floor,
    known: Mapping[tuple[str, tuple[str, ...]], Placement],
    source: Placement,
    direction: Direction,
) -> Iterator[Move]:
    """One, none, or from a centred bay one to each of the lanes."""
    for crossed in product(*(floor.faces(cell, direction) for cell in source.cells)):
        cells = [floor.beyond(face, cell) for face, cell in zip(crossed, source.cells, strict=True)]
        target = known.get((source.kind, tuple(name for name in cells if name is not None)))
        if target is None or None in cells or not _is_free(layout, doorways, floor, source, target, direction):
            continue
        parts = tuple(sorted(zip(crossed, source.parts, strict=True)))
        over = {face for cell in source.cells for face in floor.faces(cell, direction)}
        over |= {face for cell in target.cells for face in floor.faces(cell, direction.opposite)}
        lain_on = tuple(sorted((lain_on_by(floor, source) | lain_on_by(floor, target) | over) - set(crossed)))
        doors = {door for cell in (*source.cells, *target.cells) if (door := floor.cells[cell].door) is not None}
        yield Move(source, target, direction, parts, lain_on, tuple(sorted(doors)))


def _is_free(
    layout: Layout,
    doorways: tuple[Doorway, ...],
    floor: Floor,
    source: Placement,
    target: Placement,
    direction: Direction,
) -> bool:
    """Whether the floor lets a unit move that way, devices left aside: rollers run along the hold only."""
    involved = {*source.cells, *target.cells}
    outside = {floor.cells[cell].door for cell in involved} - {None}
    inside = floor.bays_of(involved)
    if not inside or len(outside) > 1:
        return False
    sides = {door.id: door.side for door in doorways}
    if any(sides[door].axis != direction.axis for door in outside if door is not None):
        return False
    loose = {*layout.ball_mat, *(bay for door in doorways if door.id in outside for bay in door.bays)}
    return direction.axis == "x" or all(cell in loose for cell in inside)


def lain_on_by(floor: Floor, placement: Placement) -> frozenset[Face]:
    """The faces that lie under a unit at rest, between two of its cells."""
    return frozenset(
        face
        for cell in placement.cells
        for direction in (Direction.AFT, Direction.RIGHT)
        for face in floor.faces(cell, direction)
        if floor.beyond(face, cell) in placement.cells
    )


def floor_graph(floor: Floor) -> networkx.MultiDiGraph[Placement]:
    """Placements as nodes, moves as edges (attribute `move`)."""
    import networkx

    graph: networkx.MultiDiGraph[Placement] = networkx.MultiDiGraph()
    graph.add_nodes_from(floor.placements)
    for move in floor.moves:
        graph.add_edge(move.source, move.target, move=move)
    return graph


def bays_reached(floor: Floor) -> frozenset[str]:
    """The bays that some unit from outside can come to stand in, latches left aside."""
    beyond: dict[Placement, list[Placement]] = {}
    for move in floor.moves:
        beyond.setdefault(move.source, []).append(move.target)
    waiting = [placement for _, placement in floor.entries]
    reached = set(waiting)
    while waiting:
        found = set(beyond.get(waiting.pop(), ())) - reached
        reached |= found
        waiting.extend(found)
    return frozenset(cell for placement in reached for cell in placement.cells if cell in floor.bays)
