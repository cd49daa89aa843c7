"""Which levers command a drive zone one way, and held to which side they do.

A lever is here whatever springs back: push buttons and momentary switches too.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TypeAlias

from interlock.diagnostics.frozen import frozen
from interlock.hold.compile.between import EITHER, Between, Pairs, opposite
from interlock.hold.kinds import HELD, PRESSED, and_pressed
from interlock.hold.language.cross_rules import inwards_of
from interlock.hold.language.directions import in_and_out
from interlock.hold.language.model import Command, Control, Direction, Hold, Relay, Zone
from interlock.hold.language.syntax import Syntax

_MAKES: Pairs = frozenset({(False, True)})
"""So because the lever is held."""


@frozen
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
        if any((False, True) in _Hand(hold, control, state).pairs(syntax) for state in states)
    )


@dataclass(slots=True)
class _Hand(Between):
    """A lever that is let go or held to one side."""

    lever: Control
    state: str

    def said(self, name: str, state: str | None) -> Pairs | None:
        """The lever is where the hand holds it."""
        if name != self.lever.id:
            return None
        free, held = (states_in(self.lever, one) for one in (self.lever.behaviour.initial, self.state))
        return frozenset({(state in free, state in held)})

    def relay(self, relay: Relay) -> Pairs:
        """It stays as it was, unless the hand sets it or makes it drop."""
        sets, drops = self.pairs(relay.sets), self.pairs(relay.drops)
        return EITHER | (_MAKES & sets) | opposite(_MAKES & drops)


def states_in(control: Control, state: str) -> frozenset[str]:
    """All that can be said of a control that springs back while it is in one of the states of its kind."""
    said = {state} | ({HELD} if state != control.behaviour.initial else set())
    if control.can_be_pressed:
        resting = control.behaviour.initial
        position = next((one for one in (resting, *control.positions) if state == and_pressed(one)), state)
        said = {position} | ({PRESSED} if position != state else set()) | ({HELD} if position != resting else set())
    return frozenset(said)
