"""What all of a compilation goes by: a description, its floor, one way to start; and what these alone can say."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from typing import TypeVar

from interlock.diagnostics.frozen import frozen
from interlock.diagnostics.said import linked, say
from interlock.hold.failing import MayStrike, cause_of, declared_failures
from interlock.hold.floor import Face, Floor, Placement, lain_on_by, lay_out
from interlock.hold.language.model import Device, Hold
from interlock.hold.origin import (
    EMPTY,
    NOBODY,
    Aspect,
    Condition,
    Crossing,
    Fact,
    Failure,
    Hindrance,
    Holding,
    Lifted,
    Reach,
    Sort,
    Subject,
)
from interlock.kernel.expressions import FALSE, TRUE, Expr, Is, Ref, disj, neg, one_of

_Where = TypeVar("_Where", str, Face)


@frozen
class Described:
    """A description with its floor, and what the chosen situation says of the start (`told`, by thing).

    `holdings` are the parts of units that each cell can hold, `crossings` those that can cross each face, `lying` says
    when a unit lies over a face, at rest or on its way, and `devices_on` what stands on a face, as written.
    `may_strike` has the failures that are declared, by thing, `caused` by thing and mode the events that are such a
    failure.
    `eased`: what keeps steps from happening can be lifted (`compile.easing`).
    """

    hold: Hold
    situation: str | None
    floor: Floor
    told: Mapping[str, tuple[str, ...]]
    holdings: Mapping[str, tuple[str, ...]]
    crossings: Mapping[Face, tuple[str, ...]]
    lying: Mapping[Face, tuple[Expr, ...]]
    devices_on: Mapping[Face, tuple[Device, ...]]
    may_strike: Mapping[str, tuple[MayStrike, ...]]
    caused: Mapping[tuple[str, str], tuple[Failure, ...]]
    eased: bool = False

    def lifted(self, *hindrances: Hindrance) -> Expr:
        """One of the hindrances is lifted: never, unless the hold is eased."""
        return disj(*(Is(Lifted(one).name, True) for one in hindrances)) if self.eased else FALSE

    def faces_of(self, device: Device) -> tuple[Face, ...]:
        """The faces that the device stands on, each once, in the order written."""
        return _faces_of(self.floor, device)

    def starts_of(self, id: str, usual: tuple[str, ...], states: tuple[str, ...]) -> tuple[str, ...]:
        """The start states among `states`: those of the chosen situation, else the usual ones, else the first."""
        told = tuple(state for state in self.told.get(id, ()) if state in states)
        return told or tuple(state for state in usual if state in states) or states[:1]

    def struck(self, id: str, mode: str) -> Expr:
        """The failure of the thing has struck, by itself or by an event: never, unless that is declared."""
        found = [one.failure for one in self.may_strike.get(id, ()) if one.failure.mode == mode]
        found += self.caused.get((id, mode), ())
        return disj(*(Is(one.name, True) for one in found)) if found else FALSE

    def occupied(self, cell: str) -> Expr:
        """Some unit or part of one stands in the cell."""
        return neg(Is(Holding(cell).name, EMPTY)) if cell in self.holdings else FALSE

    def crossed(self, face: Face) -> Expr:
        """A unit is on its way over the face."""
        return neg(Is(Crossing(face).name, NOBODY)) if face in self.crossings else FALSE

    def covered(self, face: Face) -> Expr:
        """A unit is over the face, on its way or at rest."""
        return Ref(covered(face).name) if face in self.crossings or face in self.lying else FALSE

    def reach(self, id: str, people: Collection[str] | None = None) -> Expr:
        """Somebody, or one of those people, can reach the thing; true where nobody's reach is declared for it."""
        places = {place.id for place in self.hold.places if id in place.reaches}
        if not places or not self.hold.people:
            return TRUE
        asked = [one for one in self.hold.people if people is None or one.id in people]
        there = (one_of(whereabouts(p.id).name, [one for one in p.places if one in places]) for p in asked)
        return disj(*there, self.lifted(Reach(id)))

    def name_of_unit(self, kind: str) -> str:
        """What people call a kind of unit."""
        return next(unit.name for unit in self.hold.units if unit.id == kind)

    def part_phrase(self, part: str) -> str:
        """How a sentence names a part of a unit, or the whole of a unit of one bay."""
        found = self.floor.parts[part]
        name = self.name_of_unit(found.unit)
        return (
            say("the {side} part of a {name}", side=found.side, name=name) if found.side else say("a {name}", name=name)
        )

    def bay_phrase(self, cell: str) -> str:
        """How a sentence names a cell; of the loader, with the bay beside it where a door has several."""
        found = self.floor.cells[cell]
        if found.door is None:
            return say("bay {cell}", cell=cell)
        door = next(door for door in self.hold.doorways if door.id == found.door)
        loader = (
            say("the loader at {door} beside {bay}", door=door.name, bay=found.bay)
            if len(door.bays) > 1
            else say("the loader at {door}", door=door.name)
        )
        match found.depth:
            case 1:
                return loader
            case 2:
                return say("the outer part of {loader}", loader=loader)
        return say("the outermost part of {loader}", loader=loader)

    def face_phrase(self, face: Face) -> str:
        """How a sentence names a face: its sill, its devices, or the border between its cells."""
        sides = self.floor.sides_of_face(face)
        doors = [door for name, _ in sides if (door := self.floor.cells[name].door)]
        if doors and len(sides) == 2 and len(doors) == 1:
            return say("the sill of {name}", name=next(door.name for door in self.hold.doorways if door.id == doors[0]))
        devices = [device.name for device in self.devices_on.get(face, ())]
        if devices:
            return linked(devices)
        if len(doors) == 2:
            return self.bay_phrase(sides[0][0])
        if len(sides) == 2:
            return say(
                "the line between {bay} and {other}",
                bay=self.bay_phrase(sides[0][0]),
                other=self.bay_phrase(sides[1][0]),
            )
        return say("the {direction} edge of {bay}", direction=sides[0][1], bay=self.bay_phrase(sides[0][0]))


def describe(hold: Hold, situation: str | None, eased: bool = False) -> Described:
    """The description for one way to start (None: as described).  Raises KeyError where it has no such situation."""
    floor = lay_out(hold)
    chosen = () if situation is None else {entry.id: entry for entry in hold.situations}[situation].sets
    told: dict[str, tuple[str, ...]] = {}
    for id, state, _ in chosen:
        told[id] = (*told.get(id, ()), state)
    crossings = _sorted_parts((face, part) for move in floor.moves for face, part in move.crossed)
    holdings = _sorted_parts((c, part) for p in floor.placements for c, part in zip(p.cells, p.parts, strict=True))
    devices_on: dict[Face, tuple[Device, ...]] = {}
    for device in hold.devices:
        for face in _faces_of(floor, device):
            devices_on[face] = (*devices_on.get(face, ()), device)
    may_strike: dict[str, tuple[MayStrike, ...]] = {}
    for one in declared_failures(hold):
        may_strike[one.failure.subject.id] = (*may_strike.get(one.failure.subject.id, ()), one)
    caused: dict[tuple[str, str], tuple[Failure, ...]] = {}
    for cause in hold.common_causes:
        for key in dict.fromkeys((one.of, one.mode) for one in cause.failures if one.contact is None):
            caused[key] = (*caused.get(key, ()), cause_of(cause))
    return Described(
        hold,
        situation,
        floor,
        told,
        {cell: holdings[cell] for cell in floor.cells if cell in holdings},
        {face: crossings[face] for face in sorted(crossings)},
        _lying(floor),
        devices_on,
        may_strike,
        caused,
        eased,
    )


def _faces_of(floor: Floor, device: Device) -> tuple[Face, ...]:
    return tuple(dict.fromkeys(face for side in device.on for face in floor.faces(side.bay, side.direction)))


def _sorted_parts(pairs: Iterable[tuple[_Where, str]]) -> dict[_Where, tuple[str, ...]]:
    parts: dict[_Where, set[str]] = {}
    for where, part in pairs:
        parts.setdefault(where, set()).add(part)
    return {where: tuple(sorted(found)) for where, found in parts.items()}


def _lying(floor: Floor) -> dict[Face, tuple[Expr, ...]]:
    found: dict[Face, list[Expr]] = {}
    for placement in floor.placements:
        for face in sorted(lain_on_by(floor, placement)):
            found.setdefault(face, []).append(stands(placement))
    for move in floor.moves:
        for face in move.lain_on:
            first, part = move.crossed[0]
            found.setdefault(face, []).append(Is(Crossing(first).name, part))
    return {face: tuple(when) for face, when in found.items()}


def stands(placement: Placement) -> Expr:
    """A unit stands there; one part in its cell says it all."""
    return Is(Holding(placement.cells[0]).name, placement.parts[0])


def whereabouts(person: str) -> Condition:
    """The memory of where a person is."""
    return Condition(Subject(Sort.PERSON, person), Aspect.PLACE)


def position(sort: Sort, id: str) -> Condition:
    """The memory of a thing's position."""
    return Condition(Subject(sort, id), Aspect.POSITION)


def covered(face: Face) -> Fact:
    """That a unit is over the face."""
    return Fact(Subject(Sort.FACE, face.id), "covered")
