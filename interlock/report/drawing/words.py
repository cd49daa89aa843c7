"""What a plan shows, in words: for those who cannot see it, and what has no place on it."""

from __future__ import annotations

from collections.abc import Collection, Iterator

from interlock.hold.compile.compiler import CompiledHold
from interlock.hold.kinds import DEVICE_KINDS
from interlock.hold.language.model import Device
from interlock.report.views.snapshot import Snapshot


def described(compiled: CompiledHold, snapshot: Snapshot | None, rows: Collection[int] | None = None) -> str:
    """What stands and what is up or down, in the rows of bays named or (None) in all."""
    return " ".join(_described(compiled, snapshot, rows))


def rows_of(compiled: CompiledHold, device: Device) -> frozenset[int]:
    """The rows of the bays beside which the device stands."""
    return frozenset(compiled.floor.cells[side.bay].row for side in device.on if side.bay in compiled.floor.cells)


def _described(compiled: CompiledHold, snapshot: Snapshot | None, rows: Collection[int] | None) -> Iterator[str]:
    hold, cells = compiled.hold, compiled.floor.cells
    bays = [bay for bay in compiled.floor.bays if rows is None or cells[bay].row in rows]
    if snapshot is None:
        yield f"Bays {', '.join(bays)}."
        return
    names = {unit.id: unit.name for unit in hold.units}
    aboard = [
        f"{names[unit.kind]} in {' and '.join(unit.cells)}"
        for unit in snapshot.resting
        if rows is None or any(cell in bays for cell in unit.cells)
    ]
    yield f"Units: {'; '.join(aboard)}." if aboard else "No unit."
    moving = [
        f"{names[move.source.kind]} between {'+'.join(move.source.cells)} and {'+'.join(move.target.cells)}"
        for move in snapshot.crossings
    ]
    if moving:
        yield f"Partly across: {'; '.join(moving)}."
    by_state: dict[str, list[str]] = {}
    for device in hold.devices:
        movable = len(DEVICE_KINDS[device.kind].states) > 1
        if movable and (rows is None or rows_of(compiled, device) & set(rows)):
            by_state.setdefault(snapshot.devices[device.id].replace("_", " "), []).append(device.id)
    for state, ids in sorted(by_state.items()):
        yield f"{state.capitalize()}: {', '.join(ids)}."
    for door in hold.doorways:
        if rows is None or any(cells[bay].row in rows for bay in door.bays if bay in cells):
            yield f"{door.name.capitalize()} ({door.id}): {', '.join(snapshot.doors[door.id])}."
    if snapshot.failed:
        yield f"Failed: {', '.join(sorted(snapshot.failed))}."


def facts_of(compiled: CompiledHold, snapshot: Snapshot) -> list[tuple[str, str]]:
    """What has no place on a plan: what it is about, and what is so."""
    hold = compiled.hold
    names = {unit.id: unit.name for unit in hold.units}
    doors = {door.id: door.name for door in hold.doorways}
    places = {place.id: place.name for place in hold.places}
    people = {person.id: person.name for person in hold.people}
    facts = [(f"{doors[id]} ({id})", ", ".join(held)) for id, held in snapshot.doors.items()]
    moving = []
    for move in snapshot.crossings:
        ends = " and ".join(_side(compiled, placement.cells) for placement in (move.source, move.target))
        moving.append(f"{names[move.source.kind]} between {ends}")
    if moving:
        facts.append(("Partly across", "; ".join(moving)))
    if snapshot.told:
        told = "; ".join(f"{name} ({id}) {state.replace('_', ' ')}" for id, name, state in snapshot.told)
        facts.append(("Controls and power", told))
    if snapshot.people:
        facts.append(("People", "; ".join(f"{people[id]} {places[at]}" for id, at in snapshot.people.items())))
    if snapshot.failures:
        facts.append(("Failures", "; ".join(snapshot.failures)))
    return facts


def _side(compiled: CompiledHold, cells: tuple[str, ...]) -> str:
    inside = compiled.floor.bays_of(cells)
    outside = sorted({str(compiled.floor.cells[c].door) for c in cells if c not in inside})
    return " + ".join([*inside, *(f"loader at {door}" for door in outside)])
