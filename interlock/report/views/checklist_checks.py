"""The checks behind the parts of a checklist: what is printed, and what is audited, of one and the same thing."""

from __future__ import annotations

from collections.abc import Iterator

from interlock.diagnostics.frozen import frozen
from interlock.diagnostics.said import say, say_many
from interlock.hold.compile.world import Thing
from interlock.hold.floor import Placement
from interlock.kernel.expressions import TRUE
from interlock.report.views.instructions import DOOR_FACTS, InstructionWriter, the
from interlock.report.views.kept_limits import limit_checks
from interlock.report.views.wording import listed, sentence
from interlock.study.checklist.making import Leg


@frozen
class Check:
    """`text` is what people read beside a box, `fact` the same as an expression, which the audited procedure checks."""

    text: str
    fact: str


def checks_of(writer: InstructionWriter, leg: Leg, following: Leg | None) -> Iterator[Check]:
    """What to look at behind the steps of a part, and before those of the one that follows."""
    aim, end = leg.aim, leg.end
    hold, things = writer.compiled.hold, writer.compiled.world.things
    for unit in aim.units:
        if aim.what == "load":
            yield _standing(writer, leg, unit)
            yield from _locking(writer, leg, unit)
        else:
            text = say_many("{where} is empty", "{where} are empty", len(unit.cells), where=writer.where(unit))
            yield _sure(text, _all(f"{cell} is empty" for cell in unit.cells))
    for id in aim.doors:
        true = writer.so(id, DOOR_FACTS, end)
        if true:
            told = say("{name} is {what}", name=the(things[id].phrase), what=listed([say(word) for word in true]))
            yield _sure(told, _all(f"{id} is {w}" for w in true))
    if aim.what == "shut":
        power = [circuit.id for circuit in hold.circuits if circuit.use == "power"]
        if power and not any(writer.so(id, ("on",), end) for id in power):
            yield _sure(say("all power circuits of the hold are off"), _all(f"{id} is off" for id in power))
    if aim.what == "reach":
        yield _sure(say("this is so: {text}", text=aim.text), aim.text)
    for limit, kept in limit_checks(writer, leg, following):
        yield _sure(limit, kept)


def _sure(text: str, fact: str) -> Check:
    """As ASD-STE100 has it, a check is an instruction to make sure."""
    return Check(sentence(say("make sure that {text}", text=text)), fact)


def holds_unit(placement: Placement) -> str:
    """Every bay of it, as an expression: with one alone a unit that lies over two could still be on its way."""
    return _all(f"{cell} is {placement.kind}" for cell in placement.cells)


def _standing(writer: InstructionWriter, leg: Leg, unit: Placement) -> Check:
    secured = all(writer.so(cell, ("secured",), leg.end) for cell in unit.cells)
    text = say("{standing}, secured" if secured else "{standing}, not yet secured", standing=writer.standing(unit))
    if secured:
        return _sure(text, _all((holds_unit(unit), *(f"{cell} is secured" for cell in unit.cells))))
    loose = " or ".join(f"{cell} is not secured" for cell in unit.cells)
    return _sure(text, f"{holds_unit(unit)} and ({loose})")


def _locking(writer: InstructionWriter, leg: Leg, unit: Placement) -> Iterator[Check]:
    """The devices beside the unit that people work by hand and that are in their locking positions."""
    devices = {
        device.id: device.phrase
        for cell in unit.cells
        for device in _devices(writer, cell)
        if writer.truth(device.states["locking"], leg.end) and device.states["hand_worked"] == TRUE
    }
    if devices:
        names = listed([the(name) for name in devices.values()])
        text = say_many(
            "{names} is in the locking position", "{names} are in the locking position", len(devices), names=names
        )
        yield _sure(text, _all(f"{id} is locking" for id in devices))


def _devices(writer: InstructionWriter, cell: str) -> tuple[Thing, ...]:
    world = writer.compiled.world
    devices = world.part(world.things[cell], "devices")
    return (devices,) if isinstance(devices, Thing) else devices


def _all(facts: Iterator[str] | tuple[str, ...]) -> str:
    return " and ".join(facts)
