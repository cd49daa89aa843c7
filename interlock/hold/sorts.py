"""The sorts of things that names are about, the sorts of items that fail, and how items of each sort can fail."""

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


class Item(StrEnum):
    """What sort of item fails, as the catalogue of failures calls it: a thing, or what belongs to it."""

    SENSOR = "sensor"
    SWITCH = "switch"
    HELD_CONTROL = "control that springs back"
    HANDLE = "handle"
    PANEL = "access panel"
    HAND_DEVICE = "hand-worked device"
    SPRING_DEVICE = "spring device"
    POWERED_DEVICE = "powered device"
    HANDLE_DEVICE = "handle-worked lock"


@dataclass(frozen=True, slots=True)
class Failing:
    """A way to fail: `text` says that it has struck, with `{name}` for the item.

    `moving`: it is about how the item moves, and means nothing for one that is fixed.
    """

    mode: str
    text: str
    moving: bool = False


_STICKS = Failing("stuck", "{name} sticks", moving=True)
_STICKS_THERE = Failing("stuck", "{name} sticks where it is", moving=True)
FAILURES: Mapping[Item, tuple[Failing, ...]] = {
    Item.SENSOR: (
        Failing("stuck_true", "{name} sticks at true"),
        Failing("stuck_false", "{name} sticks at false"),
        Failing("reads_opposite", "{name} reads the opposite"),
    ),
    Item.SWITCH: (_STICKS,),
    Item.HELD_CONTROL: (_STICKS,),
    Item.HANDLE: (_STICKS,),
    Item.PANEL: (_STICKS,),
    Item.HAND_DEVICE: (_STICKS_THERE,),
    Item.SPRING_DEVICE: (_STICKS_THERE,),
    Item.POWERED_DEVICE: (_STICKS_THERE,),
    Item.HANDLE_DEVICE: (_STICKS_THERE,),
}
"""How items of each sort can fail."""
FAILURE_MODES = tuple(dict.fromkeys(failing.mode for failings in FAILURES.values() for failing in failings))
