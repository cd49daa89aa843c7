"""The places at which the loader can stand at a sill, called by the bays that they are beside."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from interlock.hold.floor import Floor, Placement


def bays_beside(floor: Floor, placement: Placement) -> tuple[str, ...]:
    """The bays of a sill beside which the part of a unit that is outside stands; none where nothing is outside.

    The first of them is what the place is called by.
    """
    found = [
        cell.removeprefix(f"{door}-").split("-")[0]
        for cell in placement.cells
        if (door := floor.cells[cell].door) is not None
    ]
    return tuple(dict.fromkeys(found))


def standing_beside(floor: Floor, placements: Iterable[Placement], bay: str) -> frozenset[Placement]:
    """The placements that are meant by the bay: of each kind those called by it, else those beside it as well."""
    kinds: dict[str, list[Placement]] = {}
    for placement in placements:
        if bay in bays_beside(floor, placement):
            kinds.setdefault(placement.kind, []).append(placement)
    found: set[Placement] = set()
    for units in kinds.values():
        first = [unit for unit in units if bays_beside(floor, unit)[0] == bay]
        found |= set(first or units)
    return frozenset(found)


def places_of_rules(floor: Floor) -> Mapping[str, Placement]:
    """By the start of a rule's name, where the unit is that the rule brings, takes away or carries over a sill.

    Of a move this is the end that has a part outside; where both have, they are beside the same bays.
    """
    found = {f"loader.{placement.id}": placement for _, placement in floor.entries}
    for move in floor.moves:
        outside = next((end for end in (move.source, move.target) if bays_beside(floor, end)), None)
        if outside is not None:
            found[f"unit.{move.source.id}.{move.direction}.depart"] = outside
            found[f"unit.{move.target.id}.{move.direction}.arrive"] = outside
    return found
