"""Which levers command a drive zone one way, and held to which side they do; which supplies its drives run on.

A lever is here whatever springs back: push buttons and momentary switches too.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import combinations
from typing import TypeAlias

from interlock.hold.kinds import HELD, PRESSED, and_pressed
from interlock.hold.language.cross_rules import inwards_of
from interlock.hold.language.directions import in_and_out
from interlock.hold.language.model import Circuit, Command, Control, Direction, Hold, Relay, Sensor, Supply, Zone
from interlock.hold.language.syntax import Chain, Fact, Negation, Path, Quantified, Syntax, Truth

_Pairs: TypeAlias = frozenset[tuple[bool, bool]]
"""What can be true of an expression together: with a lever let go, and with the same lever held to one side."""
_EITHER: _Pairs = frozenset({(False, False), (True, True)})
"""Of something with which that lever has nothing to do."""
_MAKES: _Pairs = frozenset({(False, True)})
"""So because the lever is held."""


@dataclass(frozen=True, slots=True)
class Reading:
    """A lever position that counts for a direction because a command of the zone asks for it; nothing marks it."""

    zone: Zone
    lever: Control
    position: str
    direction: Direction


def levers_of(hold: Hold, zone: Zone) -> tuple[str, ...]:
    """The levers that the zone lists, or, where it lists none, all by which its commands can be given; sorted."""
    if zone.levers:
        return tuple(sorted(set(zone.levers)))
    commands = [syntax for command in zone.commands for _, syntax in command.runs]
    return tuple(control.id for control in _levers(hold) if any(_asking(hold, control, one) for one in commands))


def commanding(hold: Hold, zone: Zone, command: Command, direction: Direction) -> tuple[tuple[str, str], ...]:
    """The (lever, position) pairs by which a hand at the command's station asks the zone to run that way; sorted.

    Not whatever contact is wired to the command: a lever counts only where it belongs to the station and to the zone,
    in the positions that are marked for the direction.  A position without a mark that has the name of a direction is
    marked for that direction.  Any other counts where the command itself asks for it (`_asking`): a `Reading`.
    """
    marked, read = _sorted_out(hold, zone, command, direction)
    return tuple(sorted({(control.id, position) for control, position in (*marked, *read)}))


def readings_of(hold: Hold) -> tuple[Reading, ...]:
    """Every position that counts only because a command asks for it; in the order of the description."""
    return tuple(
        dict.fromkeys(
            Reading(zone, control, position, direction)
            for zone in hold.zones
            for command in zone.commands
            for direction, _ in command.runs
            for control, position in _sorted_out(hold, zone, command, direction)[1]
        )
    )


def supplies_of(hold: Hold, zone: Zone) -> tuple[str, ...]:
    """The supplies on which it depends whether the drives of the zone run, through circuits, relays, sensors; sorted.

    Not those of things that only stand in a state that a circuit reads: a door, a guide that power holds down.  Nor
    those that a supply needs: it comes back in a step of its own, and what it has stored is not lost with them.
    """
    wired = [zone.power, *(syntax for command in zone.commands for _, syntax in command.runs)]
    wired += [syntax for _, syntax in (*zone.inhibits, *(one for section in zone.sections for one in section.inhibits))]
    opened: dict[str, tuple[Syntax, ...]] = {circuit.id: (circuit.definition,) for circuit in hold.circuits}
    opened |= {relay.id: (relay.sets, relay.drops) for relay in hold.relays}
    opened |= {sensor.id: (sensor.reads,) for sensor in hold.sensors}
    seen: set[str] = set()
    waiting = list(_named(hold, wired))
    while waiting:
        name = waiting.pop()
        if name not in seen:
            seen.add(name)
            waiting.extend(_named(hold, opened.get(name, ())))
    return tuple(sorted(seen & {supply.id for supply in hold.supplies}))


_Held: TypeAlias = list[tuple[Control, str]]


def _sorted_out(hold: Hold, zone: Zone, command: Command, direction: Direction) -> tuple[_Held, _Held]:
    """The positions that count by their mark, and those that count because the command asks for them."""
    asked_for = dict(command.runs)[direction]
    at_station = next((set(station.controls) for station in hold.stations if station.id == command.station), None)
    marked: _Held = []
    read: _Held = []
    for control in _levers(hold):
        asking = _asking(hold, control, asked_for)
        if not (control.id in zone.levers if zone.levers else asking):
            continue
        if at_station is not None and control.id not in at_station:
            continue
        for position in control.commands:
            ways = _ways(hold, control, position)
            if direction in ways:
                marked.append((control, position))
            elif not ways and position in asking:
                read.append((control, position))
    return marked, read


def _ways(hold: Hold, control: Control, position: str) -> frozenset[Direction]:
    """The directions for which the position is marked, by a mark or by its name."""
    ways = frozenset(direction for direction, positions in control.marks if position in positions)
    inwards = inwards_of(control, hold.layout, hold.doorways)
    called: dict[str, Direction] = {way.value: way for way in Direction}
    called |= {} if inwards is None else in_and_out(inwards)
    return ways or frozenset({called[position]} if position in called else ())


def _levers(hold: Hold) -> Iterator[Control]:
    return (control for control in sorted(hold.controls, key=lambda one: one.id) if control.is_held)


def _asking(hold: Hold, control: Control, syntax: Syntax) -> frozenset[str]:
    """The positions to which a hand that holds the lever there, instead of letting it go, can make the syntax true."""
    return frozenset(
        position
        for position, states in control.commands.items()
        if any((False, True) in _Hand(hold, control, state).pairs(syntax, {}) for state in states)
    )


@dataclass(frozen=True, slots=True)
class _Hand:
    """A lever that is let go or held to one side, all else being the same; what that does to an expression.

    Facts about anything else may be so or not, each by itself: a pair that is not found cannot be.
    """

    hold: Hold
    lever: Control
    state: str
    _known: dict[str, _Pairs] = field(default_factory=dict)
    """Of circuits, sensors and relays met so far; while one is being looked into, it is taken for anything else."""

    def pairs(self, syntax: Syntax, names: Mapping[str, str]) -> _Pairs:
        match syntax:
            case Truth(value):
                return frozenset({(value, value)})
            case Fact(subject, state, negated):
                first, *rest = subject.parts
                pairs = _EITHER if rest else self._fact(names.get(first, first), state)
                return _opposite(pairs) if negated else pairs
            case Negation(arg):
                return _opposite(self.pairs(arg, names))
            case Chain("implies", (first, second)):
                return _some([_opposite(self.pairs(first, names)), self.pairs(second, names)])
            case Chain(operator, args):
                found = [self.pairs(arg, names) for arg in args]
                return _every(found) if operator == "and" else _some(found)
            case Quantified(quantifier, variable, group, body):
                members = _members(self.hold, group)
                if members is None:
                    return _EITHER
                found = [self.pairs(body, {**names, variable: member}) for member in members]
                match quantifier:
                    case "every":
                        return _every(found)
                    case "some":
                        return _some(found)
                    case "no":
                        return _opposite(_some(found))
                    case "at most one":
                        return _opposite(_some([_every(two) for two in combinations(found, 2)]))

    def _fact(self, name: str, state: str | None) -> _Pairs:
        if name == self.lever.id:
            free, held = (states_in(self.lever, one) for one in (self.lever.behaviour.initial, self.state))
            return frozenset({(state in free, state in held)})
        if name not in self._known:
            self._known[name] = _EITHER
            self._known[name] = self._meant(name)
        return _opposite(self._known[name]) if state in ("off", "released") else self._known[name]

    def _meant(self, name: str) -> _Pairs:
        for circuit in self.hold.circuits:
            if circuit.id == name:
                return self.pairs(circuit.definition, {})
        for sensor in self.hold.sensors:
            if sensor.id == name:
                return self.pairs(sensor.reads, {})
        for relay in self.hold.relays:
            if relay.id == name:
                # it stays as it was, unless the hand sets it or makes it drop
                sets, drops = self.pairs(relay.sets, {}), self.pairs(relay.drops, {})
                return _EITHER | (_MAKES & sets) | _opposite(_MAKES & drops)
        return _EITHER


def states_in(control: Control, state: str) -> frozenset[str]:
    """All that can be said of a control that springs back while it is in one of the states of its kind."""
    said = {state} | ({HELD} if state != control.behaviour.initial else set())
    if control.can_be_pressed:
        resting = control.behaviour.initial
        position = next((one for one in (resting, *control.positions) if state == and_pressed(one)), state)
        said = {position} | ({PRESSED} if position != state else set()) | ({HELD} if position != resting else set())
    return frozenset(said)


def _opposite(pairs: _Pairs) -> _Pairs:
    return frozenset((not free, not held) for free, held in pairs)


def _some(parts: Iterable[_Pairs]) -> _Pairs:
    found: _Pairs = frozenset({(False, False)})
    for part in parts:
        found = frozenset((a or c, b or d) for a, b in found for c, d in part)
    return found


def _every(parts: Iterable[_Pairs]) -> _Pairs:
    return _opposite(_some(map(_opposite, parts)))


def _named(hold: Hold, syntaxes: Iterable[Syntax]) -> Iterator[str]:
    """What the expressions name first of all, members of groups included."""
    for syntax in syntaxes:
        match syntax:
            case Fact(subject):
                yield subject.parts[0]
            case Negation(arg):
                yield from _named(hold, (arg,))
            case Chain(_, args):
                yield from _named(hold, args)
            case Quantified(_, _, group, body):
                yield from _members(hold, group) or ()
                yield from _named(hold, (body,))


def _members(hold: Hold, group: Path) -> Sequence[str] | None:
    """The members of a group in which there may be levers or supplies; None of any other."""
    first, *rest = group.parts
    if rest == ["controls"]:
        return next((station.controls for station in hold.stations if station.id == first), None)
    sections: Mapping[str, Sequence[Control | Supply | Circuit | Relay | Sensor]] = {
        "controls": hold.controls,
        "levers": [control for control in hold.controls if control.kind == "lever"],
        "supplies": hold.supplies,
        "circuits": hold.circuits,
        "relays": hold.relays,
        "sensors": hold.sensors,
    }
    if first in sections:
        return [one.id for one in sections[first]]
    return next((chosen.members for chosen in hold.groups if chosen.id == first), None)
