"""Everything that can come to be seen on a plan, each with the expression that is true while it is seen."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from itertools import product
from typing import Protocol

from interlock.diagnostics.frozen import frozen
from interlock.hold.compile.compiler import CompiledHold
from interlock.hold.floor import Move, Placement
from interlock.hold.kinds import DEVICE_KINDS
from interlock.hold.language.model import Device, Direction, Doorway
from interlock.hold.origin import (
    Aspect,
    Condition,
    Failure,
    Sort,
    Subject,
    crossing,
    running,
    standing,
)
from interlock.kernel.expressions import Expr, Is, Ref, Value, conj
from interlock.kernel.machine import Machine


@frozen
class DeviceSeen:
    """A device in one of its states."""

    device: Device
    state: str
    when: Expr


@frozen
class DoorSeen:
    """A door as its facts are: position, then latch and lock where it has them."""

    door: Doorway
    facts: tuple[str, ...]
    when: Expr


@frozen
class UnitSeen:
    """A unit at rest, or on its way."""

    unit: Placement | Move
    when: Expr


@frozen
class RunSeen:
    """The drive under a bay runs that way."""

    bay: str
    way: Direction
    when: Expr


@frozen
class PersonSeen:
    """A person is in a bay."""

    person: str
    bay: str
    when: Expr


@frozen
class FailureSeen:
    """A device has failed in some way."""

    device: str
    when: Expr


class _Seen(Protocol):
    @property
    def when(self) -> Expr:
        """What is true while it is seen."""


@frozen
class Appearances:
    """All of them, in the order of the description."""

    devices: tuple[DeviceSeen, ...]
    doors: tuple[DoorSeen, ...]
    units: tuple[UnitSeen, ...]
    runs: tuple[RunSeen, ...]
    people: tuple[PersonSeen, ...]
    failures: tuple[FailureSeen, ...]

    @property
    def expressions(self) -> Iterator[Expr]:
        """When each of them is seen."""
        groups: tuple[Iterable[_Seen], ...] = (
            self.devices,
            self.doors,
            self.units,
            self.runs,
            self.people,
            self.failures,
        )
        for group in groups:
            yield from (one.when for one in group)


def appearances_of(compiled: CompiledHold, machine: Machine) -> Appearances:
    """What can be seen on the plan of the hold; expressions are over `machine`, which has the hold's names."""
    return Appearances(
        tuple(_devices(compiled)),
        tuple(_doors(compiled, machine)),
        tuple(_units(compiled)),
        tuple(_runs(compiled, machine)),
        tuple(_people(compiled)),
        tuple(_failures(compiled)),
    )


def _devices(compiled: CompiledHold) -> Iterator[DeviceSeen]:
    for device in compiled.hold.devices:
        states = compiled.world.things[device.id].states
        for state in DEVICE_KINDS[device.kind].states:
            yield DeviceSeen(device, state, states[state])


def _doors(compiled: CompiledHold, machine: Machine) -> Iterator[DoorSeen]:
    for door in compiled.hold.doorways:
        states = compiled.world.things[door.id].states
        choices = [[(position, states[position]) for position in ("closed", "moving", "open")]]
        for aspect in (Aspect.LATCH, Aspect.LOCK):
            name = Condition(Subject(Sort.DOOR, door.id), aspect).name
            if name in machine.domains:
                choices.append([(str(value), Is(name, value)) for value in machine.domains[name]])
        for chosen in product(*choices):
            yield DoorSeen(door, tuple(fact for fact, _ in chosen), conj(*(when for _, when in chosen)))


def _units(compiled: CompiledHold) -> Iterator[UnitSeen]:
    for placement in compiled.floor.placements:
        yield UnitSeen(placement, _all(standing(placement)))
    passages: dict[str, Move] = {}
    for move in compiled.floor.moves:
        passages.setdefault(move.passage, move)
    for move in passages.values():
        yield UnitSeen(move, _all(crossing(move)))


def _all(values: dict[str, Value]) -> Expr:
    return conj(*(Is(name, value) for name, value in values.items()))


def _runs(compiled: CompiledHold, machine: Machine) -> Iterator[RunSeen]:
    for bay in compiled.floor.bays:
        for way in Direction:
            name = running(bay, way).name
            if name in machine.definitions:
                yield RunSeen(bay, way, Ref(name))


def _people(compiled: CompiledHold) -> Iterator[PersonSeen]:
    places = {place.id: place for place in compiled.hold.places}
    for person in compiled.hold.people:
        name = Condition(Subject(Sort.PERSON, person.id), Aspect.PLACE).name
        for id in person.places:
            bay = places[id].bay
            if bay is not None and bay in compiled.floor.cells:
                yield PersonSeen(person.id, bay, Is(name, id))


def _failures(compiled: CompiledHold) -> Iterator[FailureSeen]:
    devices = {device.id for device in compiled.hold.devices}
    for memory in compiled.origins.variables.values():
        if isinstance(memory, Failure) and memory.subject.id in devices:
            yield FailureSeen(memory.subject.id, Is(memory.name, True))
