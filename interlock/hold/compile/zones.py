"""Stations, drive zones and the drives under the bays: what is commanded, inhibited and running."""

from __future__ import annotations

from interlock.hold.compile.builder import Builder
from interlock.hold.compile.levers import commanding, levers_of, supplies_of
from interlock.hold.compile.lowering import Thing
from interlock.hold.language.model import Direction, Zone
from interlock.hold.origin import Commanded, Fact, HeldBack, Sort, Subject, running
from interlock.kernel.expressions import FALSE, TRUE, Expr, Ref, conj, disj, neg


def add_stations(builder: Builder) -> None:
    """The control stations, and when each is in charge."""
    for station in builder.hold.stations:
        thing = builder.thing(station.id, Sort.STATION, station.name)
        thing.states["owning"] = builder.promise(
            Fact(Subject(Sort.STATION, station.id), "owning"),
            station.owns,
            f"{station.name} is in charge",
            f"{station.name} is not in charge",
        )
        thing.parts["controls"] = tuple(builder.world.things[c] for c in station.controls if c in builder.world.things)


def add_zone(builder: Builder, zone: Zone) -> None:
    """One drive zone: its power, commands and inhibits, and the drive under each of its bays."""
    thing = builder.thing(zone.id, Sort.ZONE, zone.name)
    # what a zone does can be asked about also where no unit can be moved by it
    thing.verbs["run"] = []
    subject = Subject(Sort.ZONE, zone.id)
    powered = builder.promise(
        Fact(subject, "powered"), zone.power, f"{zone.name} has drive power", f"{zone.name} has no drive power"
    )
    thing.states["powered"] = powered
    thing.parts["bays"] = tuple(builder.world.things[bay] for bay in zone.bays if bay in builder.world.things)
    levers = [builder.world.things[id] for id in levers_of(builder.hold, zone) if id in builder.world.things]
    thing.parts["levers"] = tuple(lever for lever in levers if lever.sort is Sort.LEVER)
    thing.parts["supplies"] = tuple(builder.world.things[id] for id in supplies_of(builder.hold, zone))
    thing.states["held"] = disj(*(lever.states["held"] for lever in levers if lever.sort is Sort.LEVER))
    owners = []
    commands: dict[Direction, list[Expr]] = {}
    held: dict[Direction, list[Expr]] = {}
    for number, command in enumerate(zone.commands, 1):
        station = builder.world.things.get(command.station or "")
        owners.append(TRUE if station is None else station.states["owning"])
        for direction, syntax in command.runs:
            given = builder.promise(
                Commanded(zone.id, number, direction),
                syntax,
                f"{zone.name} is commanded {direction}",
                f"{zone.name} is not commanded {direction}",
            )
            commands.setdefault(direction, []).append(conj(owners[-1], given))
            asking = commanding(builder.hold, zone, command, direction)
            by_hand = disj(*(builder.world.things[lever].states[position] for lever, position in asking))
            held.setdefault(direction, []).append(conj(owners[-1], by_hand))
    thing.states["contested"] = disj(
        *(conj(first, second) for at, first in enumerate(owners) for second in owners[at + 1 :])
    )
    inhibits = dict(zone.inhibits)
    for direction in Direction:
        commanded = commands.get(direction)
        if not commanded:
            continue
        side = Thing(f"{zone.id}.{direction}", Sort.DIRECTION_OF_ZONE, f"{zone.name} {direction}")
        thing.parts[direction.value] = side
        side.states["commanded"] = builder.signal(
            Fact(subject, "commanded", direction),
            disj(*commanded),
            f"{zone.name} is commanded {direction}",
            f"{zone.name} is not commanded {direction}",
        )
        side.states["held"] = builder.signal(
            Fact(subject, "held", direction),
            disj(*held[direction]),
            f"a lever that commands {zone.name} {direction} is held",
            f"no lever that commands {zone.name} {direction} is held",
        )
        inhibited: Expr = FALSE
        if direction in inhibits:
            inhibited = builder.promise(
                Fact(subject, "inhibited", direction),
                inhibits[direction],
                f"{zone.name} is inhibited {direction}",
                f"{zone.name} is not inhibited {direction}",
            )
        side.states["inhibited"], side.states["permitted"] = inhibited, neg(inhibited)
        for bay in zone.bays:
            held_back: list[Expr] = []
            for section in (s for s in zone.sections if s.bay == bay and dict(s.inhibits).get(direction)):
                held_back.append(
                    builder.promise(
                        HeldBack(zone.id, bay, direction, len(held_back) + 1),
                        dict(section.inhibits)[direction],
                        f"the drive under bay {bay} is inhibited {direction}",
                        f"the drive under bay {bay} is not inhibited {direction}",
                    )
                )
            runs = conj(powered, side.states["commanded"], neg(inhibited), *(neg(expr) for expr in held_back))
            fact = running(bay, direction)
            builder.define(
                fact,
                disj(builder.signals.get(fact.name, FALSE), runs),
                f"the drive under bay {bay} runs {direction}",
                f"the drive under bay {bay} does not run {direction}",
            )
    thing.states["commanded"] = disj(
        *(side.states["commanded"] for side in thing.parts.values() if isinstance(side, Thing))
    )


def drive(builder: Builder, cell: str, direction: Direction) -> Expr:
    """The drive under the cell runs in the direction."""
    name = running(cell, direction).name
    return Ref(name) if name in builder.signals else FALSE


def held(builder: Builder, cell: str, direction: Direction) -> Expr:
    """A lever that commands the drive under the cell in the direction is held."""
    zones = [builder.world.things[zone.id].parts for zone in builder.hold.zones if cell in zone.bays]
    ways = [way for parts in zones if isinstance(way := parts.get(direction.value), Thing)]
    return disj(*(way.states["held"] for way in ways))


def add_sill_drives(builder: Builder) -> None:
    """Which drives can move a unit: those under any of its cells."""
    for door in builder.hold.doorways:
        across = disj(
            *(drive(builder, bay, direction) for bay in door.bays for direction in (door.side, door.side.opposite))
        )
        builder.world.things[door.id].states["drive_running"] = builder.signal(
            Fact(Subject(Sort.DOOR, door.id), "drive_running"),
            across,
            f"a drive runs across the sill of {door.name}",
            f"no drive runs across the sill of {door.name}",
        )


def add_zone_facts(builder: Builder, sides: dict[tuple[str, Direction], Thing]) -> None:
    """What depends on all drives: which zones run, and whether the loader is occupied."""
    for zone in builder.hold.zones:
        thing = builder.world.things[zone.id]
        subject = Subject(Sort.ZONE, zone.id)
        ways = []
        for direction in Direction:
            side = thing.parts.get(direction.value)
            if isinstance(side, Thing):
                runs = disj(*(drive(builder, bay, direction) for bay in zone.bays))
                side.states["running"] = builder.signal(
                    Fact(subject, "running", direction),
                    runs,
                    f"{zone.name} runs {direction}",
                    f"{zone.name} does not run {direction}",
                )
                ways.append(side.states["running"])
        thing.states["running"] = builder.signal(
            Fact(subject, "running"), disj(*ways), f"{zone.name} runs", f"{zone.name} does not run"
        )
    for door in builder.hold.doorways:
        cells = [c for c in builder.holdings if builder.floor.cells[c].door == door.id]
        builder.world.things[door.id].states["loader_occupied"] = disj(*(builder.occupied(c) for c in cells))
