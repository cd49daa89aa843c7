"""The sorts of things that names are about, the sorts of items that fail, and how items of each sort can fail."""

from __future__ import annotations

from collections.abc import Mapping
from enum import StrEnum

from interlock.diagnostics.frozen import frozen


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
    COMMON_CAUSE = "common cause"

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
    FIXED_DEVICE = "fixed device"
    FLOOR = "floor of a bay"
    DRIVE = "drive under a bay"
    POWERED_DOOR = "powered door"
    HAND_DOOR = "hand-moved door"
    DOOR_LATCH = "latch of a door"
    DOOR_LOCK = "lock of a door"
    SUPPLY = "supply"
    RELAY = "relay"
    CIRCUIT = "circuit"
    CONTACT = "contact"
    COMMON_CAUSE = "common cause"
    STATION = "station"


@frozen
class Failing:
    """A way to fail: `text` says that it has struck, with `{name}` for the item.

    `moving`: it is about how the item moves, and means nothing for one that is fixed.  `way`: it is about running that
    way.
    """

    mode: str
    text: str
    moving: bool = False
    way: str = ""


def runs(way: str) -> str:
    """The mode of a drive that runs that way although nothing asks it to."""
    return f"runs_{way}"


_STICKS = Failing("stuck", "{name} sticks", moving=True)
_STICKS_THERE = Failing("stuck", "{name} sticks where it is", moving=True)
_BROKEN = Failing("broken", "{name} is broken: it holds nothing and stops nothing, though it may stand")
_SPRING = Failing("spring_broken", "the spring of {name} is broken: it stays down", moving=True)
_TOGETHER = Failing("contacts_together", "the contacts of all positions of {name} are made at once")
FAILURES: Mapping[Item, tuple[Failing, ...]] = {
    Item.SENSOR: (
        Failing("stuck_true", "{name} sticks at true"),
        Failing("stuck_false", "{name} sticks at false"),
        Failing("reads_opposite", "{name} reads the opposite"),
    ),
    Item.SWITCH: (_STICKS, _TOGETHER),
    Item.HELD_CONTROL: (
        _STICKS,
        Failing("spring_broken", "the spring of {name} is broken: it stays where it is put", moving=True),
        _TOGETHER,
    ),
    Item.HANDLE: (
        _STICKS,
        Failing("linkage_broken", "the linkage of {name} is broken: it works none of its locks", moving=True),
        Failing("does_not_return", "the linkage of {name} does not return: its locks go or stay down", moving=True),
    ),
    Item.PANEL: (_STICKS,),
    Item.HAND_DEVICE: (_STICKS_THERE, _BROKEN),
    Item.SPRING_DEVICE: (
        _STICKS_THERE,
        Failing("jammed_up", "{name} is jammed: it stays up and gives way to nothing", moving=True),
        _SPRING,
        _BROKEN,
    ),
    Item.POWERED_DEVICE: (
        Failing("works_uncommanded", "{name} moves by itself, as if its circuit were true", moving=True),
        Failing("rests", "{name} goes to rest by itself, and its circuit does not move it", moving=True),
        _BROKEN,
    ),
    Item.HANDLE_DEVICE: (
        Failing("linkage_broken", "the linkage of {name} is broken: its handle does not lower it", moving=True),
        _SPRING,
        _BROKEN,
    ),
    Item.FIXED_DEVICE: (_BROKEN,),
    Item.FLOOR: (Failing("drifts", "nothing slows a unit on {name}: it drifts"),),
    Item.DRIVE: (
        Failing("dead", "{name} is dead"),
        Failing("runs_other_way", "{name} runs the other way"),
        *(Failing(runs(way), f"{{name}} runs {way} uncommanded", way=way) for way in ("fore", "aft", "left", "right")),
    ),
    Item.POWERED_DOOR: (
        Failing("dead", "the drive of {name} is dead"),
        Failing("runs_open", "the drive of {name} runs towards open uncommanded"),
        Failing("runs_closed", "the drive of {name} runs towards closed uncommanded"),
    ),
    Item.HAND_DOOR: (Failing("moves_by_itself", "nothing holds {name} where it is: it moves by itself"),),
    Item.DOOR_LATCH: (Failing("latch_does_not_hold", "the latch of {name} does not hold it, whatever it shows"),),
    Item.DOOR_LOCK: (Failing("lock_does_not_hold", "the lock of {name} does not keep its latch, whatever it shows"),),
    Item.SUPPLY: (
        Failing("lost", "{name} is lost for good"),
        Failing("returns", "{name} comes on by itself, and stays on"),
    ),
    Item.RELAY: (
        Failing("welded", "the contacts of {name} are welded: it is energised for good"),
        Failing("does_not_pull_in", "{name} no longer pulls in"),
        Failing("drops_out", "{name} drops out for good"),
    ),
    Item.CIRCUIT: (
        Failing("short_to_power", "the wire of {name} has a short to power: it is on for good"),
        Failing("open", "the wire of {name} is open: it is off for good"),
    ),
    Item.CONTACT: (
        Failing("welded", "{name} is welded: it stays made"),
        Failing("bypassed", "{name} is bypassed"),
        Failing("open", "{name} is open for good"),
    ),
    Item.COMMON_CAUSE: (Failing("happens", "{name}"),),
    Item.STATION: (
        Failing("in_charge_too", "{name} is in charge whatever is selected"),
        Failing("never_in_charge", "{name} is never in charge"),
    ),
}
"""How items of each sort can fail.

What only sticks in one of two places is two failures, one for each: what moves by itself then needs no memory of where
it stuck, and nothing is lost, since a failure may strike while the item is there.
"""
FAILURE_MODES = tuple(dict.fromkeys(failing.mode for failings in FAILURES.values() for failing in failings))
