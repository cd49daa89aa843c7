"""What people in and at a hold can see, hear or feel: indications, drives, doors, devices, springs of levers."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from interlock.hold.compile.compiler import CompiledHold
from interlock.hold.kinds import HELD
from interlock.hold.language.directions import DIRECTIONS
from interlock.hold.origin import running
from interlock.kernel.expressions import Const, Expr, Ref

_DOOR = ("open", "closed", "latched", "locked")


@dataclass(frozen=True, slots=True)
class Observable:
    """Something that is seen to be so or not: `about` is the id of the thing, `so` and `not_so` are sentences.

    `way` is the way in which a drive runs, where it is that: people keep clear of it.
    """

    about: str
    expr: Expr
    so: str
    not_so: str
    way: str = ""

    @property
    def is_motion(self) -> bool:
        """It is a drive that runs."""
        return bool(self.way)

    def said(self, value: bool) -> str:
        """What is seen."""
        return self.so if value else self.not_so


def observables_of(compiled: CompiledHold) -> tuple[Observable, ...]:
    """In the order of the description; what the description alone decides is left out.

    Whether a supply is on, a relay set or a sensor made is not seen; nor whether a device that stands would hold.
    """
    return tuple(one for one in _observables(compiled) if not isinstance(one.expr, Const))


def _observables(compiled: CompiledHold) -> Iterator[Observable]:
    things = compiled.world.things
    for circuit in compiled.hold.circuits:
        truth = things[circuit.id].truth
        if circuit.use == "indication" and truth is not None:
            yield Observable(circuit.id, truth, f"{circuit.name} is on", f"{circuit.name} is off")
    for bay in compiled.floor.bays:
        for way in DIRECTIONS:
            name = running(bay, way).name
            if name in compiled.machine.definitions:
                so, not_so = compiled.glossary.signals[name]
                yield Observable(bay, Ref(name), so, not_so, way=way)
    for door in compiled.hold.doorways:
        for word in _DOOR:
            if word in things[door.id].states:
                said = f"{things[door.id].phrase} is"
                yield Observable(door.id, things[door.id].states[word], f"{said} {word}", f"{said} not {word}")
    for device in compiled.hold.devices:
        states = things[device.id].states
        if "raised" in states:
            said = f"{things[device.id].phrase} is"
            yield Observable(device.id, states["raised"], f"{said} raised", f"{said} not raised")
    for control in compiled.hold.controls:
        if control.is_held:
            name = things[control.id].phrase
            so, not_so = f"{name} pushes back against the hand", f"{name} stays where it is without a hand"
            yield Observable(control.id, things[control.id].states[HELD], so, not_so)
    for bay in compiled.floor.bays:
        if "occupied" in things[bay].states:
            expr = things[bay].states["occupied"]
            yield Observable(bay, expr, f"a unit stands in bay {bay}", f"no unit stands in bay {bay}")
