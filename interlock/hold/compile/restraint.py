"""What keeps units where they are, bay by bay and side by side, and what they are driven against all the same."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from interlock.diagnostics.said import say, say_both
from interlock.hold.compile.described import Described, stands
from interlock.hold.compile.symbols import Additions, Symbols, told
from interlock.hold.compile.world import Thing
from interlock.hold.compile.zones import drive, held
from interlock.hold.floor import Face, Floor, Move, Placement, lain_on_by
from interlock.hold.language.model import Device, Direction
from interlock.hold.origin import Fact, Holding, Sort, Subject
from interlock.kernel.expressions import FALSE, Expr, Is, Ref, conj, disj, neg


def side_of(cell: str, direction: Direction) -> Thing:
    """The thing that `3L.aft` names."""
    return Thing(
        f"{cell}.{direction}",
        Sort.SIDE_OF_BAY,
        say("the {direction} side of bay {cell}", direction=direction, cell=cell),
    )


def restraint(described: Described, known: Symbols) -> Symbols:
    """The sides of every bay: what covers, runs, stops and restrains there; and which bays are secured."""
    made = Additions()
    floor = described.floor
    for cell in floor.bays:
        for way in Direction:
            _side(described, known, made, cell, way)
    for cell in floor.bays:
        restrained: dict[str, Expr] = {way.value: Ref(_restrained(cell, way).name) for way in Direction}
        around = {way: _devices_at(described, floor.faces(cell, way)) for way in Direction}
        upright = [device.id for on in around.values() for device in on if "z" in device.restrains]
        locking = [_does(described, known, id, "locking") for id in upright]
        phrases = told(say("a unit in bay {cell}", cell=cell), say("restrained upwards"))
        if not locking:
            phrases = phrases[0], say("{phrases}: no device there restrains z", phrases=phrases[1])
        restrained["up"] = made.signal(_restrained(cell, "up"), disj(*locking), phrases)
        up = Thing(f"{cell}.up", Sort.DIRECTION_OF_BAY, say("bay {cell} upwards", cell=cell))
        made.name(up, {"restrained": restrained["up"]})
        secured = conj(*(restrained[way] for way in described.hold.layout.secured))
        fact = Fact(Subject(Sort.BAY, cell), "secured")
        sides = {way.value: side_of(cell, way).id for way in Direction}
        made.name(
            known.things[cell],
            {"secured": made.signal(fact, secured, told(say("a unit in bay {cell}", cell=cell), "secured"))},
            {
                **sides,
                "up": up.id,
                "sides": tuple(sides.values()),
                "devices": tuple(dict.fromkeys(device.id for on in around.values() for device in on)),
            },
        )
    return made.symbols()


def _restrained(cell: str, way: Direction | str) -> Fact:
    return Fact(Subject(Sort.BAY, cell), "restrained", way)


def _side(described: Described, known: Symbols, made: Additions, cell: str, way: Direction) -> None:
    floor, subject = described.floor, Subject(Sort.BAY, cell)
    faces, runs = floor.faces(cell, way), drive(known, cell, way)
    here = _devices_at(described, faces)
    beyond = floor.neighbours(cell, way)
    driven = made.signal(
        Fact(subject, "driven", way),
        conj(described.occupied(cell), runs),
        say_both("the unit in bay {cell} is driven {way}", "no unit in bay {cell} is driven {way}", cell=cell, way=way),
    )
    stopped = made.signal(
        Fact(subject, "stopped", way),
        disj(*(_does(described, known, device.id, "standing") for device in here if way in device.stops)),
        say_both(
            "a device stands at the {way} side of bay {cell}",
            "no device stands at the {way} side of bay {cell}",
            way=way,
            cell=cell,
        ),
    )
    # a unit in a centred bay has two faces towards the lanes, and is held where both hold it
    holding = conj(*(disj(*_holding(described, known, cell, way, face)) for face in faces))
    fact = _restrained(cell, way)
    phrases = told(say("a unit in bay {cell}", cell=cell), say("restrained {way}", way=way))
    if holding == FALSE:
        phrases = (
            phrases[0],
            say(
                "{phrases}: no device there stops {way} and restrains {axis}",
                phrases=phrases[1],
                way=way,
                axis=way.axis,
            ),
        )
    restrained = made.define(fact, holding, phrases)
    states = {
        "crossed": disj(*map(described.crossed, faces)),
        "covered": disj(*map(described.covered, faces)),
        "running": runs,
        "held": held(described, known, cell, way),
        "driven": driven,
        "stopped": stopped,
        "restrained": restrained,
    }
    parts: dict[str, str | tuple[str, ...]] = {"devices": tuple(device.id for device in here)}
    sole = beyond[0] if len(beyond) == 1 else None
    made.name(side_of(cell, way), states, parts if sole not in known.things else {**parts, "beyond": str(sole)})


def _does(described: Described, known: Symbols, device: str, state: str) -> Expr:
    """The device is in the state, and does what it is there for: one that is broken stands and does not."""
    return conj(known.things[device].states[state], neg(described.struck(device, "broken")))


def _devices_at(described: Described, faces: Iterable[Face]) -> tuple[Device, ...]:
    """The devices on any of the faces, each once: they are not hashed, for they hold whole expressions."""
    return tuple({device.id: device for face in faces for device in described.devices_on.get(face, ())}.values())


def _holding(described: Described, known: Symbols, cell: str, way: Direction, face: Face) -> Iterator[Expr]:
    """What holds a unit in the cell back at one face: a device, another part of it, a neighbour where that counts."""
    floor, beyond = described.floor, described.floor.beyond(face, cell)
    for device in described.devices_on.get(face, ()):
        if way in device.stops and way.axis in device.restrains:
            yield _does(described, known, device.id, "locking")
    for placement in floor.placements:
        for place, part in zip(placement.cells, placement.parts, strict=True):
            if place == cell and beyond in placement.cells:
                yield Is(Holding(cell).name, part)
    if described.hold.layout.neighbour_restrains and beyond is not None and beyond in floor.bays:
        yield conj(described.occupied(beyond), Ref(_restrained(beyond, way).name))


def edge_of(floor: Floor, placement: Placement, direction: Direction) -> list[Face]:
    """The faces before a unit."""
    faces = ((face, cell) for cell in placement.cells for face in floor.faces(cell, direction))
    return [face for face, cell in faces if floor.beyond(face, cell) not in placement.cells]


def obstacles(
    described: Described, known: Symbols, edge: Iterable[Face], direction: Direction, move: Move | None
) -> list[tuple[Device, Expr]]:
    """The devices in the way of a unit: those that stop it at its edge, those that it would have to lie on."""
    floor = described.floor
    lain_on = sorted(lain_on_by(floor, move.target) - lain_on_by(floor, move.source)) if move else []

    def on(faces: Iterable[Face]) -> Iterable[Device]:
        return (device for face in faces for device in described.devices_on.get(face, ()))

    found = [device for device in on(edge) if direction in device.stops]
    found += [device for device in on(lain_on) if direction not in device.gives_way]
    met = [(device, _does(described, known, device.id, "standing")) for device in found]
    for device in (device for device in (*on(edge), *on(lain_on)) if direction in device.gives_way):
        jammed = conj(_does(described, known, device.id, "standing"), described.struck(device.id, "jammed_up"))
        met += [(device, jammed)] if jammed != FALSE else []
    return met


def pressing(described: Described, known: Symbols) -> Symbols:
    """A unit that is driven although something is in its way."""
    made = Additions()
    floor = described.floor
    moves: dict[tuple[Placement, Direction], list[Move]] = {}
    for move in floor.moves:
        moves.setdefault((move.source, move.direction), []).append(move)
    sides = [(cell, direction) for cell in floor.bays for direction in Direction]
    on_device: dict[tuple[str, Direction], list[Expr]] = {side: [] for side in sides}
    on_stop: dict[tuple[str, Direction], list[Expr]] = {side: [] for side in sides}
    on_unit: dict[tuple[str, Direction], list[Expr]] = {side: [] for side in sides}
    one_sided: dict[str, list[Expr]] = {cell: [] for cell in floor.bays}
    for placement in floor.placements:
        inside = floor.bays_of(placement.cells)
        for direction in Direction:
            options = moves.get((placement, direction), [])
            driven = conj(stands(placement), disj(*(drive(known, cell, direction) for cell in placement.cells)))
            # what comes from a lane to a centred bay, or leaves it, is driven against the whole of the line
            edge = dict.fromkeys(face for one in edge_of(floor, placement, direction) for face in floor.line_of(one))
            met = obstacles(described, known, edge, direction, options[0] if options else None)
            for device, standing in met:
                found = on_stop if device.is_structure else on_device
                for cell in inside:
                    found[cell, direction].append(conj(driven, standing))
            next_to = [other for cell in placement.cells for other in floor.neighbours(cell, direction)]
            if options:
                next_to = [cell for move in options for cell in move.target.cells]
            elif any(device.is_structure for device, _ in met):
                # a fixed stop or guide before any part of it keeps it from whatever is beyond
                next_to = []
            # otherwise whether or not the layout lets it stand there: the drive does not know
            ahead = [cell for cell in next_to if cell not in placement.cells]
            if not floor.is_inside(placement):
                # what stands beside it outside the sill is the loader's
                ahead = [cell for cell in ahead if cell in floor.bays]
            units = [described.occupied(cell) for cell in ahead]
            units += [_half_way(described, known, cell, direction) for cell in ahead]
            for cell in inside:
                on_unit[cell, direction].append(conj(driven, disj(*units)))
            if len(inside) > 1 and options and not options[0].doors:
                run = [drive(known, cell, direction) for cell in inside]
                split = conj(stands(placement), disj(*run), neg(conj(*run)))
                for cell in inside:
                    one_sided[cell].append(split)
    for cell, direction in sides:
        subject = Subject(Sort.BAY, cell)
        states = {}
        for state, cases, against in (
            ("driven_on_device", on_device, say("a raised device")),
            ("driven_on_stop", on_stop, say("a fixed stop")),
            ("driven_on_unit", on_unit, say("another unit")),
        ):
            text = say(
                "unit in bay {cell} is driven {direction} against {against}",
                cell=cell,
                direction=direction,
                against=against,
            )
            fact = Fact(subject, state, direction)
            states[state] = made.signal(
                fact, disj(*cases[cell, direction]), (say_both("the {text}", "no {text}", text=text))
            )
        facing = disj(*(drive(known, other, direction.opposite) for other in floor.neighbours(cell, direction)))
        drives = say("the drives under bay {cell} and the next {direction}", cell=cell, direction=direction)
        states["opposed"] = made.signal(
            Fact(subject, "opposed", direction),
            conj(drive(known, cell, direction), facing),
            say_both("{drives} run towards each other", "{drives} do not run towards each other", drives=drives),
        )
        made.name(side_of(cell, direction), states)
    for cell, splits in one_sided.items():
        fact = Fact(Subject(Sort.BAY, cell), "driven_one_sided")
        text = say("unit in bay {cell} is driven under a part of it only", cell=cell)
        signal = made.signal(fact, disj(*splits), (say_both("the {text}", "no {text}", text=text)))
        made.name(known.things[cell], {fact.what: signal})
    return made.symbols()


def _half_way(described: Described, known: Symbols, cell: str, direction: Direction) -> Expr:
    """A unit reaches into the cell, on its way over one of its faces, and is not carried off in the direction."""
    floor = described.floor
    found = []
    for side, face in ((way, face) for way in Direction for face in floor.faces(cell, way)):
        gone: Expr = FALSE
        if side.axis == direction.axis:
            gone = disj(*(drive(known, end, direction) for end, _ in floor.sides_of_face(face)))
        found.append(conj(described.crossed(face), neg(gone)))
    return disj(*found)
