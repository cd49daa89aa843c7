"""What a description says, as plain values.  Meaning is given by `interlock.hold.compile.compiler`.

Every record keeps where it was written (`span`).  Lists keep the order of the file.  Ids are unique over the
whole description, bay names included.  Lengths are in mm, masses in kg.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import TypeAlias

from interlock.diagnostics.spans import Span
from interlock.hold.language.syntax import Step, Syntax


class Direction(StrEnum):
    """A direction of motion on the floor, as seen by someone who looks forward."""

    FORE = "fore"
    AFT = "aft"
    LEFT = "left"
    RIGHT = "right"

    @property
    def opposite(self) -> Direction:
        """The other way along the same axis."""
        return _OPPOSITE[self]

    @property
    def axis(self) -> str:
        """`x` for fore and aft, `y` for left and right."""
        return "x" if self in (Direction.FORE, Direction.AFT) else "y"


_OPPOSITE = {
    Direction.FORE: Direction.AFT,
    Direction.AFT: Direction.FORE,
    Direction.LEFT: Direction.RIGHT,
    Direction.RIGHT: Direction.LEFT,
}


@dataclass(frozen=True, slots=True)
class Side:
    """A side of a bay; the face that lies there is shared with the neighbour, if there is one."""

    bay: str
    direction: Direction
    span: Span


@dataclass(frozen=True, slots=True)
class UnitKind:
    """A kind of unit load; `across` lanes wide and `along` rows long (1x1, 2x1 or 1x2)."""

    id: str
    name: str
    across: int
    along: int
    max_gross_kg: float | None
    span: Span


@dataclass(frozen=True, slots=True)
class BayRule:
    """Bays that hold only some kinds of unit (`kinds`), or that do not exist (`kinds` empty)."""

    bays: tuple[str, ...]
    kinds: tuple[str, ...]
    span: Span


@dataclass(frozen=True, slots=True)
class Layout:
    """The floor.  Bay `<row><lane>` lies in a row (row 1 the most forward) and a lane (listed from left to right).

    On `ball_mat` bays units move along both axes, elsewhere only fore and aft; across a sill always both.
    `secured` lists the directions in which a unit must be restrained to be secured (`up` may be among them).
    `drift` lists the directions in which an unrestrained unit may roll by itself.
    `pushing`: when the crew may push units by hand (None: never).
    `hand_work`: when hand-worked devices inside the hold can be reached at all.
    """

    lanes: tuple[str, ...]
    rows: int
    bay_length_mm: float | None
    bay_width_mm: float | None
    rules: tuple[BayRule, ...]
    ball_mat: tuple[str, ...]
    secured: tuple[str, ...]
    neighbour_restrains: bool
    drift: tuple[Direction, ...]
    pushing: Syntax | None
    hand_work: Syntax
    span: Span


@dataclass(frozen=True, slots=True)
class DoorStep:
    """Latching, unlatching, locking or unlocking of a door: `hand` or `power`, and when it is possible."""

    by: str
    when: Syntax
    span: Span


@dataclass(frozen=True, slots=True)
class Doorway:
    """A door over the outer side (`side`) of some bays (`bays`).

    `moved_by` is `power` or `hand`.  With power, `opens` and `closes` say when the drive runs; by hand, when the
    door is free to be moved that way.  The door leaves closed only when it is unlatched.  Latch and lock are
    None where the door has none.  `path` names the devices that can stand in its way, in which state, and
    where that is written.
    `starts`: any of closed/open, latched, locked that hold at the start.
    """

    id: str
    name: str
    bays: tuple[str, ...]
    side: Direction
    moved_by: str
    opens: Syntax
    closes: Syntax
    latch: DoorStep | None
    unlatch: DoorStep | None
    lock: DoorStep | None
    unlock: DoorStep | None
    path: tuple[tuple[str, str, Span], ...]
    starts: tuple[str, ...]
    span: Span


@dataclass(frozen=True, slots=True)
class Device:
    """A device on one or more faces.  `kind` is a key of `interlock.hold.kinds.DEVICE_KINDS`.

    `stops` and `gives_way` list directions of motion across its faces; `restrains` lists axes of x, y, z, which count
    while it is in its `locking` state.  `circuit` works a powered device, `handle` names the control of a
    handle-worked one.  `fixed` holds it in one state for good (a deferral, say); `deferred` tells why.
    """

    id: str
    name: str
    kind: str
    on: tuple[Side, ...]
    stops: tuple[Direction, ...]
    gives_way: tuple[Direction, ...]
    restrains: tuple[str, ...]
    locking: str
    starts: tuple[str, ...]
    circuit: Syntax | None
    handle: str | None
    lags: bool
    fixed: str | None
    deferred: Deferral | None
    span: Span

    @property
    def is_structure(self) -> bool:
        """It is part of the structure, and never moves."""
        return self.kind.startswith("fixed")


@dataclass(frozen=True, slots=True)
class Deferral:
    """Why an item is inoperative and what must be so before the doors are shut for departure."""

    because: str
    limit: Syntax
    span: Span


@dataclass(frozen=True, slots=True)
class Control:
    """Something that a hand works: a key of `interlock.hold.kinds.CONTROL_KINDS`.

    `positions` are those of a switch or selector, or the directions of a lever beside `neutral`.  `behind` names the
    access panel that must be open to reach it, `reachable` says when a hand can (None: always).  `marks` says which
    positions of a lever are marked for which direction of motion; one that is called after its direction needs no mark.
    """

    id: str
    name: str
    kind: str
    positions: tuple[str, ...]
    starts: tuple[str, ...]
    marks: tuple[tuple[Direction, tuple[str, ...]], ...]
    behind: str | None
    reachable: Syntax | None
    fixed: str | None
    span: Span


@dataclass(frozen=True, slots=True)
class Station:
    """A place of control; it owns its zones while `owns` is true."""

    id: str
    name: str
    controls: tuple[str, ...]
    owns: Syntax
    span: Span


@dataclass(frozen=True, slots=True)
class Supply:
    """A source of power: on or off.  Where `may_be_lost`, it goes and returns at any time, by itself."""

    id: str
    name: str
    starts: tuple[str, ...]
    may_be_lost: bool
    span: Span


@dataclass(frozen=True, slots=True)
class Circuit:
    """A named truth value without memory.  `use` is one of power, permit, inhibit, indication, logic."""

    id: str
    name: str
    use: str
    definition: Syntax
    span: Span


@dataclass(frozen=True, slots=True)
class Relay:
    """A truth value with memory: set while `sets`, dropped while `drops`, which wins; otherwise it stays."""

    id: str
    name: str
    sets: Syntax
    drops: Syntax
    starts: tuple[str, ...]
    span: Span


@dataclass(frozen=True, slots=True)
class Sensor:
    """Reports a true state of affairs to circuits; can be wrong when it fails."""

    id: str
    name: str
    reads: Syntax
    span: Span


@dataclass(frozen=True, slots=True)
class Command:
    """What runs a zone in each direction from one station (None: the only one)."""

    station: str | None
    runs: tuple[tuple[Direction, Syntax], ...]
    span: Span


@dataclass(frozen=True, slots=True)
class Section:
    """What keeps the drive under one bay from running in a direction."""

    bay: str
    inhibits: tuple[tuple[Direction, Syntax], ...]
    span: Span


@dataclass(frozen=True, slots=True)
class Zone:
    """Bays whose drives run on one command.

    The drive of a bay runs in a direction while `power` is there, an owning station commands the direction, and neither
    the zone (`inhibits`) nor the bay's section inhibits it.  `levers` are the levers that are marked for the zone
    (empty: those that its commands name).
    """

    id: str
    name: str
    bays: tuple[str, ...]
    power: Syntax
    commands: tuple[Command, ...]
    inhibits: tuple[tuple[Direction, Syntax], ...]
    sections: tuple[Section, ...]
    levers: tuple[str, ...]
    span: Span


@dataclass(frozen=True, slots=True)
class Place:
    """Where a person can be: `outside`, or in a bay.  `reaches` names devices and controls within reach."""

    id: str
    name: str
    bay: str | None
    reaches: tuple[str, ...]
    span: Span


@dataclass(frozen=True, slots=True)
class Person:
    """Somebody who goes from place to place while `moves` is true; can work only what is within reach."""

    id: str
    name: str
    places: tuple[str, ...]
    starts: tuple[str, ...]
    moves: Syntax
    span: Span


@dataclass(frozen=True, slots=True)
class Group:
    """A named list of objects, for quantifiers."""

    id: str
    members: tuple[str, ...]
    span: Span


@dataclass(frozen=True, slots=True)
class Situation:
    """A named way to start: (object, state) pairs over the `starts` of each thing."""

    id: str
    name: str
    sets: tuple[tuple[str, str, Span], ...]
    span: Span


@dataclass(frozen=True, slots=True)
class FailureMode:
    """A failure that may strike, once and for good: `<of>.<mode>`."""

    of: str
    mode: str
    span: Span


@dataclass(frozen=True, slots=True)
class RequirementText:
    """A requirement as written, in a specification or in the description itself.

    `each` binds variables to groups: one instance per combination.  `kind` is never, always, only if, order, can or
    can always.  `when` is the situation it speaks of.  `source` is a citation, or "common practice, no source".
    """

    id: str
    text: str
    kind: str
    each: tuple[tuple[str, tuple[str, ...]], ...]
    where: Syntax | None
    when: Syntax | None
    condition: Syntax | None
    steps: tuple[Step, ...]
    first: tuple[Step, ...]
    since: tuple[Step, ...]
    hazard: str
    severity: str
    scheme: str
    source: str
    span: Span
    each_spans: tuple[tuple[Span, ...], ...] = ()
    """Where each group of `each` is written, word by word."""


@dataclass(frozen=True, slots=True)
class Change:
    """One line of a modification, for the reader: what was done to which object."""

    verb: str
    object: str
    span: Span


@dataclass(frozen=True, slots=True)
class Hold:
    """A whole description, with modifications already carried out (`changes` lists them)."""

    title: str
    about: str
    layout: Layout
    units: tuple[UnitKind, ...]
    doorways: tuple[Doorway, ...]
    devices: tuple[Device, ...]
    controls: tuple[Control, ...]
    stations: tuple[Station, ...]
    supplies: tuple[Supply, ...]
    circuits: tuple[Circuit, ...]
    relays: tuple[Relay, ...]
    sensors: tuple[Sensor, ...]
    zones: tuple[Zone, ...]
    places: tuple[Place, ...]
    people: tuple[Person, ...]
    groups: tuple[Group, ...]
    situations: tuple[Situation, ...]
    failures: tuple[FailureMode, ...]
    requirements: tuple[RequirementText, ...]
    changes: tuple[Change, ...]
    span: Span


Named: TypeAlias = (
    UnitKind
    | Doorway
    | Device
    | Control
    | Station
    | Supply
    | Circuit
    | Relay
    | Sensor
    | Zone
    | Place
    | Person
    | Group
    | Situation
)
