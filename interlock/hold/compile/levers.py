"""Which levers command a drive zone one way, and held to which side they do."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from interlock.hold.language.model import Command, Control, Direction, Hold, Zone
from interlock.hold.language.syntax import Chain, Fact, Negation, Path, Quantified, Syntax

_DIRECTIONS = frozenset(direction.value for direction in Direction)
_Names = Mapping[str, Sequence[str]]


def levers_of(hold: Hold, zone: Zone) -> tuple[str, ...]:
    """The levers that the zone lists, or, where it lists none, all that its commands name; sorted."""
    if zone.levers:
        return tuple(sorted(set(zone.levers)))
    return tuple(sorted({id for command in zone.commands for _, syntax in command.runs for id in _named(hold, syntax)}))


def commanding(hold: Hold, zone: Zone, command: Command, direction: Direction) -> tuple[tuple[str, str], ...]:
    """The (lever, position) pairs by which a hand at the command's station asks the zone to run that way; sorted.

    Not whatever contact is wired to the command: a lever counts only where it belongs to the station and to the
    zone.  One that has the name of a direction on it counts in the position of this direction's name alone.  Any
    other counts in the positions that the command names, or, where it names none, away from neutral.
    """
    named = _named(hold, dict(command.runs)[direction])
    at_station = next((set(station.controls) for station in hold.stations if station.id == command.station), None)
    found = []
    for control in _levers(hold):
        if control.id in (zone.levers or named) and (at_station is None or control.id in at_station):
            positions = set(control.positions)
            if _DIRECTIONS & positions:
                positions &= {direction.value}
            else:
                positions = named.get(control.id, set()) & positions or positions
            found += [(control.id, position) for position in positions]
    return tuple(sorted(found))


def _levers(hold: Hold) -> Iterator[Control]:
    return (control for control in hold.controls if control.kind == "lever")


def _named(hold: Hold, syntax: Syntax) -> dict[str, set[str]]:
    """The levers on which the expression depends, through circuits, relays and sensors, with the positions named."""
    levers = {control.id for control in _levers(hold)}
    opened: dict[str, Syntax] = {circuit.id: circuit.definition for circuit in hold.circuits}
    opened |= {relay.id: relay.sets for relay in hold.relays} | {sensor.id: sensor.reads for sensor in hold.sensors}
    found: dict[str, set[str]] = {}
    seen: set[str] = set()
    waiting = list(_facts(hold, syntax, {}))
    while waiting:
        name, state = waiting.pop()
        if name in levers:
            found.setdefault(name, set()).update({state} if state is not None else ())
        elif name in opened and name not in seen:
            seen.add(name)
            waiting.extend(_facts(hold, opened[name], {}))
    return found


def _facts(hold: Hold, syntax: Syntax, names: _Names) -> Iterator[tuple[str, str | None]]:
    """(object, state that it is said to be in) of every fact; None for a state that it is said not to be in."""
    match syntax:
        case Fact(subject, state, negated):
            first = subject.parts[0]
            yield from ((id, None if negated else state) for id in names.get(first, (first,)))
        case Negation(arg):
            yield from _facts(hold, arg, names)
        case Chain(_, args):
            for arg in args:
                yield from _facts(hold, arg, names)
        case Quantified(_, variable, group, body):
            yield from _facts(hold, body, {**names, variable: _members(hold, group)})


def _members(hold: Hold, group: Path) -> Sequence[str]:
    """The members of a group in which there may be levers; of the groups that every description has, of controls."""
    first, *rest = group.parts
    if rest == ["controls"]:
        return next((station.controls for station in hold.stations if station.id == first), ())
    if first in ("controls", "levers"):
        return [control.id for control in hold.controls]
    return next((chosen.members for chosen in hold.groups if chosen.id == first), ())
