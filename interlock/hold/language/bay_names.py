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

    `missing` lists those that a rule of the layout takes out; their names stay taken.
    """

    lanes: tuple[str, ...]
    rows: int
    missing: frozenset[str] = frozenset()

    @cached_property
    def places(self) -> Mapping[str, tuple[int, int]]:
        """Row (from 1) and number of the lane (from 0) of each bay, row by row."""
        return {f"{row}{lane}": (row, at) for row in range(1, self.rows + 1) for at, lane in enumerate(self.lanes)}

    def __contains__(self, name: str) -> bool:
        return name in self.places

    def between(self, first: str, last: str) -> tuple[str, ...] | None:
        """The bays from `first` to `last` along a lane or across a row; None where they share neither.

        Also None where the second comes before the first.
        """
        row, lane = self.places[first]
        last_row, last_lane = self.places[last]
        if lane == last_lane and row <= last_row:
            return tuple(f"{at}{self.lanes[lane]}" for at in range(row, last_row + 1))
        if row == last_row and lane <= last_lane:
            return tuple(f"{row}{self.lanes[at]}" for at in range(lane, last_lane + 1))
        return None


def looks_like_bay(name: str) -> bool:
    """Whether a name has the form of a bay's, whether or not there is such a bay."""
    return _BAY.match(name) is not None
