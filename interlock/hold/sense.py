"""What a description must not say although every name in it resolves: faults of sense, told when it is loaded.

What does not fit within one record, reading finds already (`record_rules`); such a hold never comes here.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace

from interlock.diagnostics.nearest import nearest_name
from interlock.diagnostics.said import linked, say
from interlock.diagnostics.spans import Diagnostic, Span
from interlock.hold.failing import failing_items
from interlock.hold.floor import Face, Floor, Placement, bays_reached, lay_out, parts_of
from interlock.hold.kinds import DEVICE_KINDS, RELAY
from interlock.hold.language.model import Device, Direction, Hold, Situation, SomeFailure

MOST_NAMED = 8
"""Ids that one message lists."""


def faults_of_sense(hold: Hold) -> tuple[Diagnostic, ...]:
    """Every fault of sense in a description."""
    floor = lay_out(hold)
    faults = [*faults_of_items(hold), *_controls(hold), *_failures(hold)]
    faults += [fault for situation in hold.situations for fault in faults_of_start(hold, situation)]
    faults += [*_sills(hold, floor), *_unreached(hold, floor)]
    return tuple(dict.fromkeys(faults))


def faults_of_items(hold: Hold) -> tuple[Diagnostic, ...]:
    """Those that can be told of single items, whatever else the description may say."""
    return (*_devices(hold), *_doors(hold), *_parts(hold))


def faults_of_start(hold: Hold, situation: Situation) -> tuple[Diagnostic, ...]:
    """What cannot be of a way to start."""
    return (*_starts(hold, situation), *_loads(hold, lay_out(hold), situation))


def _devices(hold: Hold) -> Iterator[Diagnostic]:
    """Devices of one repetition with which the same is wrong are named together."""
    found: dict[Diagnostic, list[str]] = {}
    for device in hold.devices:
        for fault in _device(device):
            found.setdefault(fault, []).append(device.id)
    for fault, ids in found.items():
        yield replace(fault, message=_naming(fault.message, ids))


_IDS = "{}"
"""Stands for the ids of the devices that a message is about."""


def _naming(message: str, ids: Sequence[str]) -> str:
    """The message with the ids filled in."""
    named = _named(ids)
    each = "each of " if ids[1:] and message.startswith(_IDS) else ""
    return f"{each}{message.replace(_IDS, named)}"


def _named(ids: Sequence[str]) -> str:
    """The ids, the first of many."""
    named = ", ".join(ids[:MOST_NAMED])
    return (
        named if len(ids) <= MOST_NAMED else say("{words} and {number} more", words=named, number=len(ids) - MOST_NAMED)
    )


def _no_such(code: str, span: Span, message: str, word: str, known: Sequence[str], otherwise: str = "") -> Diagnostic:
    """A word that is none of those known; `otherwise` is what is expected where none is."""
    expected = "one of " + ", ".join(known) if known else otherwise
    return Diagnostic(code, span, message, expected, nearest_name(word, known))


def _device(device: Device) -> Iterator[Diagnostic]:
    kind = DEVICE_KINDS[device.kind]
    if not device.stops and not device.restrains:
        said = f"{_IDS} stops no motion and restrains no axis, so it does nothing"
        yield Diagnostic("device-stops-nothing", device.span, said, "directions in `stops`, axes in `restrains`")
    for direction in device.stops:
        if direction in device.gives_way:
            said = f"{_IDS} is said to stop motion {direction} and to give way to it"
            expected = "each direction in `stops` or in `gives_way`, not in both"
            yield Diagnostic("gives-way-and-stops", device.span, said, expected)
    axes = {side.direction.axis for side in device.on}
    for direction in device.stops:
        if direction.axis not in axes:
            said = f"{_IDS} is said to stop motion {direction}, but no unit crosses its side {direction}"
            yield Diagnostic("device-stops-nothing", device.span, said, "directions across the side that it stands on")
    written = [("never-locking", device.locking, f"`locking` of {_IDS}")]
    written += [("start-out-of-range", state, f"`starts` of {_IDS}") for state in device.starts]
    written += [] if device.fixed is None else [("start-out-of-range", device.fixed, f"{_IDS} is fixed in it")]
    for code, state, where in written:
        if state not in kind.states:
            yield _no_such(code, device.span, f"a {kind.id} is never {state!r} ({where})", state, kind.states)


def _controls(hold: Hold) -> Iterator[Diagnostic]:
    worked = {device.handle for device in hold.devices}
    for control in hold.controls:
        states = control.behaviour.states
        for state in (*control.starts, *((control.fixed,) if control.fixed else ())):
            if state not in states:
                yield _no_such("start-out-of-range", control.span, f"{control.id} is never {state!r}", state, states)
        if control.kind == "self-resetting handle" and control.id not in worked:
            said = f"no lock is worked by the handle {control.id}"
            expected = f"`handle: {control.id}` at one lock or more"
            yield Diagnostic("handle-works-nothing", control.span, said, expected)


def _doors(hold: Hold) -> Iterator[Diagnostic]:
    devices = {device.id: device for device in hold.devices}
    for door in hold.doorways:
        for obstacle in door.path:
            states = DEVICE_KINDS[devices[obstacle.device].kind].states if obstacle.device in devices else ()
            if states and obstacle.state not in states:
                said = f"{obstacle.device}, in the way of {door.id}, is never {obstacle.state!r}"
                yield _no_such("unknown-state", obstacle.span, said, obstacle.state, states)


def _failures(hold: Hold) -> Iterator[Diagnostic]:
    # which contacts there are is known when everything is named
    causes = (one for cause in hold.common_causes for one in cause.failures)
    written: list[SomeFailure] = [*hold.failures, *hold.excluded_failures, *causes]
    written = [one for one in written if one.contact is None]
    if not written:
        return
    modes: dict[str, list[str]] = {}
    for item in failing_items(hold):
        modes.setdefault(item.subject.id, []).extend(failing.mode for failing in item.failings)
    for failure in written:
        known = modes.get(failure.of, [])
        if failure.mode not in known:
            said = f"{failure.of} has no failure mode {failure.mode!r}"
            yield _no_such("unknown-failure", failure.span, said, failure.mode, known, "something that can fail")


def states_at_start(hold: Hold) -> Mapping[str, tuple[str, ...]]:
    """By id everything that can start in a state, with its states; bays with the kinds of unit."""
    states: dict[str, tuple[str, ...]] = {}
    for device in hold.devices:
        states[device.id] = DEVICE_KINDS[device.kind].states if device.fixed is None else (device.fixed,)
    for control in hold.controls:
        positions = control.behaviour.states
        states[control.id] = positions if control.fixed is None else (control.fixed,)
    for supply in hold.supplies:
        states[supply.id] = ("off", "on")
    for relay in hold.relays:
        states[relay.id] = RELAY.states
    for person in hold.people:
        states[person.id] = person.places
    for door in hold.doorways:
        latch = ("latched", "unlatched") if door.latch is not None else ()
        lock = ("locked", "unlocked") if door.lock is not None else ()
        states[door.id] = ("closed", "moving", "open", *latch, *lock)
    units = tuple(unit.id for unit in hold.units)
    return states | dict.fromkeys(hold.layout.bay_names.places, units)


def _starts(hold: Hold, situation: Situation) -> Iterator[Diagnostic]:
    states = states_at_start(hold)
    for id, state, span in situation.sets:
        known = states.get(id, ())
        if state not in known:
            otherwise = f"something that can start in a state; {id} has none"
            yield _no_such("start-out-of-range", span, f"{id} is never {state!r}", state, known, otherwise)


def _loads(hold: Hold, floor: Floor, situation: Situation) -> Iterator[Diagnostic]:
    """Units that a situation puts where they cannot stand, or where another stands already."""
    standing = {(p.cells[0], p.kind): p for p in floor.placements}
    units = {unit.id for unit in hold.units}
    taken: dict[str, Placement] = {}
    for bay, kind, span in situation.sets:
        if bay not in floor.bays or kind not in units:
            continue
        placement = standing.get((bay, kind))
        if placement is None or not floor.is_inside(placement):
            said = f"no {kind} can stand with its forward left part in bay {bay}"
            expected = "a bay from which on the whole unit has room, and which may hold its kind"
            yield Diagnostic("start-out-of-range", span, said, expected)
            continue
        other = next((taken[cell] for cell in placement.cells if cell in taken), None)
        if other is not None:
            said = f"a {kind} in bay {bay} would stand where the {other.kind} in bay {other.cells[0]} stands"
            yield Diagnostic("start-out-of-range", span, said, "bays that no other unit takes")
        taken.update(dict.fromkeys(placement.cells, placement))


def _sills(hold: Hold, floor: Floor) -> Iterator[Diagnostic]:
    """Doors that nothing passes: the side that they are said to close leads to a bay, or is another door's already."""
    outside = {(cell.door, cell.bay) for cell in floor.cells.values()}
    for door in hold.doorways:
        for bay in door.bays:
            if bay in floor.bays and (door.id, bay) not in outside:
                (beyond, *_) = floor.neighbours(bay, door.side)
                other = floor.cells[beyond].door
                lies = f"where bay {beyond} lies" if other is None else f"which {other} closes"
                said = f"{door.id} is said to close the {door.side} side of bay {bay}, {lies}"
                expected = "a side of the bay at which the hold ends, and one door there"
                yield Diagnostic("door-closes-nothing", door.span, said, expected)


def _unreached(hold: Hold, floor: Floor) -> Iterator[Diagnostic]:
    reached = bays_reached(floor)
    missing = [bay for bay in floor.bays if bay not in reached]
    if missing and hold.units and hold.doorways:
        said = f"no unit can come to {', '.join(missing)} from any doorway, whatever the latches do"
        expected = "a way over ball mat and rollers from a sill to every bay, for some kind of unit it may hold"
        yield Diagnostic("unreachable-bay", hold.layout.span, said, expected)


def doubts_of(hold: Hold, floor: Floor) -> tuple[Diagnostic, ...]:
    """What is doubtful in a description that can be used all the same, in the order of the file.

    What a modification changed is doubted there.
    """
    # what a modification says of a thing is where to look, not how the thing was before
    changed = {change.object: change.span for change in hold.changes if change.verb != "remove"}
    found = (*_passed_over(hold, floor, changed), *_named_alike(hold, changed))
    return tuple(sorted(found, key=lambda d: (d.span.file, d.span.line, d.span.column, d.code)))


def _passed_over(hold: Hold, floor: Floor, changed: Mapping[str, Span]) -> Iterator[Diagnostic]:
    """Devices of one repetition for which the same is doubtful are named together."""
    crossing: dict[Face, set[Direction]] = {}
    for move in floor.moves:
        for face, _ in move.crossed:
            crossing.setdefault(face, set()).add(move.direction)
    found: dict[tuple[Span, tuple[Direction, ...]], list[str]] = {}
    for device in hold.devices:
        standing = DEVICE_KINDS[device.kind].standing
        if not standing or (device.fixed is not None and device.fixed not in standing):
            continue
        faces = (face for side in device.on for face in floor.faces(side.bay, side.direction))
        crossed = {way for face in faces for way in crossing.get(face, ())}
        open_ways = [way for way in Direction if way in crossed - {*device.stops, *device.gives_way}]
        if open_ways:
            span = changed.get(device.id, device.span)
            found.setdefault((span, tuple(open_ways)), []).append(device.id)
    for (span, ways), ids in found.items():
        said = say(
            "{devices} neither stops a unit that moves {ways} nor gives way to it: the unit passes over, whether it is "
            "raised or not",
            devices=say("each of {devices}", devices=_named(ids)) if ids[1:] else ids[0],
            ways=linked(ways, "{first} or {last}"),
        )
        expected = f"{' and '.join(ways)} in `stops` or in `gives_way`, where a unit would strike it"
        yield Diagnostic("passed-over-while-raised", span, said, expected)


def _named_alike(hold: Hold, changed: Mapping[str, Span]) -> Iterator[Diagnostic]:
    """Things that people call the same: what is said of one may be taken for the other."""
    listed = (hold.units, hold.doorways, hold.devices, hold.controls, hold.supplies, hold.relays, hold.zones)
    ids: dict[str, list[tuple[str, Span]]] = {}
    for things in listed:
        for thing in things:
            ids.setdefault(thing.name.casefold(), []).append((thing.id, changed.get(thing.id, thing.span)))
    alike: dict[tuple[Span, ...], list[str]] = {}
    for found in ids.values():
        if len(found) > 1:
            # two repetitions with the same names are told once
            alike.setdefault(tuple(span for _, span in found), []).append(linked([id for id, _ in found]))
    for spans, pairs in alike.items():
        said = say("{things} have the same name, so that reports do not tell them apart", things=_named(pairs))
        yield Diagnostic("named-alike", spans[-1], said, "another `name` for each")


def _parts(hold: Hold) -> Iterator[Diagnostic]:
    """Two kinds of unit must not share the name of a part: one could not be told from the other."""
    owner: dict[str, str] = {}
    for unit in hold.units:
        for part in (part.id for part in parts_of(unit)):
            if part in owner:
                said = f"{part!r} names a part of {owner[part]} and of {unit.id}"
                expected = (
                    "a name that is not another kind's with `_left`, `_right`, `_fore`, `_aft` or `_middle` behind it"
                )
                yield Diagnostic("name-taken", unit.span, said, expected)
            owner.setdefault(part, unit.id)
