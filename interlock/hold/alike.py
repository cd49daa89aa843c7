"""What stands in like places, and what is said of like places: each carried over to where the other is.

A hold repeats itself: what holds for a bay holds for the next one, and behind the middle it is often the mirror image.
Only ever a hint: nothing says that likes must be alike.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import islice
from typing import TypeAlias

from interlock.diagnostics.frozen import frozen
from interlock.hold.floor import Face, Floor
from interlock.hold.language.directions import DIRECTIONS, Direction
from interlock.hold.language.model import Device, Hold
from interlock.hold.language.syntax import Chain, Fact, Negation, Path, Quantified, Syntax, Truth

Shape: TypeAlias = Hashable
"""An expression, whatever the order of its parts and however its negations are written."""


def shape_of(syntax: Syntax, negated: bool = False) -> Shape:
    """Equal for expressions that differ only in order, in nesting and in where negations stand."""
    match syntax:
        case Truth(value):
            return value != negated
        case Fact(subject, state, turned):
            return subject.parts, state, turned != negated
        case Negation(arg):
            return shape_of(arg, not negated)
        case Quantified(quantifier, variable, group, body):
            return quantifier, variable, group.parts, shape_of(body), negated
        case Chain("implies", (first, second)):
            parts = [shape_of(first, not negated), shape_of(second, negated)]
            operator = "or"
        case Chain(operator, args):
            parts = [shape_of(arg, negated) for arg in args]
    joined = operator if not negated else {"and": "or", "or": "and"}[operator]
    if isinstance(syntax, Chain) and syntax.operator == "implies":
        joined = "and" if negated else "or"
    flat: set[Shape] = set()
    for part in parts:
        flat |= part[1] if isinstance(part, tuple) and part[0] == joined else {part}
    return next(iter(flat)) if len(flat) == 1 else (joined, frozenset(flat))


def contacts_of(syntax: Syntax) -> frozenset[Shape]:
    """The facts that the expression names, each with whether it is asked for or excluded."""
    found: set[Shape] = set()
    waiting: list[Shape] = [shape_of(syntax)]
    while waiting:
        shape = waiting.pop()
        if isinstance(shape, tuple) and len(shape) == 2 and isinstance(shape[1], frozenset):
            waiting += shape[1]
        else:
            found.add(shape)
    return frozenset(found)


@frozen
class Carry:
    """A way from one place to another: rows and lanes are turned round or not, and then shifted."""

    rows: int
    lanes: int
    by_rows: int
    by_lanes: int

    def direction(self, way: Direction) -> Direction:
        """What the direction becomes."""
        turned = self.rows < 0 if way.axis == "x" else self.lanes < 0
        return way.opposite if turned else way

    def place(self, row: int, lane: int) -> tuple[int, int]:
        """Where the cell comes to lie."""
        return self.rows * row + self.by_rows, self.lanes * lane + self.by_lanes

    @property
    def is_plain(self) -> bool:
        """Nothing is turned round."""
        return self.rows > 0 and self.lanes > 0


@dataclass(frozen=True)
class Alike:
    """The places of a hold and what stands there."""

    hold: Hold
    floor: Floor

    @cached_property
    def _at(self) -> Mapping[tuple[int, int], str]:
        return {(cell.row, cell.lane): id for id, cell in self.floor.cells.items()}

    @cached_property
    def devices_on(self) -> Mapping[Face, tuple[Device, ...]]:
        """What stands on each face, as written."""
        found: dict[Face, tuple[Device, ...]] = {}
        for device in self.hold.devices:
            for face in dict.fromkeys(f for side in device.on for f in self.floor.faces(side.bay, side.direction)):
                found[face] = (*found.get(face, ()), device)
        return found

    @cached_property
    def _named(self) -> Mapping[tuple[str, Shape], str]:
        """Sensors and circuits by what they read or are."""
        found: dict[tuple[str, Shape], str] = {}
        for sensor in self.hold.sensors:
            found.setdefault(("sensor", shape_of(sensor.reads)), sensor.id)
        for circuit in self.hold.circuits:
            found.setdefault(("circuit", shape_of(circuit.definition)), circuit.id)
        return found

    @cached_property
    def _definitions(self) -> Mapping[str, tuple[str, Syntax]]:
        found: dict[str, tuple[str, Syntax]] = {one.id: ("sensor", one.reads) for one in self.hold.sensors}
        return found | {one.id: ("circuit", one.definition) for one in self.hold.circuits}

    @cached_property
    def _faces(self) -> Mapping[str, tuple[Face, int]]:
        return {
            device.id: (face, at)
            for face, devices in reversed(tuple(self.devices_on.items()))
            for at, device in enumerate(devices)
        }

    def ways(self, source: tuple[str, Direction], dest: tuple[str, Direction]) -> Iterator[Carry]:
        """Every way that takes the one side of a bay to the other, the plain one first."""
        here, there = self.floor.cells[source[0]], self.floor.cells[dest[0]]
        for rows in (1, -1):
            for lanes in (1, -1):
                carry = Carry(rows, lanes, there.row - rows * here.row, there.lane - lanes * here.lane)
                if carry.direction(source[1]) is dest[1]:
                    yield carry

    def ways_between(self, source: Syntax, dest: Syntax) -> tuple[Carry, ...]:
        """Every way that takes a place that the one expression names first or second to the same of the other one."""
        pairs = zip(self._places(source), self._places(dest), strict=False)
        found = (
            Carry(rows, lanes, there[0] - rows * here[0], there[1] - lanes * here[1])
            for here, there in islice(pairs, 2)
            for rows in (1, -1)
            for lanes in (1, -1)
        )
        return tuple(dict.fromkeys(found))

    def _places(self, syntax: Syntax) -> Iterator[tuple[int, int]]:
        """Rows and lanes of what it names, in the order in which it is written."""
        match syntax:
            case Fact(Path((first, *_))):
                if first in self._definitions and self._definitions[first][0] == "sensor":
                    yield from self._places(self._definitions[first][1])
                cell = self._faces[first][0].cell if first in self._faces else first
                if cell in self.floor.cells:
                    yield self.floor.cells[cell].row, self.floor.cells[cell].lane
            case Negation(arg):
                yield from self._places(arg)
            case Chain(_, args):
                for arg in args:
                    yield from self._places(arg)

    def first_cell(self, syntax: Syntax) -> str | None:
        """The cell of the place that it names first, or at which what it names first stands."""
        return self._at.get(next(self._places(syntax), (-1, -1)))

    def cell(self, carry: Carry, id: str) -> str | None:
        """The cell to which this one is carried."""
        here = self.floor.cells[id]
        return self._at.get(carry.place(here.row, here.lane))

    def side(self, bay: str, way: Direction) -> Face:
        """The face on that side of a bay; where it has two, the left one."""
        return self.floor.faces(bay, way)[0]

    def face(self, carry: Carry, face: Face) -> Face | None:
        """The face to which this one is carried."""
        cell = self.cell(carry, face.cell)
        return None if cell is None else self.side(cell, carry.direction(face.direction))

    def thing(self, carry: Carry, id: str) -> str | None:
        """What stands to that place as this stands to its own; what has no place of its own is itself."""
        if (carry, id) not in self._carried:
            self._carried[carry, id] = self._thing(carry, id)
        return self._carried[carry, id]

    @cached_property
    def _carried(self) -> dict[tuple[Carry, str], str | None]:
        return {}

    def _thing(self, carry: Carry, id: str) -> str | None:
        if id in self.floor.cells:
            return self.cell(carry, id)
        if id in self._faces:
            face, at = self._faces[id]
            there = self.face(carry, face)
            devices = () if there is None else self.devices_on.get(there, ())
            return devices[at].id if at < len(devices) else None
        if id in self._definitions:
            sort, syntax = self._definitions[id]
            carried = self.syntax(carry, syntax)
            found = None if carried is None else self._named.get((sort, shape_of(carried)))
            return found if found is not None or sort == "sensor" else id
        return id

    def syntax(self, carry: Carry, syntax: Syntax) -> Syntax | None:
        """The expression carried over; what has no counterpart is left out, None where nothing is left."""
        match syntax:
            case Fact(Path((first, *rest), spans)):
                there = self.thing(carry, first)
                if there is None:
                    return None
                words = (carry.direction(Direction(w)).value if w in DIRECTIONS else w for w in rest)
                return replace(syntax, subject=Path((there, *words), spans))
            case Negation(arg):
                inner = self.syntax(carry, arg)
                return None if inner is None else replace(syntax, arg=inner)
            case Chain("implies", (first, second)):
                premise, conclusion = self.syntax(carry, first), self.syntax(carry, second)
                if premise is None or conclusion is None:
                    return None
                return replace(syntax, args=(premise, conclusion))
            case Chain(_, args):
                found = tuple(one for one in (self.syntax(carry, arg) for arg in args) if one is not None)
                return (found[0] if len(found) == 1 else replace(syntax, args=found)) if found else None
        return syntax

    def images(self, syntax: Syntax) -> Iterator[Iterator[tuple[Carry, str, Syntax]]]:
        """The expression carried, whole, to wherever all that it names has a counterpart; each way of turning apart.

        With the way, and the cell to which the first place comes that it names; none where it names no place.
        """
        first = next(self._places(syntax), None)
        size = len(contacts_of(syntax))

        def turned(rows: int, lanes: int, row: int, lane: int) -> Iterator[tuple[Carry, str, Syntax]]:
            for id, cell in self.floor.cells.items():
                carry = Carry(rows, lanes, cell.row - rows * row, cell.lane - lanes * lane)
                carried = self.syntax(carry, syntax)
                if carried is not None and len(contacts_of(carried)) == size:
                    yield carry, id, carried

        if first is not None:
            yield from (turned(rows, lanes, *first) for rows in (1, -1) for lanes in (1, -1))

    def device(self, carry: Carry, device: Device) -> Device:
        """What the device would be like in the other place, but for its id, its name and where it stands."""
        return replace(
            device,
            stops=tuple(sorted((carry.direction(way) for way in device.stops), key=DIRECTIONS.index)),
            gives_way=tuple(sorted((carry.direction(way) for way in device.gives_way), key=DIRECTIONS.index)),
        )

    def like_faces(self, face: Face) -> Sequence[tuple[Face, Carry]]:
        """Faces in like places, each with the way from there: between bays or at an edge of the floor."""
        found = []
        for other in sorted(self.floor.faces_around(self.floor.bays)):
            if other == face or self._edges(other) != self._edges(face):
                continue
            # from either side of a border the way may be the plain one
            here = self.floor.sides_of_face(face)
            pairs = [(side, to) for side in self.floor.sides_of_face(other) for to in here]
            ways = [c for side, to in pairs for c in self.ways(side, to) if self.face(c, other) == face]
            if ways:
                found.append((other, min(ways, key=lambda way: -way.rows - way.lanes)))
        return found

    def _edges(self, face: Face) -> tuple[str, bool]:
        """Along or across, and whether it lies between two bays."""
        cells = [cell for cell, _ in self.floor.sides_of_face(face)]
        return face.direction.axis, len(self.floor.bays_of(cells)) > 1
