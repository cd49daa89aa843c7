"""What a description contains, as it is told: for whoever has to check it against the equipment."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from interlock.diagnostics.frozen import frozen
from interlock.hold.compile.compiler import CompiledHold
from interlock.hold.language.cross_rules import inwards_of
from interlock.hold.language.directions import in_and_out
from interlock.hold.language.model import Change, Device, Direction, DoorStep, Doorway, Hold, Named, Zone
from interlock.hold.language.printer import print_syntax
from interlock.hold.language.syntax import Syntax, Truth
from interlock.report.views.assumptions import assumptions_of
from interlock.report.views.proof import counts_of
from interlock.report.views.requirements import sentence_of_all
from interlock.report.views.rows import Row
from interlock.report.views.tones import Tone
from interlock.report.views.wording import count_of, listed, named, sentence


@frozen
class Entry:
    """One thing, or several that are alike, and what more is to be said of it; details may have no label."""

    text: str
    details: tuple[Row, ...] = ()


@frozen
class DescriptionView:
    """Everything that a description says: `floor` beside its picture, all else in titled sections, none empty."""

    title: str
    about: str
    head: tuple[Row, ...]
    compiled: CompiledHold
    floor: tuple[Row, ...]
    sections: tuple[tuple[str, tuple[Entry, ...]], ...]
    assumptions: tuple[str, ...]


def description_view(label: str, compiled: CompiledHold) -> DescriptionView:
    """What is told of the description; `label` is what the reader calls it."""
    hold, machine = compiled.hold, compiled.machine
    size = f"{count_of(len(machine.variables), 'variable')}, {count_of(len(machine.rules), 'possible step')}"
    head = Row("description:", label), Row("contains:", counts_of(compiled)), Row("as a state machine:", size)
    sections: list[tuple[str, Iterable[Entry]]] = [
        ("Doorways", (Entry(_door_text(door), tuple(_door(door))) for door in hold.doorways)),
        ("Devices", _devices(hold.devices)),
        ("Controls and supplies", _controls(hold)),
        ("Circuits and relays, as written", _circuits(hold)),
        ("Sensors", (Entry(f"{_about(one)} reads {print_syntax(one.reads)}") for one in hold.sensors)),
        ("Drive zones", (Entry(_zone_text(zone), tuple(_zone(zone))) for zone in hold.zones)),
        ("Groups", (Entry(f"{one.id}: {', '.join(one.members) or 'nothing'}") for one in hold.groups)),
        ("People", _people(hold)),
        ("Failures that may strike", _failures(hold)),
        ("Situations to start from", _situations(hold)),
        ("Modifications carried out", map(_change, hold.changes)),
        ("Requirements of its own", _requirements(compiled)),
    ]
    told = ((title, tuple(entries)) for title, entries in sections)
    return DescriptionView(
        hold.title,
        hold.about,
        head,
        compiled,
        tuple(_floor(hold)),
        tuple((title, entries) for title, entries in told if entries),
        assumptions_of(compiled),
    )


def _words(directions: Iterable[Direction]) -> str:
    return listed([direction.value for direction in directions])


def _floor(hold: Hold) -> Iterator[Row]:
    layout = hold.layout
    for unit in hold.units:
        size = f"{unit.across} across, {unit.along} along"
        mass = "" if unit.max_gross_kg is None else f", up to {unit.max_gross_kg:g} kg"
        yield Row("unit", f"{named(unit.id, unit.name)} ({size}{mass})")
    if layout.bay_length_mm is not None and layout.bay_width_mm is not None:
        yield Row("each bay:", f"{layout.bay_length_mm:g} mm long, {layout.bay_width_mm:g} mm wide")
    for rule in layout.rules:
        text = f"only {listed(rule.kinds)}" if rule.kinds else "no bay"
        yield Row(f"{', '.join(rule.bays)}:", text)
    for bay in layout.centred:
        yield Row(f"{bay.row}{bay.lane}:", f"one bay in the middle of the lanes {listed(bay.between)}")
    if layout.ball_mat:
        yield Row("ball mat (both ways):", ", ".join(layout.ball_mat))
    yield Row("secured means restrained:", listed(layout.secured))


def _door_text(door: Doorway) -> str:
    return f"{named(door.id, door.name)}, {door.side} of {', '.join(door.bays)}, moved by {door.moved_by}"


def _door(door: Doorway) -> Iterator[Row]:
    yield Row("opens", _while(door.opens))
    yield Row("closes", _while(door.closes))
    for word, step in (("latch", door.latch), ("unlatch", door.unlatch), ("lock", door.lock), ("unlock", door.unlock)):
        if step is not None:
            yield Row(f"{word}:", _door_step(step))
    if door.latch is None:
        yield Row("", "no latch")
    if door.lock is None:
        yield Row("", "no lock")
    if door.path:
        yield Row("in its way:", ", ".join(f"{one.device} {one.state}" for one in door.path))
    if door.starts:
        yield Row("at the start:", ", ".join(door.starts))


def _door_step(step: DoorStep) -> str:
    return f"by {step.by}, {_while(step.when)}"


def _while(syntax: Syntax) -> str:
    if isinstance(syntax, Truth):
        return "at any time" if syntax.value else "never"
    return f"while {print_syntax(syntax)}"


def _devices(devices: Sequence[Device]) -> Iterator[Entry]:
    """Devices that differ only in where they stand are told together."""
    alike: dict[str, list[Device]] = {}
    for device in devices:
        alike.setdefault(_device_text(device), []).append(device)
    for text, members in alike.items():
        places = [f"{d.id} ({', '.join(f'{s.bay}.{s.direction}' for s in d.on)})" for d in members]
        deferred = [
            Row("", f"{one.id} deferred: {one.deferred.because}; limit: {print_syntax(one.deferred.limit)}", Tone.OPEN)
            for one in members
            if one.deferred is not None
        ]
        yield Entry(f"{text}: {len(members)}", (Row("", ", ".join(places)), *deferred))


def _device_text(device: Device) -> str:
    parts = [device.kind]
    parts.append(f"stops {_words(device.stops)}" if device.stops else "stops nothing")
    if device.gives_way:
        parts.append(f"gives way {_words(device.gives_way)}")
    if device.restrains:
        parts.append(f"restrains {listed(device.restrains)} while {device.locking.replace('_', ' ')}")
    else:
        parts.append("restrains nothing")
    if device.circuit is not None:
        parts.append(f"worked by {print_syntax(device.circuit)}")
    if device.handle is not None:
        parts.append(f"worked by handle {device.handle}")
    if device.lags:
        parts.append("may respond late")
    if device.fixed is not None:
        parts.append(f"FIXED {device.fixed}")
    elif device.starts and device.starts != ("fixed",):
        parts.append(f"starts {listed(device.starts, 'or')}".replace("_", " "))
    return "; ".join(parts)


def _controls(hold: Hold) -> Iterator[Entry]:
    for control in hold.controls:
        parts = [control.kind]
        if control.positions:
            parts[0] += f" ({', '.join(control.positions)})"
        if control.returns is not None:
            parts.append(f"springs back to {control.returns}")
        if control.can_be_pressed:
            parts.append("can be pressed as well")
        if control.marks:
            parts.append("marked " + ", ".join(f"{listed(at, 'or')} for {way}" for way, at in control.marks))
        if (inwards := inwards_of(control, hold.layout, hold.doorways)) is not None:
            by = f"door {control.door}" if control.lane is None else f"lane {control.lane}"
            ways = in_and_out(inwards)
            parts.append(f"by {by} " + ", ".join(f"{at} is {ways[at]}" for at in control.positions if at in ways))
        if control.behind is not None:
            parts.append(f"behind {control.behind}")
        if control.fixed is not None:
            parts.append(f"FIXED {control.fixed}")
        elif control.starts:
            parts.append(f"starts {listed(control.starts, 'or')}")
        yield Entry(f"{named(control.id, control.name)}: {', '.join(parts)}")
    for station in hold.stations:
        text = f"{named(station.id, station.name)}: station with {', '.join(station.controls) or 'no control'}"
        yield Entry(f"{text}; in charge {_while(station.owns)}")
    for supply in hold.supplies:
        lost = "may be lost and come back" if supply.may_be_lost else "never changes"
        if supply.needs is not None:
            lasts = "may last for a while without" if supply.stored else "goes off at once without"
            lost = f"comes on only while {print_syntax(supply.needs)}, {lasts}"
            lost += ", may be lost besides" if supply.may_be_lost else ""
        yield Entry(f"{named(supply.id, supply.name)}: supply, {lost}, starts {listed(supply.starts, 'or') or 'off'}")


def _circuits(hold: Hold) -> Iterator[Entry]:
    for circuit in hold.circuits:
        yield Entry(f"{_about(circuit, circuit.use)} = {print_syntax(circuit.definition)}")
    for relay in hold.relays:
        drops = Row("released, which wins, by", print_syntax(relay.drops))
        yield Entry(f"{_about(relay, 'relay')} energised by {print_syntax(relay.sets)}", (drops,))


def _about(one: Named, what: str = "") -> str:
    """Its id, and in brackets what it is and what it is called where that is not its id."""
    said = "; ".join(filter(None, (what, "" if one.name == one.id else one.name)))
    return f"{one.id} ({said})" if said else one.id


def _zone_text(zone: Zone) -> str:
    return f"{named(zone.id, zone.name)}: {', '.join(zone.bays)}; power: {print_syntax(zone.power)}"


def _zone(zone: Zone) -> Iterator[Row]:
    for command in zone.commands:
        station = f"{command.station}: " if command.station else ""
        only = f"under {', '.join(command.bays)} only: " if command.bays is not None else ""
        yield Row("commands:", station + only + _by_direction(command.runs))
    if zone.levers:
        yield Row("its levers:", ", ".join(zone.levers))
    if zone.inhibits:
        yield Row("inhibited", _by_direction(zone.inhibits))
    for section in zone.sections:
        yield Row(f"under {section.bay} inhibited", _by_direction(section.inhibits))


def _by_direction(pairs: Sequence[tuple[Direction, Syntax]]) -> str:
    return "; ".join(f"{direction} {_while(syntax)}" for direction, syntax in pairs)


def _people(hold: Hold) -> Iterator[Entry]:
    for place in hold.places:
        reach = f", reaches {', '.join(place.reaches)}" if place.reaches else ""
        bay = "" if place.bay is None or place.bay in place.name else f" (bay {place.bay})"
        yield Entry(f"{named(place.id, place.name)}{bay}{reach}")
    for person in hold.people:
        text = f"{named(person.id, person.name)}: {', '.join(person.places)}; comes and goes {_while(person.moves)}"
        yield Entry(text)


def _failures(hold: Hold) -> Iterator[Entry]:
    if hold.failures:
        yield Entry(", ".join(failure.label for failure in hold.failures))


def _situations(hold: Hold) -> Iterator[Entry]:
    for situation in hold.situations:
        sets = ", ".join(f"{id} {state}" for id, state, _ in situation.sets)
        yield Entry(f"{named(situation.id, situation.name)}: {sets}")


def _change(change: Change) -> Entry:
    return Entry(f"{change.verb} {change.object} ({change.span.file}, line {change.span.line})")


def _requirements(compiled: CompiledHold) -> Iterator[Entry]:
    numbers: dict[str, int] = {}
    for instance in compiled.instances:
        numbers[instance.origin.id] = numbers.get(instance.origin.id, 0) + 1
    for text in compiled.hold.requirements:
        yield Entry(f"{text.id} ({count_of(numbers.get(text.id, 0), 'instance')}): {sentence(sentence_of_all(text))}")
