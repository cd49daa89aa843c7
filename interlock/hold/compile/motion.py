"""How units move.

Motion has two halves.  A unit *departs*: it leaves its cells and is over the faces that it crosses, holding down what
it lies on.  Then it *arrives*, or goes back.  Between the halves anything may happen.  A half is done by a drive, by
the loader, by pushing or by drift; nothing departs against a device that stands in its way.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from interlock.diagnostics.said import linked, say, say_both, say_many
from interlock.hold.compile.described import Described, position
from interlock.hold.compile.restraint import edge_of, obstacles, side_of
from interlock.hold.compile.symbols import Additions, Symbols, promised
from interlock.hold.compile.zones import drive
from interlock.hold.floor import Move
from interlock.hold.language.model import Device, Direction
from interlock.hold.origin import (
    EMPTY,
    NOBODY,
    Arrive,
    Bring,
    Crossing,
    Depart,
    Fact,
    Fixed,
    Hindrance,
    Holding,
    Means,
    Sort,
    Stop,
    Subject,
    TakeAway,
    crossing,
    pushing_in,
    standing,
    vacated,
)
from interlock.hold.sill_places import bays_beside
from interlock.kernel.expressions import FALSE, TRUE, Expr, Is, Value, conj, disj, neg
from interlock.kernel.machine import Actor

PUSHING = Fact(Subject(Sort.HOLD, "pushing"))
"""That units can be pushed by hand."""

_CARRIES = {
    Means.DRIVE: "the drive carries the {unit} {direction}",
    Means.LOADER: "the loader moves the {unit} {direction}",
    Means.PUSH: "push the {unit} {direction}",
    Means.DRIFT: "by itself the {unit} rolls {direction}",
}


def loading(described: Described, known: Symbols) -> Symbols:
    """Units come and go on the loader: nothing else makes or ends one."""
    made = Additions()
    doors = {door.id: door for door in described.hold.doorways}
    for id, placement in described.floor.entries:
        unit = described.name_of_unit(placement.kind)
        around = _uncrossed(described, placement.cells)
        beside = bays_beside(described.floor, placement)
        where = (
            say("the sill of {name}", name=doors[id].name)
            if len(doors[id].bays) == 1
            else say_many("the sill at bay {beside}", "the sill at bays {beside}", len(beside), beside=linked(beside))
        )
        made.act(
            Bring(id, placement),
            Actor.CREW,
            conj(_so(vacated(placement)), around),
            standing(placement),
            say("bring a {unit} on the loader to {where}", unit=unit, where=where),
            ((id, "bring"), (id, f"bring_{placement.kind}")),
        )
        made.act(
            TakeAway(id, placement),
            Actor.CREW,
            conj(_so(standing(placement)), around),
            vacated(placement),
            say("take the {unit} on the loader away from {where}", unit=unit, where=where),
            ((id, "take_away"), (id, f"take_away_{placement.kind}")),
        )
    return made.symbols()


def motion(described: Described, known: Symbols) -> Symbols:
    """Every move in its two halves, by every means."""
    made = Additions()
    pushing = described.hold.layout.pushing
    if isinstance(pushing, tuple):
        for rule in pushing:
            where = say_many("in bay {bays}", "in bays {bays}", len(rule.bays), bays=", ".join(rule.bays))
            phrases = say_both(
                "units can be pushed by hand {where}", "units cannot be pushed by hand {where}", where=where
            )
            made.promise(pushing_in(rule), rule.when, phrases)
    elif pushing is not None and described.floor.moves:
        made.promise(PUSHING, pushing, (say("units can be pushed by hand"), say("units cannot be pushed by hand")))
    for move in described.floor.moves:
        _departure(described, known, made, move)
        _arrival(described, known, made, move)
    return made.symbols()


def _departure(described: Described, known: Symbols, made: Additions, move: Move) -> None:
    source, floor = move.source, described.floor
    crossed = {face for face, _ in move.crossed}
    edge = [face for face in edge_of(floor, source, move.direction) if face in crossed]
    met = obstacles(described, known, edge, move.direction, move)
    guard = conj(
        _so(standing(source)),
        *(Is(Holding(cell).name, EMPTY) for cell in move.target.cells if cell not in source.cells),
        _uncrossed(described, move.cells),
        _doors_open(move),
        *(disj(neg(stands), described.lifted(*_stops(device, move.direction))) for device, stands in met),
    )
    over = linked(list(dict.fromkeys(described.face_phrase(face) for face, _ in move.crossed)))
    bays = floor.bays_of(source.cells)
    left = [(side_of(cell, move.direction).id, "leave") for cell in bays] + [(cell, "leave") for cell in bays]
    for means, actor, when in _means(described, known, move, source.cells, departing=True):
        made.act(
            Depart(move, means),
            actor,
            conj(guard, when),
            {**vacated(source), **crossing(move)},
            say(
                "{carries} from {places}, until it is over {over}",
                carries=_carries(described, move, means),
                places=_places(described, source.cells),
                over=over,
            ),
            [*_runs(described, move, means), *left],
        )


def _stops(device: Device, way: Direction) -> tuple[Hindrance, ...]:
    stop = Stop(device.id, way)
    return (stop,) if device.fixed is None else (stop, Fixed(device.id))


def _arrival(described: Described, known: Symbols, made: Additions, move: Move) -> None:
    """The second half of the move, which is also the way back of the opposite move."""
    target, floor = move.target, described.floor
    guard = conj(
        _so(crossing(move)),
        *(Is(Holding(cell).name, EMPTY) for cell in move.cells),
        _doors_open(move),
    )
    on_loader = all(floor.cells[cell].door for cell in target.cells)
    where = say("on {places}" if on_loader else "in {places}", places=_places(described, target.cells))
    entered = [(cell, "enter") for cell in floor.bays_of(target.cells)]
    for means, actor, when in _means(described, known, move, move.cells, departing=False):
        made.act(
            Arrive(move, means),
            actor,
            conj(guard, when),
            {**standing(target), **{Crossing(face).name: NOBODY for face, _ in move.crossed}},
            say("{carries}, until it stands {where}", carries=_carries(described, move, means), where=where),
            [*_runs(described, move, means), *entered],
        )


def _so(facts: Mapping[str, Value]) -> Expr:
    """Every variable has its value."""
    return conj(*(Is(variable, value) for variable, value in facts.items()))


def _uncrossed(described: Described, cells: tuple[str, ...]) -> Expr:
    return conj(*(neg(described.crossed(face)) for face in sorted(described.floor.faces_around(cells))))


def _doors_open(move: Move) -> Expr:
    return conj(*(Is(position(Sort.DOOR, door).name, "open") for door in move.doors))


def _means(
    described: Described, known: Symbols, move: Move, cells: tuple[str, ...], *, departing: bool
) -> Iterator[tuple[Means, Actor, Expr]]:
    """What may carry a unit in the move's direction: (means, actor, when)."""
    layout, floor = described.hold.layout, described.floor
    driven = disj(*(drive(known, cell, move.direction) for cell in cells))
    if driven != FALSE:
        yield Means.DRIVE, Actor.PLANT, driven
    outside = [floor.cells[cell].door is not None for cell in cells]
    if move.doors and any(outside):
        yield Means.LOADER, Actor.CREW, TRUE
    if all(outside) and departing:
        # what stands wholly on the loader is the loader's business; what reaches into the hold can roll and be pushed
        return
    pushing = disj(*dict.fromkeys(_pushed(described, cell) for cell in floor.bays_of(cells)))
    if pushing != FALSE:
        yield Means.PUSH, Actor.CREW, pushing
    drifting = TRUE if move.direction in layout.drift else disj(*(described.struck(cell, "drifts") for cell in cells))
    if drifting != FALSE:
        yield Means.DRIFT, Actor.PLANT, drifting


def _pushed(described: Described, bay: str) -> Expr:
    """Somebody can push a unit there."""
    pushing = described.hold.layout.pushing
    if isinstance(pushing, tuple):
        rules = [promised(pushing_in(rule), rule.when) for rule in pushing if bay in rule.bays]
        return conj(disj(*rules), described.reach(bay))
    return FALSE if pushing is None else conj(promised(PUSHING, pushing), described.reach(bay))


def _carries(described: Described, move: Move, means: Means) -> str:
    return say(_CARRIES[means], unit=described.name_of_unit(move.source.kind), direction=move.direction)


def _runs(described: Described, move: Move, means: Means) -> list[tuple[str, str]]:
    """The zones of which a step of the drives is a step."""
    if means is not Means.DRIVE:
        return []
    return [
        (zone.id, "run")
        for zone in described.hold.zones
        if set(zone.bays) & set(move.cells) and any(move.direction in dict(command.runs) for command in zone.commands)
    ]


def _places(described: Described, cells: tuple[str, ...]) -> str:
    inside = described.floor.bays_of(cells)
    if not inside:
        return described.bay_phrase(cells[0])
    text = say("bay {bay}", bay=inside[0]) if len(inside) == 1 else say("bays {bays}", bays=linked(inside))
    outside = [cell for cell in cells if cell not in inside]
    return (
        say("{text} and on {bay_phrase}", text=text, bay_phrase=described.bay_phrase(outside[0])) if outside else text
    )
