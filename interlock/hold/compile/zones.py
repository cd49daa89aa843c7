"""Stations, drive zones and the drives under the bays: what is commanded, inhibited and running."""

from __future__ import annotations

from collections.abc import Mapping
from itertools import combinations, compress

from interlock.diagnostics.said import say, say_both
from interlock.hold.compile.described import Described
from interlock.hold.compile.levers import commanding, levers_of
from interlock.hold.compile.supplies import SUPPLIED, supplies_of
from interlock.hold.compile.symbols import Additions, Symbols, promised, told
from interlock.hold.compile.world import Thing
from interlock.hold.language.model import Command, Direction, Zone
from interlock.hold.origin import Commanded, Fact, HeldBack, RunsFor, Sort, Subject, running
from interlock.hold.sorts import runs as runs_mode
from interlock.kernel.expressions import FALSE, TRUE, Expr, Ref, conj, disj, neg


def stations(described: Described, known: Symbols) -> Symbols:
    """The control stations, and when each is in charge."""
    made = Additions(described.eased)
    for station in described.hold.stations:
        thing = Thing(station.id, Sort.STATION, station.name)
        owning = made.promise(
            Fact(Subject(Sort.STATION, station.id), "owning"),
            station.owns,
            told(station.name, say("in charge")),
            so=described.struck(station.id, "in_charge_too"),
            not_so=described.struck(station.id, "never_in_charge"),
        )
        made.fails(described.may_strike.get(station.id, ()))
        controls = tuple(id for id in station.controls if id in known.things)
        made.name(thing, {"owning": owning}, {"controls": controls})
    return made.symbols()


def zones(described: Described, known: Symbols) -> Symbols:
    """The drive zones: power, commands and inhibits; the drives under their bays; which of them cross a sill."""
    made = Additions(described.eased)
    runs: dict[Fact, Expr] = {}
    own: dict[RunsFor, Expr] = {}
    for zone in described.hold.zones:
        _zone(described, known, made, runs, own, zone)
    for bay in described.floor.bays:
        _drive_fails(described, made, runs, own, bay)
    _run_for_zones(described, made, own)
    for door in described.hold.doorways:
        ways = [running(bay, way) for bay in door.bays for way in (door.side, door.side.opposite)]
        across = disj(*(Ref(way.name) for way in ways if way in runs))
        phrases = say_both(
            "a drive runs across the sill of {door}", "no drive runs across the sill of {door}", door=door.name
        )
        fact = Fact(Subject(Sort.DOOR, door.id), "drive_running")
        made.name(known.things[door.id], {fact.what: made.signal(fact, across, phrases)})
    return made.symbols()


def _zone(
    described: Described, known: Symbols, made: Additions, runs: dict[Fact, Expr], own: dict[RunsFor, Expr], zone: Zone
) -> None:
    """Adds what makes the drives under its bays run to what others of their zones have said of `runs`."""
    thing = Thing(zone.id, Sort.ZONE, zone.name)
    subject = Subject(Sort.ZONE, zone.id)
    has_power = say_both("{zone} has drive power", "{zone} has no drive power", zone=zone.name)
    powered = made.promise(Fact(subject, "powered"), zone.power, has_power)
    levers = [id for id in levers_of(described.hold, zone) if id in known.things]
    levers = [id for id in levers if known.things[id].sort.is_held]
    owners = {command.station: _owning(known, command) for command in zone.commands}
    commands: dict[Direction, list[Expr]] = {}
    for number, command in enumerate(zone.commands, 1):
        for direction, syntax in command.runs:
            commanded = told(zone.name, say("commanded {direction}", direction=direction))
            given = made.promise(Commanded(zone.id, number, direction), syntax, commanded)
            commands.setdefault(direction, []).append(conj(owners[command.station], given))
    sides = {direction: f"{zone.id}.{direction}" for direction in Direction if direction in commands}
    asked = []
    for direction, id in sides.items():
        states = {
            "commanded": made.signal(
                Fact(subject, "commanded", direction),
                disj(*commands[direction]),
                told(zone.name, say("commanded {direction}", direction=direction)),
            ),
            "held": made.signal(
                Fact(subject, "held", direction),
                _held(described, known, zone, direction, None),
                say_both(
                    "a lever that commands {zone} {direction} is held",
                    "no lever that commands {zone} {direction} is held",
                    zone=zone.name,
                    direction=direction,
                ),
            ),
        }
        inhibited: Expr = FALSE
        inhibits = dict(zone.inhibits)
        if direction in inhibits:
            phrases = told(zone.name, say("inhibited {direction}", direction=direction))
            inhibited = made.promise(Fact(subject, "inhibited", direction), inhibits[direction], phrases)
        states |= {"inhibited": inhibited, "permitted": neg(inhibited)}
        made.name(
            Thing(id, Sort.DIRECTION_OF_ZONE, say("{zone} {direction}", zone=zone.name, direction=direction)), states
        )
        asked.append(states["commanded"])
        for bay in zone.bays:
            held_back = _held_back(made, zone, bay, direction)
            fact = running(bay, direction)
            asking = states["commanded"]
            if not all(command.reaches(bay) for command in zone.commands):
                there = [command.reaches(bay) for command in zone.commands if direction in dict(command.runs)]
                if not any(there):
                    continue
                asking = disj(*compress(commands[direction], there))
            free = conj(powered, asking, neg(inhibited), *map(neg, held_back))
            own[RunsFor(zone.id, bay, direction)] = free
            runs[fact] = disj(runs.get(fact, FALSE), free)
            _define_running(made, bay, direction, runs[fact])
    pairs = (conj(*two) for two in combinations(owners.values(), 2))
    made.name(
        thing,
        {
            "powered": powered,
            "held": disj(*(known.things[lever].states["held"] for lever in levers)),
            "contested": disj(*pairs),
            "commanded": disj(*asked),
        },
        {
            "bays": tuple(bay for bay in zone.bays if bay in known.things),
            "levers": tuple(levers),
            "supplies": supplies_of(described.hold, zone),
            **{direction.value: id for direction, id in sides.items()},
        },
        # what a zone does can be asked about also where no unit can be moved by it
        verbs=("run", *SUPPLIED.values()),
    )


def _drive_fails(
    described: Described, made: Additions, runs: dict[Fact, Expr], own: dict[RunsFor, Expr], bay: str
) -> None:
    """Puts the failures of the drive under a bay into what makes it run, by whichever zone and at all."""
    dead, reversed = (described.struck(bay, mode) for mode in ("dead", "runs_other_way"))
    zones = [zone for zone in described.hold.zones if bay in zone.bays]
    power = [(Fact(Subject(Sort.ZONE, zone.id), "powered"), zone.power) for zone in zones]
    powered = disj(*(promised(fact, syntax, described.eased) for fact, syntax in power))

    def does(asked: Mapping[Direction, Expr], way: Direction) -> Expr:
        turned = disj(conj(asked[way], neg(reversed)), conj(asked[way.opposite], reversed))
        uncommanded = conj(powered, described.struck(bay, runs_mode(way)))
        return conj(disj(turned, uncommanded), neg(dead))

    asked = {way: runs.get(running(bay, way), FALSE) for way in Direction}
    for way in Direction:
        if (then := does(asked, way)) != asked[way]:
            runs[running(bay, way)] = then
            _define_running(made, bay, way, then)
    for zone in zones:
        asked = {way: own.get(RunsFor(zone.id, bay, way), FALSE) for way in Direction}
        own.update({RunsFor(zone.id, bay, way): does(asked, way) for way in Direction})


def _run_for_zones(described: Described, made: Additions, own: Mapping[RunsFor, Expr]) -> None:
    """Where zones that run one way share a bay, for which of them its drive does."""
    for bay in described.floor.bays:
        for way in Direction:
            sharing = [zone for zone in described.hold.zones if bay in zone.bays and way in _ways(zone)]
            if len(sharing) < 2:
                continue
            for zone in sharing:
                meaning = RunsFor(zone.id, bay, way)
                made.define(
                    meaning,
                    own.get(meaning, FALSE),
                    say_both(
                        "{zone} runs the drive under bay {bay} {way}",
                        "{zone} does not run the drive under bay {bay} {way}",
                        zone=zone.name,
                        bay=bay,
                        way=way,
                    ),
                )


def _ways(zone: Zone) -> set[Direction]:
    """The directions that it can be commanded."""
    return {way for command in zone.commands for way, _ in command.runs}


def _define_running(made: Additions, bay: str, way: Direction, when: Expr) -> None:
    drive = say("the drive under bay {bay}", bay=bay)
    made.define(
        running(bay, way),
        when,
        (say_both("{drive} runs {way}", "{drive} does not run {way}", drive=drive, way=way)),
    )


def _held_back(made: Additions, zone: Zone, bay: str, direction: Direction) -> list[Expr]:
    """What sections say against the drive under the bay."""
    conditions = [dict(section.inhibits).get(direction) for section in zone.sections if section.bay == bay]
    phrases = told(say("the drive under bay {bay}", bay=bay), say("inhibited {direction}", direction=direction))
    return [
        made.promise(HeldBack(zone.id, bay, direction, number), syntax, phrases)
        for number, syntax in enumerate((one for one in conditions if one is not None), 1)
    ]


def zone_facts(described: Described, known: Symbols) -> Symbols:
    """What depends on all drives: which zones run, and whether the loader is occupied."""
    made = Additions(described.eased)
    for zone in described.hold.zones:
        ways = []
        for direction in Direction:
            id = known.things[zone.id].parts.get(direction)
            if isinstance(id, str):
                fact = Fact(Subject(Sort.ZONE, zone.id), "running", direction)
                runs = disj(*(_drive_for(known, zone, bay, direction) for bay in zone.bays))
                phrases = say_both(
                    "{zone} runs {direction}",
                    "{zone} does not run {direction}",
                    zone=zone.name,
                    direction=direction,
                )
                ways.append(made.signal(fact, runs, phrases))
                made.name(known.things[id], {"running": ways[-1]})
        fact = Fact(Subject(Sort.ZONE, zone.id), "running")
        phrases = say_both("{zone} runs", "{zone} does not run", zone=zone.name)
        made.name(known.things[zone.id], {"running": made.signal(fact, disj(*ways), phrases)})
    for door in described.hold.doorways:
        cells = [cell for cell in described.holdings if described.floor.cells[cell].door == door.id]
        occupied = disj(*(described.occupied(cell) for cell in cells))
        made.name(known.things[door.id], {"loader_occupied": occupied})
    return made.symbols()


def drive(known: Symbols, cell: str, direction: Direction) -> Expr:
    """The drive under the cell runs in the direction."""
    name = running(cell, direction).name
    return Ref(name) if name in known.signals else FALSE


def _drive_for(known: Symbols, zone: Zone, bay: str, direction: Direction) -> Expr:
    """The zone runs the drive under one of its bays in the direction."""
    name = RunsFor(zone.id, bay, direction).name
    return Ref(name) if name in known.signals else drive(known, bay, direction)


def held(described: Described, known: Symbols, cell: str, direction: Direction) -> Expr:
    """A lever that commands the drive under the cell in the direction is held."""
    found = []
    for zone in described.hold.zones:
        way = known.things[zone.id].parts.get(direction)
        if cell in zone.bays and isinstance(way, str):
            whole = all(command.reaches(cell) for command in zone.commands)
            found.append(known.things[way].states["held"] if whole else _held(described, known, zone, direction, cell))
    return disj(*found)


def _owning(known: Symbols, command: Command) -> Expr:
    """The station of the command is in charge."""
    station = known.things.get(command.station or "")
    return TRUE if station is None else station.states["owning"]


def _by_hand(described: Described, known: Symbols, lever: str, position: str) -> Expr:
    """A hand holds the lever there: without its spring it may stay there by itself."""
    return conj(known.things[lever].states[position], neg(described.struck(lever, "spring_broken")))


def _held(described: Described, known: Symbols, zone: Zone, direction: Direction, bay: str | None) -> Expr:
    """A lever is held by which a station in charge commands the direction: of the zone, or of one bay of it."""
    ways = []
    for command in zone.commands:
        if direction in dict(command.runs) and (bay is None or command.reaches(bay)):
            asking = commanding(described.hold, zone, command, direction)
            by_hand = disj(*(_by_hand(described, known, lever, position) for lever, position in asking))
            ways.append(conj(_owning(known, command), by_hand))
    return disj(*ways)
