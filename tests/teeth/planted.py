"""Holds with one thing wrong, planted at a random place: what a bench engineer might get wrong when he wires or rigs.

The flaw is put into the description as read, so that places in files stay those of the sound hold.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from random import Random
from typing import Any

from interlock.hold.kinds import DEVICE_KINDS
from interlock.hold.language.model import Deferral, Device, Direction, Hold
from interlock.hold.language.syntax import Fact, Negation, Syntax, Truth
from interlock.hold.origin import Commanded, HeldBack, Sort
from interlock.hold.wiring import Wire, contacts_in, rewired, wires_of, with_contact, without_contact


@dataclass(frozen=True, slots=True)
class Planted:
    """A flawed hold: `kind` of the flaw, the `guilty` id (of what is missing: the sides where it stood), in words."""

    kind: str
    guilty: tuple[str, ...]
    about: str
    hold: Hold


def plant(hold: Hold, seed: int) -> Planted | None:
    """One flaw in the hold; None where it has no place for the kind that was drawn."""
    draw = Random(seed)
    made = list(KINDS[draw.choice(sorted(KINDS))](hold, draw))
    return draw.choice(made) if made else None


def _guilty(wire: Wire) -> tuple[str, ...]:
    match wire.meaning:
        case HeldBack(zone, bay):
            return (bay, zone)
        case Commanded(zone):
            return (zone,)
    return (wire.meaning.subject.id,)


def _wired(hold: Hold, *sorts: Sort) -> list[Wire]:
    return [
        w for w in wires_of(hold) if (not sorts or w.meaning.subject.sort in sorts) and not isinstance(w.syntax, Truth)
    ]


def _bridge(hold: Hold, draw: Random) -> Iterator[Planted]:
    for wire in _wired(hold):
        if wire.meaning.subject.sort is Sort.SENSOR:
            continue
        for way, found in contacts_in(wire.syntax):
            flawed = rewired(hold, wire.meaning, without_contact(wire.syntax, way))
            yield Planted("contact bridged", _guilty(wire), f"{wire.meaning.name} without {_said(found)}", flawed)


def _invert(hold: Hold, draw: Random) -> Iterator[Planted]:
    for wire in _wired(hold):
        if wire.meaning.subject.sort is Sort.SENSOR:
            continue
        for way, found in contacts_in(wire.syntax):
            turned = found.arg if isinstance(found, Negation) else Negation(found, found.span)
            flawed = rewired(hold, wire.meaning, with_contact(wire.syntax, way, turned))
            yield Planted("contact inverted", _guilty(wire), f"{wire.meaning.name} with {_said(turned)}", flawed)


def _cross(hold: Hold, draw: Random) -> Iterator[Planted]:
    """A contact of another thing like it: the wrong wire of the loom."""
    things: dict[str, str] = {}
    for section in (hold.sensors, hold.circuits, hold.devices, hold.controls, hold.relays):
        for thing in section:
            things[thing.id] = type(thing).__name__ + str(getattr(thing, "kind", getattr(thing, "use", "")))
    reads = {s.id: s.reads.state for s in hold.sensors if isinstance(s.reads, Fact)}
    for wire in _wired(hold):
        if wire.meaning.subject.sort is Sort.SENSOR:
            continue
        for way, found in contacts_in(wire.syntax):
            fact = found.arg if isinstance(found, Negation) else found
            if not isinstance(fact, Fact):
                continue
            id, *rest = fact.subject.parts
            if rest or id not in things:
                continue
            others = [o for o in things if o != id and things[o] == things[id] and reads.get(o) == reads.get(id)]
            if fact.state is not None:
                by_id: dict[str, Any] = {one.id: one for one in hold.controls}
                others = [o for o in others if o not in by_id or fact.state in (*by_id[o].positions, "neutral", "off")]
                if id in by_id and fact.state not in by_id[id].positions and by_id[id].kind == "lever":
                    others = [o for o in others if by_id[o].kind == "lever"]
            if not others:
                continue
            other = draw.choice(others)
            swapped: Syntax = replace(fact, subject=replace(fact.subject, parts=(other,)))
            if isinstance(found, Negation):
                swapped = replace(found, arg=swapped)
            flawed = rewired(hold, wire.meaning, with_contact(wire.syntax, way, swapped))
            yield Planted("contact crossed", _guilty(wire), f"{wire.meaning.name}: {other} for {id}", flawed)


def _sensor(hold: Hold, draw: Random) -> Iterator[Planted]:
    for wire in _wired(hold, Sort.SENSOR):
        for value in (True, False):
            flawed = rewired(hold, wire.meaning, Truth(value, wire.span))
            yield Planted("sensor stuck", _guilty(wire), f"{wire.meaning.subject.id} reads {value}", flawed)
        flawed = rewired(hold, wire.meaning, Negation(wire.syntax, wire.span))
        yield Planted("sensor stuck", _guilty(wire), f"{wire.meaning.subject.id} reads the opposite", flawed)
        like = [
            w
            for w in _wired(hold, Sort.SENSOR)
            if w != wire
            and isinstance(w.syntax, Fact)
            and isinstance(wire.syntax, Fact)
            and w.syntax.state == wire.syntax.state
        ]
        if like:
            other = draw.choice(like)
            flawed = rewired(hold, wire.meaning, other.syntax)
            yield Planted(
                "sensor reads another", _guilty(wire), f"{_guilty(wire)} reads what {_guilty(other)} reads", flawed
            )


def _relay(hold: Hold, draw: Random) -> Iterator[Planted]:
    for wire in _wired(hold, Sort.RELAY):
        for value in (True, False):
            flawed = rewired(hold, wire.meaning, Truth(value, wire.span))
            yield Planted("relay", _guilty(wire), f"{wire.meaning.name} {value}", flawed)
        for way, found in contacts_in(wire.syntax):
            if way:
                flawed = rewired(hold, wire.meaning, without_contact(wire.syntax, way))
                yield Planted("relay", _guilty(wire), f"{wire.meaning.name} without {_said(found)}", flawed)


def _command(hold: Hold, draw: Random) -> Iterator[Planted]:
    """A command that comes from the control of another zone, or both ways exchanged."""
    wires = [w for w in _wired(hold, Sort.ZONE) if isinstance(w.meaning, Commanded)]
    for wire in wires:
        for other in wires:
            if other.syntax == wire.syntax or not isinstance(other.meaning, Commanded):
                continue
            flawed = rewired(hold, wire.meaning, other.syntax)
            about = f"{wire.meaning.name} by what commands {other.meaning.name}"
            yield Planted("command crossed", _guilty(wire), about, flawed)


def _devices(change: Callable[[Device, Random], Iterator[tuple[str, dict[str, Any]]]], kind: str) -> Any:
    def planted(hold: Hold, draw: Random) -> Iterator[Planted]:
        for device in hold.devices:
            for about, fields in change(device, draw):
                changed = tuple(replace(one, **fields) if one is device else one for one in hold.devices)
                yield Planted(kind, (device.id,), f"{device.id} {about}", replace(hold, devices=changed))

    return planted


def _stops(device: Device, draw: Random) -> Iterator[tuple[str, dict[str, Any]]]:
    if device.stops:
        yield "stops nothing", {"stops": ()}
        yield "stops the other way", {"stops": tuple(Direction(way).opposite for way in device.stops[:1])}
    if len(device.stops) > 1:
        for way in device.stops:
            yield f"does not stop {way}", {"stops": tuple(one for one in device.stops if one != way)}


def _restrains(device: Device, draw: Random) -> Iterator[tuple[str, dict[str, Any]]]:
    for axis in device.restrains:
        yield f"does not restrain {axis}", {"restrains": tuple(one for one in device.restrains if one != axis)}


def _locking(device: Device, draw: Random) -> Iterator[tuple[str, dict[str, Any]]]:
    for state in DEVICE_KINDS[device.kind].states:
        if state != device.locking:
            yield f"locks {state}", {"locking": state}


def _fixed(device: Device, draw: Random) -> Iterator[tuple[str, dict[str, Any]]]:
    kind = DEVICE_KINDS[device.kind]
    if len(kind.states) > 1:
        for state in kind.states:
            yield f"fixed {state}", {"fixed": state}


def _deferred(device: Device, draw: Random) -> Iterator[tuple[str, dict[str, Any]]]:
    kind = DEVICE_KINDS[device.kind]
    if len(kind.states) > 1:
        state = next((one for one in kind.states if one not in kind.standing), kind.states[0])
        limit = Truth(True, device.span)
        deferral = Deferral(because="spring broken", limit=limit, span=device.span)
        yield f"deferred {state}", {"fixed": state, "deferred": deferral}


def _kind(device: Device, draw: Random) -> Iterator[tuple[str, dict[str, Any]]]:
    mine = DEVICE_KINDS[device.kind]
    for other in DEVICE_KINDS.values():
        if other is not mine and other.purpose is mine.purpose and device.locking in other.states:
            if other.working == "power" and device.circuit is None:
                continue
            if other.working == "handle" and device.handle is None:
                continue
            starts = tuple(state for state in device.starts if state in other.states) or (other.initial,)
            yield f"is a {other.id}", {"kind": other.id, "starts": starts}


def _gone(hold: Hold, draw: Random) -> Iterator[Planted]:
    for device in hold.devices:
        changed = tuple(one for one in hold.devices if one is not device)
        sides = tuple(f"the {side.direction} side of {side.bay}" for side in device.on)
        yield Planted("device missing", sides, f"without {device.id}", replace(hold, devices=changed))


def _door(hold: Hold, draw: Random) -> Iterator[Planted]:
    for door in hold.doorways:
        if door.path:
            changed = tuple(replace(d, path=()) if d is door else d for d in hold.doorways)
            yield Planted("door", (door.id,), f"{door.id} without path", replace(hold, doorways=changed))


def _said(syntax: Syntax) -> str:
    from interlock.hold.language.printer import print_syntax

    return print_syntax(syntax)


KINDS: dict[str, Callable[[Hold, Random], Iterator[Planted]]] = {
    "contact bridged": _bridge,
    "contact inverted": _invert,
    "contact crossed": _cross,
    "sensor": _sensor,
    "relay": _relay,
    "command crossed": _command,
    "device stops": _devices(_stops, "device stops"),
    "device restrains": _devices(_restrains, "device restrains"),
    "device locking": _devices(_locking, "device locking"),
    "device fixed": _devices(_fixed, "device fixed"),
    "device deferred": _devices(_deferred, "device deferred"),
    "device kind": _devices(_kind, "device kind"),
    "device missing": _gone,
}
