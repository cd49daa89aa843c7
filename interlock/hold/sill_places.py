"""The places at which the loader can stand at a sill, called by the bays that they are beside."""

from __future__ import annotations

from collections.abc import Iterable

from interlock.hold.floor import Floor, Placement
from interlock.hold.origin import Arrive, Bring, Deed, Depart, TakeAway


def bays_beside(floor: Floor, placement: Placement) -> tuple[str, ...]:
    """The bays of a sill beside which the part of a unit that is outside stands; none where nothing is outside.

    The first of them is what the place is called by.
    """
    cells = (floor.cells[cell] for cell in placement.cells)
    return tuple(dict.fromkeys(cell.bay for cell in cells if cell.door is not None))


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


def place_at_sill(floor: Floor, deed: Deed) -> Placement | None:
    """Where the unit is that is brought, taken away or carried over a sill; None for all else that is done.

    Of a move this is the end that has a part outside; where both have, they are beside the same bays.
    """
    match deed:
        case Bring(_, placement) | TakeAway(_, placement):
            return placement
        case Depart(move) | Arrive(move):
            return next((end for end in (move.source, move.target) if bays_beside(floor, end)), None)
    return None
