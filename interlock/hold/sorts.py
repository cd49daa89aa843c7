"""The sorts of things that names are about, and how things of each sort can fail."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum


class Sort(StrEnum):
    """What sort of thing a name is about, as messages call it."""

    BAY = "bay"
    SIDE_OF_BAY = "side of a bay"
    DIRECTION_OF_BAY = "direction of a bay"
    LOADER_PLACE = "loader place"
    KIND_OF_UNIT = "kind of unit"
    FACE = "face"
    DEVICE = "device"
    DOOR = "door"
    CONTROL = "control"
    LEVER = "lever"
    PUSH_BUTTON = "push button"
    MOMENTARY_SWITCH = "momentary switch"
    STATION = "station"
    SUPPLY = "supply"
    SENSOR = "sensor"
    RELAY = "relay"
    CIRCUIT = "circuit"
    ZONE = "zone"
    DIRECTION_OF_ZONE = "direction of a zone"
    DRIVE = "drive"
    PERSON = "person"
    HOLD = "hold"
    REQUIREMENT = "requirement"

    @property
    def is_control(self) -> bool:
        """A hand works it to give a command, or to work devices from afar."""
        return self is Sort.CONTROL or self.is_held

    @property
    def is_held(self) -> bool:
        """It springs back when a hand lets go of it."""
        return self in (Sort.LEVER, Sort.PUSH_BUTTON, Sort.MOMENTARY_SWITCH)


@dataclass(frozen=True, slots=True)
class Failing:
    """A way to fail: `text` says that it has struck, with `{name}` for the thing."""

    mode: str
    text: str


_STICKS = Failing("stuck", "{name} sticks")
FAILURES: Mapping[Sort, tuple[Failing, ...]] = {
    Sort.DEVICE: (Failing("stuck", "{name} sticks where it is"),),
    Sort.CONTROL: (_STICKS,),
    Sort.LEVER: (_STICKS,),
    Sort.PUSH_BUTTON: (_STICKS,),
    Sort.MOMENTARY_SWITCH: (_STICKS,),
    Sort.SENSOR: (
        Failing("stuck_true", "{name} sticks at true"),
        Failing("stuck_false", "{name} sticks at false"),
        Failing("reads_opposite", "{name} reads the opposite"),
    ),
}
"""How things of each sort can fail, where a description declares it; of devices only those that a hand works."""
FAILURE_MODES = tuple(dict.fromkeys(failing.mode for failings in FAILURES.values() for failing in failings))
