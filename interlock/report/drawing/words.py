"""What a plan shows, in words: for those who cannot see it, and what has no place on it."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping

from interlock.diagnostics.said import joined, linked, say
from interlock.hold.compile.compiler import CompiledHold
from interlock.hold.floor import Move
from interlock.hold.kinds import DEVICE_KINDS
from interlock.hold.language.model import Device
from interlock.report.views.snapshot import Snapshot
from interlock.report.views.wording import capital


def described(compiled: CompiledHold, snapshot: Snapshot | None, rows: Collection[int] | None = None) -> str:
    """What stands and what is up or down, in the rows of bays named or (None) in all."""
    return joined(list(_described(compiled, snapshot, rows)))


def rows_of(compiled: CompiledHold, device: Device) -> frozenset[int]:
    """The rows of the bays beside which the device stands."""
    return frozenset(compiled.floor.cells[side.bay].row for side in device.on if side.bay in compiled.floor.cells)


def _described(compiled: CompiledHold, snapshot: Snapshot | None, rows: Collection[int] | None) -> Iterator[str]:
    hold, cells = compiled.hold, compiled.floor.cells
    bays = [bay for bay in compiled.floor.bays if rows is None or cells[bay].row in rows]
    if snapshot is None:
        yield say("Bays {bays}.", bays=", ".join(bays))
        return
    names = {unit.id: unit.name for unit in hold.units}
    aboard = [
        say("{unit} in {bays}", unit=names[unit.kind], bays=linked(unit.cells))
        for unit in snapshot.resting
        if rows is None or any(cell in bays for cell in unit.cells)
    ]
    yield say("Units: {units}.", units=joined(aboard, "; ")) if aboard else say("No unit.")
    moving = [
        _between(names, move, "+".join(move.source.cells), "+".join(move.target.cells)) for move in snapshot.crossings
    ]
    if moving:
        yield say("Partly across: {units}.", units=joined(moving, "; "))
    by_state: dict[str, list[str]] = {}
    for device in hold.devices:
        movable = len(DEVICE_KINDS[device.kind].states) > 1
        if movable and (rows is None or rows_of(compiled, device) & set(rows)):
            word = DEVICE_KINDS[device.kind].word(snapshot.devices[device.id])
            by_state.setdefault(word, []).append(device.id)
    for state, ids in sorted(by_state.items()):
        yield capital(say("{state}: {devices}.", state=state, devices=", ".join(ids)))
    for door in hold.doorways:
        if rows is None or any(cells[bay].row in rows for bay in door.bays if bay in cells):
            facts = joined([say(fact) for fact in snapshot.doors[door.id]], ", ")
            yield say("{door} ({id}): {facts}.", door=door.name.capitalize(), id=door.id, facts=facts)
    if snapshot.failed:
        yield say("Failed: {devices}.", devices=", ".join(sorted(snapshot.failed)))


def facts_of(compiled: CompiledHold, snapshot: Snapshot) -> list[tuple[str, str]]:
    """What has no place on a plan: what it is about, and what is so."""
    hold = compiled.hold
    names = {unit.id: unit.name for unit in hold.units}
    doors = {door.id: door.name for door in hold.doorways}
    places = {place.id: place.name for place in hold.places}
    people = {person.id: person.name for person in hold.people}
    facts = [(f"{doors[id]} ({id})", joined([say(fact) for fact in held], ", ")) for id, held in snapshot.doors.items()]
    moving = []
    for move in snapshot.crossings:
        ends = (_side(compiled, placement.cells) for placement in (move.source, move.target))
        moving.append(_between(names, move, *ends))
    if moving:
        facts.append((say("Partly across"), joined(moving, "; ")))
    if snapshot.told:
        told = [say("{name} ({id}) {state}", name=name, id=id, state=state) for id, name, state in snapshot.told]
        facts.append((say("Controls and power"), joined(told, "; ")))
    if snapshot.people:
        facts.append((say("People"), "; ".join(f"{people[id]} {places[at]}" for id, at in snapshot.people.items())))
    if snapshot.failures:
        facts.append((say("Failures"), joined(snapshot.failures, "; ")))
    return facts


def _between(names: Mapping[str, str], move: Move, source: str, target: str) -> str:
    return say("{unit} between {first} and {second}", unit=names[move.source.kind], first=source, second=target)


def _side(compiled: CompiledHold, cells: tuple[str, ...]) -> str:
    inside = compiled.floor.bays_of(cells)
    outside = sorted({str(compiled.floor.cells[c].door) for c in cells if c not in inside})
    return joined([*inside, *(say("loader at {door}", door=door) for door in outside)], " + ")
