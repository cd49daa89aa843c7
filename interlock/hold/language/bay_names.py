"""The names of bays, and ranges of them."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

MOST_BAYS = 1_000

_BAY = re.compile(r"(\d{1,4})(.+)\Z", re.DOTALL)


@dataclass(frozen=True)
class BayNames:
    """The bays of a layout: `<row><lane>` for every row from 1 and every lane.

    `centred` are bays in the place of two lanes of a row: the row, the name of the lane in between, the number of the
    left one of the two.  `missing` lists bays that a rule of the layout takes out; their names stay taken.
    """

    lanes: tuple[str, ...]
    rows: int
    missing: frozenset[str] = frozenset()
    centred: tuple[tuple[int, str, int], ...] = ()

    @cached_property
    def places(self) -> Mapping[str, tuple[int, int]]:
        """Row (from 1) and number of the lane (from 0) of each bay, of a centred one the left of its two; by row."""
        at = {(row, lane): name for row in range(1, self.rows + 1) for lane, name in enumerate(self.lanes)}
        for row, name, left in self.centred:
            at[row, left] = name
            at.pop((row, left + 1), None)
        return {f"{row}{name}": (row, lane) for (row, lane), name in at.items()}

    def __contains__(self, name: str) -> bool:
        return name in self.places

    def between(self, first: str, last: str) -> tuple[str, ...] | None:
        """The bays from `first` to `last` along a lane or across a row; None where they share neither.

        Also None where the second comes before the first.
        """
        row, lane = self.places[first]
        last_row, last_lane = self.places[last]
        name = first.removeprefix(str(row))
        if name == last.removeprefix(str(last_row)) and row <= last_row:
            found = tuple(f"{at}{name}" for at in range(row, last_row + 1))
            return found if all(bay in self.places for bay in found) else None
        if row == last_row and lane <= last_lane:
            return tuple(bay for bay, (at, where) in self.places.items() if at == row and lane <= where <= last_lane)
        return None


def looks_like_bay(name: str) -> bool:
    """Whether a name has the form of a bay's, whether or not there is such a bay."""
    return _BAY.match(name) is not None
