"""What a description contains, as text: for whoever has to check it against the equipment."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from interlock.hold.compile.compiler import CompiledHold
from interlock.hold.language.model import Device, Direction, DoorStep, Doorway, Hold, Zone
from interlock.hold.language.printer import print_syntax
from interlock.hold.language.syntax import Syntax, Truth
from interlock.report.text.floor import floor_lines
from interlock.report.text.lines import BLANK, Line, Tone, flow, heading, labelled
from interlock.report.views.assumptions import CAUTIONS, assumptions_of
from interlock.report.views.proof import counts_of
from interlock.report.views.wording import count_of, listed, named, sentence


def description_lines(label: str, compiled: CompiledHold) -> tuple[Line, ...]:
    """Everything that the description says, section by section; empty sections are left out."""
    return tuple(_lines(label, compiled))


def _lines(label: str, compiled: CompiledHold) -> Iterator[Line]:
    hold = compiled.hold
    yield from flow(hold.title, tone=Tone.HEAD)
    yield from flow(hold.about, 2)
    yield from labelled("description:", label, 2)
    yield from labelled("contains:", counts_of(compiled), 2)
    machine = compiled.machine
    sizes = f"{count_of(len(machine.variables), 'variable')}, {count_of(len(machine.rules), 'possible step')}"
    yield from labelled("as a state machine:", sizes, 2)
    yield from heading("Floor")
    yield from floor_lines(compiled)
    yield BLANK
    yield from _floor_facts(hold)
    yield from _titled("Doorways", (line for door in hold.doorways for line in _door(door)))
    yield from _titled("Devices", _devices(hold.devices))
    yield from _titled("Controls and supplies", _controls(hold))
    yield from _titled("Circuits and relays, as written", _circuits(hold))
    yield from _titled("Sensors", _sensors(hold))
    yield from _titled("Drive zones", (line for zone in hold.zones for line in _zone(zone)))
    yield from _titled("Groups", _groups(hold))
    yield from _titled("People", _people(hold))
    yield from _titled("Failures that may strike", _failures(hold))
    yield from _titled("Situations to start from", _situations(hold))
    yield from _titled("Modifications carried out", _changes(hold))
    yield from _titled("Requirements of its own", _requirements(compiled))
    yield from _titled(
        "What a proof would assume", (line for text in assumptions_of(compiled) for line in flow(f"- {text}", 2, 2))
    )
    yield from _titled("Caution", (line for text in CAUTIONS for line in flow(text, 2)))


def _titled(title: str, lines: Iterable[Line]) -> Iterator[Line]:
    found = list(lines)
    if found:
        yield from heading(title)
        yield from found


def _words(directions: Iterable[Direction]) -> str:
    return listed([direction.value for direction in directions])


def _floor_facts(hold: Hold) -> Iterator[Line]:
    layout = hold.layout
    for unit in hold.units:
        size = f"{unit.across} across, {unit.along} along"
        mass = "" if unit.max_gross_kg is None else f", up to {unit.max_gross_kg:g} kg"
        yield from labelled("unit", f"{named(unit.id, unit.name)} ({size}{mass})", 2)
    if layout.bay_length_mm is not None and layout.bay_width_mm is not None:
        yield from labelled("each bay:", f"{layout.bay_length_mm:g} mm long, {layout.bay_width_mm:g} mm wide", 2)
    for rule in layout.rules:
        text = f"only {listed(rule.kinds)}" if rule.kinds else "no bay"
        yield from labelled(f"{', '.join(rule.bays)}:", text, 2)
    if layout.ball_mat:
        yield from labelled("ball mat (both ways):", ", ".join(layout.ball_mat), 2)
    yield from labelled("secured means restrained:", listed(layout.secured), 2)


def _door(door: Doorway) -> Iterator[Line]:
    yield from flow(
        f"{named(door.id, door.name)}, {door.side} of {', '.join(door.bays)}, moved by {door.moved_by}", 2, 4
    )
    yield from labelled("opens", _while(door.opens), 6)
    yield from labelled("closes", _while(door.closes), 6)
    for word, step in (("latch", door.latch), ("unlatch", door.unlatch), ("lock", door.lock), ("unlock", door.unlock)):
        if step is not None:
            yield from labelled(f"{word}:", _door_step(step), 6)
    if door.latch is None:
        yield from flow("no latch", 6)
    if door.lock is None:
        yield from flow("no lock", 6)
    if door.path:
        yield from labelled("in its way:", ", ".join(f"{one.device} {one.state}" for one in door.path), 6)
    if door.starts:
        yield from labelled("at the start:", ", ".join(door.starts), 6)


def _door_step(step: DoorStep) -> str:
    return f"by {step.by}, {_while(step.when)}"


def _while(syntax: Syntax) -> str:
    if isinstance(syntax, Truth):
        return "at any time" if syntax.value else "never"
    return f"while {print_syntax(syntax)}"


def _devices(devices: Sequence[Device]) -> Iterator[Line]:
    """Devices that differ only in where they stand are told together."""
    alike: dict[str, list[Device]] = {}
    for device in devices:
        alike.setdefault(_device_text(device), []).append(device)
    for text, members in alike.items():
        yield from flow(f"{text}: {len(members)}", 2, 4)
        places = [f"{d.id} ({', '.join(f'{s.bay}.{s.direction}' for s in d.on)})" for d in members]
        yield from flow(", ".join(places), 6)
        for device in members:
            if device.deferred is not None:
                text = f"{device.id} deferred: {device.deferred.because}; limit: {print_syntax(device.deferred.limit)}"
                yield from flow(text, 6, 2, Tone.OPEN)


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


def _controls(hold: Hold) -> Iterator[Line]:
    for control in hold.controls:
        parts = [control.kind]
        if control.positions:
            parts[0] += f" ({', '.join(control.positions)})"
        if control.marks:
            parts.append("marked " + ", ".join(f"{listed(at, 'or')} for {way}" for way, at in control.marks))
        if control.behind is not None:
            parts.append(f"behind {control.behind}")
        if control.fixed is not None:
            parts.append(f"FIXED {control.fixed}")
        elif control.starts:
            parts.append(f"starts {listed(control.starts, 'or')}")
        yield from flow(f"{named(control.id, control.name)}: {', '.join(parts)}", 2, 4)
    for station in hold.stations:
        text = f"{named(station.id, station.name)}: station with {', '.join(station.controls) or 'no control'}"
        yield from flow(f"{text}; in charge {_while(station.owns)}", 2, 4)
    for supply in hold.supplies:
        lost = "may be lost and come back" if supply.may_be_lost else "never changes"
        yield from flow(
            f"{named(supply.id, supply.name)}: supply, {lost}, starts {listed(supply.starts, 'or') or 'off'}", 2, 4
        )


def _circuits(hold: Hold) -> Iterator[Line]:
    for circuit in hold.circuits:
        about = circuit.use if circuit.name == circuit.id else f"{circuit.use}; {circuit.name}"
        yield from flow(f"{circuit.id} ({about}) = {print_syntax(circuit.definition)}", 2, 4)
    for relay in hold.relays:
        about = "relay" if relay.name == relay.id else f"relay; {relay.name}"
        yield from flow(f"{relay.id} ({about}) set by {print_syntax(relay.sets)}", 2, 4)
        yield from flow(f"dropped, which wins, by {print_syntax(relay.drops)}", 4, 2)


def _sensors(hold: Hold) -> Iterator[Line]:
    for sensor in hold.sensors:
        about = "" if sensor.name == sensor.id else f" ({sensor.name})"
        yield from flow(f"{sensor.id}{about} reads {print_syntax(sensor.reads)}", 2, 4)


def _zone(zone: Zone) -> Iterator[Line]:
    yield from flow(f"{named(zone.id, zone.name)}: {', '.join(zone.bays)}; power: {print_syntax(zone.power)}", 2, 4)
    for command in zone.commands:
        station = f"{command.station}: " if command.station else ""
        yield from labelled("commands:", station + _by_direction(command.runs), 6)
    if zone.levers:
        yield from labelled("its levers:", ", ".join(zone.levers), 6)
    if zone.inhibits:
        yield from labelled("inhibited", _by_direction(zone.inhibits), 6)
    for section in zone.sections:
        yield from labelled(f"under {section.bay} inhibited", _by_direction(section.inhibits), 6)


def _by_direction(pairs: Sequence[tuple[Direction, Syntax]]) -> str:
    return "; ".join(f"{direction} {_while(syntax)}" for direction, syntax in pairs)


def _groups(hold: Hold) -> Iterator[Line]:
    for group in hold.groups:
        yield from flow(f"{group.id}: {', '.join(group.members) or 'nothing'}", 2, 4)


def _people(hold: Hold) -> Iterator[Line]:
    for place in hold.places:
        reach = f", reaches {', '.join(place.reaches)}" if place.reaches else ""
        bay = "" if place.bay is None or place.bay in place.name else f" (bay {place.bay})"
        yield from flow(f"{named(place.id, place.name)}{bay}{reach}", 2, 4)
    for person in hold.people:
        text = f"{named(person.id, person.name)}: {', '.join(person.places)}; comes and goes {_while(person.moves)}"
        yield from flow(text, 2, 4)


def _failures(hold: Hold) -> Iterator[Line]:
    if hold.failures:
        yield from flow(", ".join(f"{failure.of}.{failure.mode}" for failure in hold.failures), 2)


def _situations(hold: Hold) -> Iterator[Line]:
    for situation in hold.situations:
        sets = ", ".join(f"{id} {state}" for id, state, _ in situation.sets)
        yield from flow(f"{named(situation.id, situation.name)}: {sets}", 2, 4)


def _changes(hold: Hold) -> Iterator[Line]:
    for change in hold.changes:
        yield from flow(f"{change.verb} {change.object} ({change.span.file}, line {change.span.line})", 2, 4)


def _requirements(compiled: CompiledHold) -> Iterator[Line]:
    numbers: dict[str, int] = {}
    for instance in compiled.instances:
        numbers[instance.origin.id] = numbers.get(instance.origin.id, 0) + 1
    for text in compiled.hold.requirements:
        yield from flow(f"{text.id} ({count_of(numbers.get(text.id, 0), 'instance')}): {sentence(text.text)}", 2, 4)
