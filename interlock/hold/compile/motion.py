"""How units move, what restrains them, and what drives run.

Motion has two halves.  A unit *departs*: it leaves its cells and is over the faces that it crosses, holding down what
it lies on.  Then it *arrives*, or goes back.  Between the halves anything may happen.  A half is done by a drive, by
the loader, by pushing or by drift; nothing departs against a device that stands in its way.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from interlock.hold.compile.builder import Builder, face_phrase, faces_of, position
from interlock.hold.compile.lowering import Thing
from interlock.hold.compile.things import side_thing
from interlock.hold.compile.zones import add_sill_drives, add_stations, add_zone, add_zone_facts, drive, held
from interlock.hold.floor import Face, Move, Placement, lain_on_by
from interlock.hold.language.model import Device, Direction
from interlock.hold.origin import (
    EMPTY,
    NOBODY,
    Arrive,
    Bring,
    Crossing,
    Depart,
    Fact,
    Holding,
    Means,
    Sort,
    Subject,
    TakeAway,
    crossing,
    standing,
    vacated,
)
from interlock.kernel.expressions import FALSE, TRUE, Expr, Is, Ref, Value, conj, disj, neg
from interlock.kernel.machine import Actor


def add_motion(builder: Builder) -> None:
    """Drives, zones, restraint and the motion of units; then the groups that quantifiers range over."""
    add_stations(builder)
    for zone in builder.hold.zones:
        add_zone(builder, zone)
    add_sill_drives(builder)
    devices = _devices_by_face(builder)
    sides = {
        (cell, direction): side_thing(builder, builder.floor.cells[cell], direction)
        for cell in builder.floor.bays
        for direction in Direction
    }
    _restraint(builder, devices, sides)
    _pressing(builder, devices, sides)
    _loader(builder)
    for move in builder.floor.moves:
        _departure(builder, move, devices, sides)
        _arrival(builder, move)
    add_zone_facts(builder, sides)
    _groups(builder)


def _devices_by_face(builder: Builder) -> dict[Face, list[Device]]:
    found: dict[Face, list[Device]] = {}
    for device in builder.hold.devices:
        for face in faces_of(builder, device):
            found.setdefault(face, []).append(device)
    return found


def _restraint(builder: Builder, devices: dict[Face, list[Device]], sides: dict[tuple[str, Direction], Thing]) -> None:
    floor, layout = builder.floor, builder.hold.layout
    for (cell, direction), side in sides.items():
        face = floor.face(cell, direction)
        subject = Subject(Sort.BAY, cell)
        side.states["crossed"] = builder.crossed(face)
        side.states["covered"] = builder.covered(face)
        side.states["running"] = drive(builder, cell, direction)
        side.states["held"] = held(builder, cell, direction)
        side.states["driven"] = builder.signal(
            Fact(subject, "driven", direction),
            conj(builder.occupied(cell), drive(builder, cell, direction)),
            f"the unit in bay {cell} is driven {direction}",
            f"no unit in bay {cell} is driven {direction}",
        )
        here = devices.get(face, ())
        stopped = disj(*(_standing(builder, device) for device in here if direction in device.stops))
        side.states["stopped"] = builder.signal(
            Fact(subject, "stopped", direction),
            stopped,
            f"a device stands at the {direction} side of bay {cell}",
            f"no device stands at the {direction} side of bay {cell}",
        )
        holding = [
            builder.world.things[device.id].states["locking"]
            for device in here
            if direction in device.stops and direction.axis in device.restrains
        ]
        spans: list[Expr] = [
            Is(Holding(cell).name, part)
            for placement in floor.placements
            for place, part in zip(placement.cells, placement.parts, strict=True)
            if place == cell and floor.neighbour(cell, direction) in placement.cells
        ]
        other = floor.neighbour(cell, direction)
        if layout.neighbour_restrains and other in floor.bays and other is not None:
            spans.append(
                conj(builder.occupied(other), Ref(Fact(Subject(Sort.BAY, other), "restrained", direction).name))
            )
        side.states["restrained"] = builder.define(
            Fact(subject, "restrained", direction),
            disj(*holding, *spans),
            f"a unit in bay {cell} is restrained {direction}",
            f"a unit in bay {cell} is not restrained {direction}",
        )
    for cell in floor.bays:
        bay = builder.world.things[cell]
        around = [
            device for d in Direction for device in devices.get(floor.face(cell, d), ()) if "z" in device.restrains
        ]
        up = Thing(f"{cell}.up", Sort.DIRECTION_OF_BAY, f"bay {cell} upwards")
        up.states["restrained"] = builder.signal(
            Fact(Subject(Sort.BAY, cell), "restrained", "up"),
            disj(*(builder.world.things[device.id].states["locking"] for device in around)),
            f"a unit in bay {cell} is restrained upwards",
            f"a unit in bay {cell} is not restrained upwards",
        )
        bay.parts["up"] = up
        needed = []
        for word in layout.secured:
            part = bay.parts[word]
            assert isinstance(part, Thing)  # noqa: S101 -- the four sides and `up` were made above
            needed.append(part.states["restrained"])
        bay.states["secured"] = builder.signal(
            Fact(Subject(Sort.BAY, cell), "secured"),
            conj(*needed),
            f"a unit in bay {cell} is secured",
            f"a unit in bay {cell} is not secured",
        )
        bay.parts["sides"] = tuple(sides[cell, direction] for direction in Direction)
        bay.parts["devices"] = tuple(
            dict.fromkeys(
                builder.world.things[device.id] for d in Direction for device in devices.get(floor.face(cell, d), ())
            )
        )


def _standing(builder: Builder, device: Device) -> Expr:
    return builder.world.things[device.id].states["standing"]


def _driven(builder: Builder, cells: tuple[str, ...], direction: Direction) -> Expr:
    return disj(*(drive(builder, cell, direction) for cell in cells))


def _edge(builder: Builder, placement: Placement, direction: Direction) -> list[Face]:
    """The faces on the leading side of a unit."""
    return [
        builder.floor.face(cell, direction)
        for cell in placement.cells
        if builder.floor.neighbour(cell, direction) not in placement.cells
    ]


def _newly_lain_on(builder: Builder, move: Move) -> list[Face]:
    return sorted(lain_on_by(builder.floor, move.target) - lain_on_by(builder.floor, move.source))


def _obstacles(
    builder: Builder, faces: list[Face], lain_on: list[Face], direction: Direction, devices: dict[Face, list[Device]]
) -> list[tuple[Device, Expr]]:
    """The devices in the way of a unit: those that stop it at a face, those that it would have to lie on."""
    found = [(d, _standing(builder, d)) for face in faces for d in devices.get(face, ()) if direction in d.stops]
    found += [
        (d, _standing(builder, d)) for face in lain_on for d in devices.get(face, ()) if direction not in d.gives_way
    ]
    return found


def _pressing(builder: Builder, devices: dict[Face, list[Device]], sides: dict[tuple[str, Direction], Thing]) -> None:
    """A unit that is driven although something is in its way."""
    moves = {(move.source, move.direction): move for move in builder.floor.moves}
    on_device: dict[tuple[str, Direction], list[Expr]] = {key: [] for key in sides}
    on_stop: dict[tuple[str, Direction], list[Expr]] = {key: [] for key in sides}
    on_unit: dict[tuple[str, Direction], list[Expr]] = {key: [] for key in sides}
    one_sided: dict[str, list[Expr]] = {cell: [] for cell in builder.floor.bays}
    for placement in builder.floor.placements:
        for direction in Direction:
            driven = conj(builder.holds(placement), _driven(builder, placement.cells, direction))
            move = moves.get((placement, direction))
            faces = _edge(builder, placement, direction)
            lain_on = _newly_lain_on(builder, move) if move else []
            obstacles = _obstacles(builder, faces, lain_on, direction, devices)
            for device, stands in obstacles:
                found = on_stop if device.is_structure else on_device
                for cell in placement.cells:
                    if (cell, direction) in found:
                        found[cell, direction].append(conj(driven, stands))
            next_to = [builder.floor.neighbour(c, direction) for c in placement.cells]
            if move:
                next_to = list(move.target.cells)
            elif any(device.is_structure for device, _ in obstacles):
                # a fixed stop or guide before any part of it keeps it from whatever is beyond
                next_to = []
            # otherwise whether or not the layout lets it stand there: the drive does not know
            ahead = [c for c in next_to if c is not None and c not in placement.cells]
            if not builder.floor.is_inside(placement):
                # what stands beside it outside the sill is the loader's
                ahead = [c for c in ahead if c in builder.floor.bays]
            for cell in placement.cells:
                if (cell, direction) in on_unit:
                    met = [builder.occupied(c) for c in ahead] + [_half_way(builder, c, direction) for c in ahead]
                    on_unit[cell, direction].append(conj(driven, disj(*met)))
            beside = builder.floor.bays_of(placement.cells)
            if len(beside) > 1 and move and not move.doors:
                run = [drive(builder, c, direction) for c in beside]
                split = conj(builder.holds(placement), disj(*run), neg(conj(*run)))
                for cell in beside:
                    one_sided[cell].append(split)
    for (cell, direction), side in sides.items():
        for state, found, words in (
            ("driven_on_device", on_device, "is driven {d} against a raised device"),
            ("driven_on_stop", on_stop, "is driven {d} against a fixed stop"),
            ("driven_on_unit", on_unit, "is driven {d} against another unit"),
        ):
            text = words.format(d=direction)
            side.states[state] = builder.signal(
                Fact(Subject(Sort.BAY, cell), state, direction),
                disj(*found[cell, direction]),
                f"the unit in bay {cell} {text}",
                f"no unit in bay {cell} {text}",
            )
        other = builder.floor.neighbour(cell, direction)
        facing = drive(builder, other, direction.opposite) if other is not None else FALSE
        side.states["opposed"] = builder.signal(
            Fact(Subject(Sort.BAY, cell), "opposed", direction),
            conj(drive(builder, cell, direction), facing),
            f"the drives under bay {cell} and the next {direction} run towards each other",
            f"the drives under bay {cell} and the next {direction} do not run towards each other",
        )
    for cell, split_cases in one_sided.items():
        builder.world.things[cell].states["driven_one_sided"] = builder.signal(
            Fact(Subject(Sort.BAY, cell), "driven_one_sided"),
            disj(*split_cases),
            f"the unit in bay {cell} is driven under a part of it only",
            f"no unit in bay {cell} is driven under a part of it only",
        )


def _half_way(builder: Builder, cell: str, direction: Direction) -> Expr:
    """A unit reaches into the cell, on its way over one of its faces, and is not carried off in the direction."""
    found = []
    for side in Direction:
        face = builder.floor.face(cell, side)
        gone: Expr = FALSE
        if side.axis == direction.axis:
            ends = [end for end, _ in builder.floor.sides_of_face(face)]
            gone = disj(*(drive(builder, end, direction) for end in ends))
        found.append(conj(builder.crossed(face), neg(gone)))
    return disj(*found)


def _loader(builder: Builder) -> None:
    """Units come and go on the loader: nothing else makes or ends one."""
    for door, placement in builder.floor.entries:
        thing = builder.world.things[door]
        unit = builder.units[placement.kind]
        around = _uncrossed(builder, placement.cells)
        here = conj(_so(vacated(placement)), around)
        beside = ", ".join(sorted({builder.floor.cells[cell].bay for cell in placement.cells}))
        where = f"the sill of {thing.phrase}" if len(_doorway_bays(builder, door)) == 1 else f"the sill at bay {beside}"
        builder.draft(
            Bring(door, placement),
            Actor.CREW,
            here,
            standing(placement),
            f"bring a {unit.name} on the loader to {where}",
            (thing, "bring"),
            (thing, f"bring_{unit.id}"),
        )
        builder.draft(
            TakeAway(door, placement),
            Actor.CREW,
            conj(_so(standing(placement)), around),
            vacated(placement),
            f"take the {unit.name} on the loader away from {where}",
            (thing, "take_away"),
            (thing, f"take_away_{unit.id}"),
        )


def _so(facts: Mapping[str, Value]) -> Expr:
    """Every variable has its value."""
    return conj(*(Is(variable, value) for variable, value in facts.items()))


def _doorway_bays(builder: Builder, door: str) -> tuple[str, ...]:
    return next(d.bays for d in builder.hold.doorways if d.id == door)


def _uncrossed(builder: Builder, cells: tuple[str, ...]) -> Expr:
    faces = sorted({builder.floor.face(cell, direction) for cell in cells for direction in Direction})
    return conj(*(neg(builder.crossed(face)) for face in faces))


def _doors_open(builder: Builder, move: Move) -> Expr:
    return conj(*(Is(position(Sort.DOOR, door).name, "open") for door in move.doors))


def _movers(
    builder: Builder, move: Move, cells: tuple[str, ...], departing: bool
) -> Iterator[tuple[Means, Actor, Expr]]:
    """What may carry a unit in the move's direction: (means, actor, when)."""
    layout = builder.hold.layout
    driven = _driven(builder, cells, move.direction)
    if driven != FALSE:
        yield Means.DRIVE, Actor.PLANT, driven
    outside = any(builder.floor.cells[cell].door for cell in cells)
    # what stands wholly on the loader is the loader's business; what reaches into the hold can roll and be pushed
    on_loader = all(builder.floor.cells[cell].door for cell in cells)
    if move.doors and outside:
        yield Means.LOADER, Actor.CREW, TRUE
    if layout.pushing is not None:
        pushing = builder.promise(
            Fact(Subject(Sort.HOLD, "pushing")),
            layout.pushing,
            "units can be pushed by hand",
            "units cannot be pushed by hand",
        )
        if pushing != FALSE and (not on_loader or not departing):
            yield Means.PUSH, Actor.CREW, pushing
    if move.direction in layout.drift and (not on_loader or not departing):
        yield Means.DRIFT, Actor.PLANT, TRUE


_MOVERS = {
    Means.DRIVE: "the drive carries {unit}",
    Means.LOADER: "the loader runs {unit}",
    Means.PUSH: "push {unit}",
    Means.DRIFT: "by itself {unit} rolls",
}


def _tags(builder: Builder, move: Move, means: Means) -> list[tuple[Thing, str]]:
    if means is not Means.DRIVE:
        return []
    return [
        (builder.world.things[zone.id], "run")
        for zone in builder.hold.zones
        if set(zone.bays) & set(move.cells) and any(move.direction in dict(c.runs) for c in zone.commands)
    ]


def _places(builder: Builder, cells: tuple[str, ...]) -> str:
    inside = builder.floor.bays_of(cells)
    if not inside:
        return builder.bay_phrase(cells[0])
    text = ("bay " if len(inside) == 1 else "bays ") + " and ".join(inside)
    outside = [cell for cell in cells if cell not in inside]
    return f"{text} and on {builder.bay_phrase(outside[0])}" if outside else text


def _standing_in(builder: Builder, cells: tuple[str, ...]) -> str:
    on_loader = all(builder.floor.cells[cell].door is not None for cell in cells)
    return ("on " if on_loader else "in ") + _places(builder, cells)


def _departure(
    builder: Builder, move: Move, devices: dict[Face, list[Device]], sides: dict[tuple[str, Direction], Thing]
) -> None:
    source, target = move.source, move.target
    unit = builder.units[source.kind].name
    clear = [Is(Holding(c).name, EMPTY) for c in target.cells if c not in source.cells]
    obstacles = _obstacles(
        builder, _edge(builder, source, move.direction), _newly_lain_on(builder, move), move.direction, devices
    )
    guard = conj(
        _so(standing(source)),
        *clear,
        _uncrossed(builder, move.cells),
        _doors_open(builder, move),
        *(neg(stands) for _, stands in obstacles),
    )
    updates = {**vacated(source), **crossing(move)}
    over = " and ".join(dict.fromkeys(face_phrase(builder, face) for face, _ in move.crossed))
    for means, actor, when in _movers(builder, move, source.cells, True):
        text = _MOVERS[means].format(unit=f"the {unit}")
        tags = _tags(builder, move, means)
        tags += [(sides[c, move.direction], "leave") for c in source.cells if (c, move.direction) in sides]
        tags += [(builder.world.things[c], "leave") for c in source.cells if c in builder.floor.bays]
        builder.draft(
            Depart(move, means),
            actor,
            conj(guard, when),
            updates,
            f"{text} {move.direction} from {_places(builder, source.cells)}, until it is over {over}",
            *tags,
        )


def _arrival(builder: Builder, move: Move) -> None:
    """The second half of the move, which is also the way back of the opposite move."""
    source, target = move.source, move.target
    unit = builder.units[source.kind].name
    guard = conj(
        _so(crossing(move)),
        *(Is(Holding(cell).name, EMPTY) for cell in move.cells),
        _doors_open(builder, move),
    )
    updates = {**standing(target), **{Crossing(face).name: NOBODY for face, _ in move.crossed}}
    for means, actor, when in _movers(builder, move, move.cells, False):
        text = _MOVERS[means].format(unit=f"the {unit}")
        tags = _tags(builder, move, means)
        tags += [(builder.world.things[c], "enter") for c in target.cells if c in builder.floor.bays]
        builder.draft(
            Arrive(move, means),
            actor,
            conj(guard, when),
            updates,
            f"{text} {move.direction}, until it stands {_standing_in(builder, target.cells)}",
            *tags,
        )


def _groups(builder: Builder) -> None:
    things = builder.world.things

    def of(ids: list[str]) -> tuple[Thing, ...]:
        return tuple(things[id] for id in ids if id in things)

    hold = builder.hold
    groups = builder.world.groups
    groups["bays"] = of(list(builder.floor.bays))
    groups["units"] = of([u.id for u in hold.units])
    groups["devices"] = of([d.id for d in hold.devices])
    groups["movable_devices"] = of([d.id for d in hold.devices if things[d.id].states["movable"] == TRUE])
    groups["deferred_devices"] = of([d.id for d in hold.devices if d.deferred is not None])
    groups["doors"] = of([d.id for d in hold.doorways])
    groups["doors_with_latch"] = of([d.id for d in hold.doorways if d.latch and d.unlatch])
    groups["doors_with_lock"] = of([d.id for d in hold.doorways if d.lock and d.unlock])
    groups["powered_doors"] = of([d.id for d in hold.doorways if d.moved_by == "power"])
    groups["zones"] = of([z.id for z in hold.zones])
    groups["contested_zones"] = of([z.id for z in hold.zones if len(z.commands) > 1])
    groups["stations"] = of([s.id for s in hold.stations])
    groups["controls"] = of([c.id for c in hold.controls])
    groups["levers"] = of([c.id for c in hold.controls if c.kind == "lever"])
    groups["supplies"] = of([s.id for s in hold.supplies])
    groups["sensors"] = of([s.id for s in hold.sensors])
    groups["circuits"] = of([c.id for c in hold.circuits])
    groups["indications"] = of([c.id for c in hold.circuits if c.use == "indication"])
    groups["relays"] = of([r.id for r in hold.relays])
    groups["people"] = of([p.id for p in hold.people])
    for group in hold.groups:
        groups[group.id] = of(list(group.members))
