"""What a description says.  Each record of the language is declared here, once.

Meaning is given by `interlock.hold.compile.compiler`.  Every record keeps where it was written (`span`).  Lists keep
the order of the file.  Ids are unique over the whole description, bay names included.  Lengths are in mm, masses in kg.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from enum import StrEnum
from typing import TypeAlias

from interlock.diagnostics.frozen import frozen
from interlock.diagnostics.spans import Span
from interlock.hold.kinds import (
    CONTROL_KINDS,
    DEVICE_KINDS,
    HELD_KINDS,
    PRESSED,
    SUPPLY,
    Kind,
    Working,
    and_pressed,
    control_kind,
    fed_supply_kind,
)
from interlock.hold.language import record_rules
from interlock.hold.language.bay_names import BayNames
from interlock.hold.language.declarations import Record, field, record
from interlock.hold.language.directions import DIRECTIONS, Side
from interlock.hold.language.directions import Direction as Direction
from interlock.hold.language.field_types import (
    Bays,
    ByDirection,
    ChangeList,
    Listed,
    OrListed,
    OrNone,
    Quantifiers,
    RecordOf,
    States,
)
from interlock.hold.language.nodes import Node
from interlock.hold.language.syntax import Path, Step, Syntax
from interlock.hold.language.text_types import (
    Amount,
    Bay,
    BayOrOutside,
    Choice,
    Contact,
    Expression,
    ExpressionOrNever,
    Id,
    Lane,
    Reference,
    SideText,
    StepText,
    Text,
    Version,
    Whole,
    Word,
    YesNo,
)
from interlock.hold.sorts import FAILURE_MODES, Item
from interlock.kernel.machine import RequirementKind

_ByDirection: TypeAlias = tuple[tuple[Direction, Syntax], ...]
_STATES = Listed(Word("state"), one=True, least=1)


@record("thing", "a thing")
class Thing(Record):
    """An object: no two share an id."""

    id: str = field(Id(), "The name by which everything else refers to it.")


@record("named thing", "a thing")
class Named(Thing):
    """An object that people call something."""

    name: str = field(Text(), "What people call it; the id where it is left out.", derived=lambda values: values["id"])


@record("bay rule", "a rule for bays")
class BayRule(Record):
    """Bays that hold only some kinds of unit, or that do not exist."""

    bays: tuple[str, ...] = field(Bays(missing=True), "The bays that the rule is about.")
    kinds: tuple[str, ...] = field(
        Listed(Reference(("units",)), one=True),
        "Kinds of unit that they hold; an empty list for bays that do not exist.",
    )


@record("centred bay", "a centred bay")
class CentredBay(Record):
    """One bay in the middle of two lanes, in the place of the bays of both, where the hold tapers.

    A unit one lane wide comes to it from either lane and goes to either.
    """

    row: int = field(Whole(1, 200), "The row.")
    lane: str = field(Id(), "What the lane is called there: `7C` is the bay of row 7 and lane `C`.")
    between: tuple[str, ...] = field(Listed(Lane(), least=2), "The two lanes, side by side, that it is between.")


@record("pushing rule", "a rule for pushing")
class Pushing(Record):
    """Where units can be pushed by hand, and when."""

    bays: tuple[str, ...] = field(Bays(), "The bays: a unit is pushed where it stands, or lies partly, in one of them.")
    when: Syntax = field(Expression(), "When that is possible.")


@record("layout", "the layout", rule=record_rules.layout)
class Layout(Record):
    """The floor: rows and lanes, and how units can move and must be restrained on it.

    Bay `<row><lane>` lies in a row and a lane.  Across a sill units move along both axes.
    """

    lanes: tuple[str, ...] = field(Listed(Id(), one=True, least=1), "Lanes from left to right, seen looking forward.")
    rows: int = field(Whole(1, 200), "How many rows; row 1 is the most forward.")
    bay_length_mm: float | None = field(Amount("mm"), "Length of a bay along the hold.", default=None)
    bay_width_mm: float | None = field(Amount("mm"), "Width of a bay across the hold.", default=None)
    rules: tuple[BayRule, ...] = field(
        Listed(RecordOf(BayRule)), "Bays that hold only some kinds of unit, or do not exist.", default=()
    )
    centred: tuple[CentredBay, ...] = field(
        Listed(RecordOf(CentredBay), one=True),
        "Bays in the middle of two lanes, in the place of one in each, where the hold tapers.",
        default=(),
    )
    ball_mat: tuple[str, ...] = field(
        Bays(least=0), "Bays where units move along both axes; elsewhere they move fore and aft only."
    )
    secured: tuple[str, ...] = field(
        Listed(Choice((*map(str, DIRECTIONS), "up")), one=True),
        "Directions in which a unit must be restrained to be secured.",
    )
    neighbour_restrains: bool = field(YesNo(), "Whether a restrained neighbour restrains.")
    drift: tuple[Direction, ...] = field(
        Listed(Choice(DIRECTIONS), one=True), "Directions in which an unrestrained unit may roll by itself."
    )
    pushing: Syntax | tuple[Pushing, ...] | None = field(
        OrListed(ExpressionOrNever(), Pushing),
        "When the crew may push units by hand; `never` where they may not; or where and when, and nowhere else.",
    )
    hand_work: Syntax = field(Expression(), "When hand-worked devices inside the hold can be reached at all.")

    @property
    def bay_names(self) -> BayNames:
        """The names of the bays and where they are, those that a rule takes out among them."""
        missing = frozenset(bay for rule in self.rules for bay in rule.bays if not rule.kinds)
        centred = tuple((one.row, one.lane, self.lanes.index(one.between[0])) for one in self.centred)
        return BayNames(self.lanes, self.rows, missing, centred)


@record("unit", "a kind of unit", rule=record_rules.unit)
class UnitKind(Named):
    """A kind of unit load."""

    across: int = field(Whole(1, 3), "How many lanes it is wide; one that is several rows long is one lane wide.")
    along: int = field(Whole(1, 3), "How many rows it is long.")
    max_gross_kg: float | None = field(Amount("kg"), "Its greatest gross mass.", default=None)


@record("door step", "a step of a door")
class DoorStep(Record):
    """Latching, unlatching, locking or unlocking."""

    by: str = field(Choice(("hand", "power")), "What does it.")
    when: Syntax = field(Expression(), "When it is possible.")


@record("obstacle", "a device in the way of a door")
class Obstacle(Record):
    """A device that can stand in the way of a door."""

    device: str = field(Reference(("devices",)), "The device.")
    state: str = field(Word("state"), "The state in which it stands in the way.", key="in")


@record("doorway", "a doorway", rule=record_rules.doorway)
class Doorway(Named):
    """A door over the outer side of some bays.

    The door leaves closed only when it is unlatched.
    """

    bays: tuple[str, ...] = field(Bays(), "The bays that it opens to the outside.")
    side: Direction = field(Choice(DIRECTIONS), "The side of these bays where it is.")
    moved_by: str = field(Choice(("power", "hand")), "What moves it.")
    opens: Syntax = field(Expression(), "When the drive opens it; moved by hand, when it is free to open.")
    closes: Syntax = field(Expression(), "When the drive closes it; moved by hand, when it is free to close.")
    latch: DoorStep | None = field(OrNone(RecordOf(DoorStep)), "How it is latched; `none` without latch.")
    unlatch: DoorStep | None = field(
        OrNone(RecordOf(DoorStep)), "How it is unlatched; needed with a latch.", default=None
    )
    lock: DoorStep | None = field(OrNone(RecordOf(DoorStep)), "How it is locked; `none` without lock.")
    unlock: DoorStep | None = field(OrNone(RecordOf(DoorStep)), "How it is unlocked; needed with a lock.", default=None)
    path: tuple[Obstacle, ...] = field(
        Listed(RecordOf(Obstacle), one=True),
        "Devices that can stand in its way; an empty list where none can.",
    )
    starts: tuple[str, ...] = field(
        Listed(Choice(("closed", "open", "latched", "locked")), one=True, least=1),
        "What holds of it at the start: closed or open, and latched, locked.",
    )


@record("deferral", "a deferral")
class Deferral(Record):
    """Why an item is inoperative, and the limit that goes with it."""

    because: str = field(Text(), "Why.")
    limit: Syntax = field(Expression(), "What must hold before the doors are shut for departure.")


@record("device", "a device", rule=record_rules.device)
class Device(Named):
    """A latch, lock, guide or stop on the side of a bay.

    `kind` is a key of `interlock.hold.kinds.DEVICE_KINDS`.
    """

    kind: str = field(Choice(tuple(DEVICE_KINDS)), "How it behaves.")
    on: tuple[Side, ...] = field(Listed(SideText(), one=True, least=1), "The side or sides where it stands.")
    stops: tuple[Direction, ...] = field(
        Listed(Choice(DIRECTIONS), one=True), "Directions of motion that it stops while it stands up.", default=()
    )
    gives_way: tuple[Direction, ...] = field(
        Listed(Choice(DIRECTIONS), one=True), "Directions of motion to which it gives way.", default=()
    )
    restrains: tuple[str, ...] = field(
        Listed(Choice(("x", "y", "z")), one=True),
        "Axes along which it restrains a unit while in its locking state: x is along, y across, z up.",
        default=(),
    )
    locking: str = field(
        Word("state"),
        "The state in which it restrains; needed for all that can move.",
        derived=record_rules.only_state,
    )
    starts: tuple[str, ...] = field(
        _STATES,
        "Its state, or possible states, at the start; needed for hand-worked kinds.",
        derived=record_rules.resting_state,
    )
    circuit: Syntax | None = field(OrNone(Expression()), "What works a powered device.", default=None)
    handle: str | None = field(
        OrNone(Reference(("controls",), ("self-resetting handle",))),
        "The handle that works a handle-worked lock.",
        default=None,
    )
    lags: bool = field(YesNo(), "Whether others may act before it has settled.", default=False)
    fixed: str | None = field(OrNone(Word("state")), "The state in which it stays for good.", default=None)
    deferred: Deferral | None = field(OrNone(RecordOf(Deferral)), "Why it is inoperative.", default=None)

    @property
    def is_structure(self) -> bool:
        """It is part of the structure, and never moves."""
        return DEVICE_KINDS[self.kind].working is Working.FIXED


@record("control", "a control", rule=record_rules.control)
class Control(Named):
    """Something that a hand works.

    `kind` is one of `interlock.hold.kinds.CONTROL_KINDS`; a lever has the position `neutral` beside its directions, a
    push button is `released` or `pressed`.
    """

    kind: str = field(Choice(CONTROL_KINDS), "How it behaves.")
    positions: tuple[str, ...] = field(
        Listed(Word("position"), one=True, least=1),
        "Positions of a switch or selector; directions of a lever beside neutral.",
        default=(),
    )
    returns: str | None = field(
        Word("position"),
        "The position that a momentary switch springs back to; in the others it is only while it is held.",
        default=None,
    )
    can_be_pressed: bool = field(
        YesNo(),
        "Whether a lever can be pressed as well, deflected or not: it is then `pressed`, whatever its position.",
        default=False,
    )
    starts: tuple[str, ...] = field(
        _STATES, "Its position, or possible positions, at the start.", derived=record_rules.resting_position
    )
    marks: tuple[tuple[Direction, tuple[str, ...]], ...] = field(
        ByDirection(Listed(Word("position"), one=True, least=1)),
        "Which way the positions of a lever move a unit; needless for one that is called like its direction.",
        default=(),
    )
    door: str | None = field(
        OrNone(Reference(("doorways",))),
        "The door by which its positions in, out, inboard, outboard go: in and inboard are away from the side where "
        "that door is, out and outboard towards it.",
        default=None,
    )
    lane: str | None = field(
        OrNone(Lane()),
        "The lane by which they go: in and inboard are from there towards the middle of the hold, out and outboard "
        "away from it.",
        default=None,
    )
    behind: str | None = field(
        OrNone(Reference(("controls",), ("access panel",))), "The panel that must be open to reach it.", default=None
    )
    reachable: Syntax | None = field(
        OrNone(Expression()), "When a hand can reach it, beside the panel; left out: always.", default=None
    )
    fixed: str | None = field(OrNone(Word("position")), "The position in which it stays for good.", default=None)

    @property
    def behaviour(self) -> Kind:
        """What it does."""
        return control_kind(self.kind, self.positions or ("off", "on"), self.returns, self.can_be_pressed)

    @property
    def is_held(self) -> bool:
        """It springs back when a hand lets go of it."""
        return self.kind in HELD_KINDS

    @property
    def commands(self) -> Mapping[str, tuple[str, ...]]:
        """For each position that a hand holds it in the states that it is then in; none where nobody holds it.

        A lever that can be pressed is `pressed` by the pressing alone.
        """
        if not self.is_held:
            return {}
        rest, *held = self.behaviour.states
        if not self.can_be_pressed:
            return {position: (position,) for position in held}
        ways = {position: (position, and_pressed(position)) for position in self.positions}
        return {**ways, PRESSED: (and_pressed(rest),)}


@record("station", "a station")
class Station(Named):
    """A place of control."""

    controls: tuple[str, ...] = field(Listed(Reference(("controls",)), one=True, least=1), "Its controls.")
    owns: Syntax = field(Expression(), "When it owns its zones.")


@record("supply", "a supply", rule=record_rules.supply)
class Supply(Named):
    """A source of power, of whatever sort: electric, hydraulic, pneumatic."""

    starts: tuple[str, ...] = field(Listed(Choice(("off", "on")), one=True, least=1), "Off or on at the start.")
    may_be_lost: bool = field(YesNo(), "Whether it goes and returns at any time, by itself.")
    needs: Syntax | None = field(
        OrNone(Expression()),
        "What it needs, as a hydraulic pump needs the power of its motor: it comes on only while that is so.",
        default=None,
    )
    stored: bool | None = field(
        YesNo(),
        "Whether it may last for a while without what it needs, as pressure in an accumulator does, or goes off at "
        "once; said with `needs`.",
        default=None,
    )

    @property
    def behaviour(self) -> Kind:
        """What it does."""
        return SUPPLY if self.needs is None else fed_supply_kind(bool(self.stored), self.may_be_lost)


@record("circuit", "a circuit")
class Circuit(Named):
    """A named condition without memory."""

    use: str = field(Choice(("power", "permit", "inhibit", "indication", "logic")), "What it is for.")
    definition: Syntax = field(Expression(), "When it is true.", key="is")


@record("relay", "a relay")
class Relay(Named):
    """A named condition with memory."""

    sets: Syntax = field(Expression(), "When it is energised.")
    drops: Syntax = field(Expression(), "When it is released, which wins.")
    starts: tuple[str, ...] = field(
        Listed(Choice(("released", "energised")), one=True, least=1),
        "Released or energised at the start.",
        default=("released",),
    )


@record("sensor", "a sensor")
class Sensor(Named):
    """Reports a true state of affairs to circuits."""

    reads: Syntax = field(Expression(), "What it reports.")


@record("command", "a command", rule=record_rules.command)
class Command(Record):
    """What runs a zone in each direction from one station."""

    station: str | None = field(
        OrNone(Reference(("stations",))), "The station; needed where there are several.", default=None
    )
    bays: tuple[str, ...] | None = field(
        Bays(), "The bays of the zone whose drives it runs; left out: all of them.", default=None
    )
    fore: Syntax | None = field(Expression(), "When it commands fore.", default=None)
    aft: Syntax | None = field(Expression(), "When it commands aft.", default=None)
    left: Syntax | None = field(Expression(), "When it commands left.", default=None)
    right: Syntax | None = field(Expression(), "When it commands right.", default=None)

    @property
    def runs(self) -> _ByDirection:
        """The directions that it commands, and when."""
        ways = zip(DIRECTIONS, (self.fore, self.aft, self.left, self.right), strict=True)
        return tuple((way, when) for way, when in ways if when is not None)

    def reaches(self, bay: str) -> bool:
        """It runs the drive under that bay of its zone."""
        return self.bays is None or bay in self.bays


@record("section", "a section")
class Section(Record):
    """What keeps the drive under one bay from running."""

    bay: str = field(Bay(), "The bay.")
    inhibits: _ByDirection = field(ByDirection(Expression()), "What inhibits it, by direction.")


@record("zone", "a drive zone")
class Zone(Named):
    """Bays whose drives run on one command.

    The drive of a bay runs in a direction while `power` is there, a command of an owning station that reaches the bay
    asks for the direction, and neither the zone (`inhibits`) nor the bay's section inhibits it.
    """

    bays: tuple[str, ...] = field(Bays(), "Its bays.")
    power: Syntax = field(Expression(), "When its drives have power.")
    commands: tuple[Command, ...] = field(Listed(RecordOf(Command), one=True, least=1), "What runs it.")
    inhibits: _ByDirection = field(ByDirection(Expression()), "What inhibits the whole zone, by direction.", default=())
    sections: tuple[Section, ...] = field(
        Listed(RecordOf(Section), one=True), "What inhibits the drive of a bay.", default=()
    )
    levers: tuple[str, ...] = field(
        Listed(Reference(("controls",), HELD_KINDS), one=True, least=1),
        "The levers marked for it; where it is left out, those that its commands name.",
        default=(),
    )


@record("place", "a place")
class Place(Named):
    """Where a person can be."""

    bay: str | None = field(BayOrOutside(), "The bay where it is, or `outside`.")
    reaches: tuple[str, ...] = field(
        Listed(Reference(("devices", "controls", "doorways"), bays=True), one=True),
        "Devices, controls and doors within reach, and bays where a unit can be pushed from there. What some place "
        "lists hands work from such a place only. A lever or another control that springs back is let go by whoever "
        "leaves its reach, unless somebody else can hold it.",
    )


@record("person", "a person")
class Person(Named):
    """Somebody who goes from place to place."""

    places: tuple[str, ...] = field(Listed(Reference(("places",)), one=True, least=1), "Where they can be.")
    starts: tuple[str, ...] = field(Listed(Reference(("places",)), one=True, least=1), "Where they can start.")
    moves: Syntax = field(Expression(), "When they can go from place to place.")


@record("group", "a group")
class Group(Thing):
    """A named list of things, for quantifiers."""

    members: tuple[str, ...] = field(Bays(members=True), "What belongs to it.")


@record("situation", "a situation")
class Situation(Named):
    """A named way to start."""

    sets: tuple[tuple[str, str, Span], ...] = field(States(), "The states that differ from the usual start.")


START_ID = "procedure_start"
"""The situation made of the states under a procedure's `start`."""


FAILING_SECTIONS = (
    "doorways",
    "devices",
    "controls",
    "stations",
    "supplies",
    "circuits",
    "relays",
    "sensors",
    "zones",
)
"""Where what can fail is described."""


@record("some failure", "a failure", rule=record_rules.failure)
class SomeFailure(Record):
    """How something can fail."""

    of: str = field(Reference(FAILING_SECTIONS, bays=True), "What fails; a bay for its drive, or for its floor.")
    mode: str = field(Word("failure mode", FAILURE_MODES), "How it fails.")
    contact: str | None = field(
        Contact(), "The contact of it that fails, as it is written there: `door_open`, `not SW is on`.", default=None
    )
    at: str | None = field(
        Text(),
        "In which of its expressions that contact is, such as `sets`, `inhibits.fore`, `commands.1.aft`; needed where "
        "several have it.",
        default=None,
    )

    @property
    def label(self) -> str:
        """How lists name it: by the thing, the contact where there is one, and the mode."""
        return ".".join(word for word in (self.of, self.at, self.contact, self.mode) if word)


@record("failure", "a failure", rule=record_rules.failure)
class FailureMode(SomeFailure):
    """A failure that may strike, at any time."""

    heals: bool = field(YesNo(), "Whether it may go again, and strike again, as a loose contact does.", default=False)


@record("excluded failure", "an excluded failure", rule=record_rules.failure)
class ExcludedFailure(SomeFailure):
    """A failure of the standing catalogue that is not to be reckoned with, and why not."""

    because: str = field(Text(), "Why it need not be reckoned with; reports show it.")


@record("common cause", "a common cause")
class CommonCause(Named):
    """One event that is several failures at once, such as a leak over a box of relays."""

    failures: tuple[SomeFailure, ...] = field(
        Listed(RecordOf(SomeFailure), least=1), "The failures that it is, whether they may strike by themselves or not."
    )


class Harm(StrEnum):
    """Who or what a hazard harms; equipment is what loads the hold, such as latches, drives and the loader."""

    PEOPLE = "people"
    LOAD = "load"
    AIRCRAFT = "aircraft"
    EQUIPMENT = "equipment"


@record("requirement", "a requirement", rule=record_rules.requirement)
class RequirementText(Record):
    """Something to prove.

    As written, in a specification or in the description itself: `each` gives one instance per combination.
    """

    id: str = field(Id(), "The name by which everything else refers to it.")
    text: str = field(Text(), "The requirement in plain English.")
    kind: RequirementKind = field(
        Choice(tuple(RequirementKind)), "What it asks of the states or steps that can be reached."
    )
    each: tuple[tuple[str, Path], ...] = field(
        Quantifiers(), "Variables with the groups they run through.", default=(), key="for"
    )
    where: Syntax | None = field(Expression(), "Which combinations of them are meant.", default=None)
    when: Syntax | None = field(Expression(), "The situation that it speaks of.", default=None)
    condition: Syntax | None = field(
        Expression(), "What must never, always or can be so, or can always be brought about.", default=None
    )
    steps: tuple[Step, ...] = field(
        Listed(StepText(), one=True, least=1), "The steps that it speaks of.", default=(), key="step"
    )
    first: tuple[Step, ...] = field(
        Listed(StepText(), one=True, least=1), "Steps of which one must come before.", default=()
    )
    since: tuple[Step, ...] = field(
        Listed(StepText(), one=True, least=1), "The steps that must not lie between.", default=()
    )
    hazard: str = field(Text(), "What would happen.")
    severity: str = field(Text(), "How bad, in the words of the scheme.")
    harm: tuple[Harm, ...] | None = field(
        Listed(Choice(tuple(Harm)), one=True),
        "Who or what comes to harm; `[]` where nobody and nothing does, left out where it is not known.",
        default=None,
    )
    scheme: str = field(Text(), "The scheme that the severity is taken from.")
    source: str = field(Text(), "A citation, or `common practice, no source`.")


@record("option", "an option")
class Option(Named):
    """Something that holds of this sort have or do not have: equipment, a deferred item, another way of wiring."""

    changes: tuple[Node, ...] = field(ChangeList(), "What it changes, where it is fitted; as in a modification.")
    excludes: tuple[str, ...] = field(
        Listed(Reference(("options",)), one=True), "Options that are never fitted together with it.", default=()
    )
    needs: tuple[str, ...] = field(
        Listed(Reference(("options",)), one=True), "Options without which it is never fitted.", default=()
    )


@frozen
class Change:
    """One line of a modification, for the reader: what was done to which object.

    `item` numbers what the lists of changes say, from 1, in the order in which it is carried out: one addition of
    several things is one item.
    """

    verb: str
    object: str
    span: Span
    item: int


@record("file", "a file")
class File(Record):
    """A file of any sort."""

    interlock: str = field(Version(), "The version of the language.")


@record("description", "a description")
class Hold(File):
    """A hold, described in full.

    Modifications are already carried out; `changes` lists them.  `fitted` are the options that are fitted.
    """

    title: str = field(Text(), "What the hold is called.")
    about: str = field(Text(), "What the hold is, for people.", default="")
    layout: Layout = field(RecordOf(Layout), "The floor.")
    units: tuple[UnitKind, ...] = field(Listed(RecordOf(UnitKind)), "Kinds of unit load.")
    doorways: tuple[Doorway, ...] = field(Listed(RecordOf(Doorway)), "Doors and what permits their motion.", default=())
    devices: tuple[Device, ...] = field(Listed(RecordOf(Device)), "Latches, locks, guides and stops.", default=())
    controls: tuple[Control, ...] = field(
        Listed(RecordOf(Control)), "Switches, selectors, levers, handles and panels.", default=()
    )
    stations: tuple[Station, ...] = field(Listed(RecordOf(Station)), "Places of control.", default=())
    supplies: tuple[Supply, ...] = field(Listed(RecordOf(Supply)), "Sources of power.", default=())
    circuits: tuple[Circuit, ...] = field(Listed(RecordOf(Circuit)), "Named conditions without memory.", default=())
    relays: tuple[Relay, ...] = field(Listed(RecordOf(Relay)), "Named conditions with memory.", default=())
    sensors: tuple[Sensor, ...] = field(Listed(RecordOf(Sensor)), "What circuits can read.", default=())
    zones: tuple[Zone, ...] = field(Listed(RecordOf(Zone)), "Drive zones.", default=())
    places: tuple[Place, ...] = field(Listed(RecordOf(Place)), "Where people can be.", default=())
    people: tuple[Person, ...] = field(Listed(RecordOf(Person)), "Who is there.", default=())
    groups: tuple[Group, ...] = field(Listed(RecordOf(Group)), "Named lists for quantifiers.", default=())
    situations: tuple[Situation, ...] = field(Listed(RecordOf(Situation)), "Named ways to start.", default=())
    failures: tuple[FailureMode, ...] = field(Listed(RecordOf(FailureMode)), "Failures that may strike.", default=())
    common_causes: tuple[CommonCause, ...] = field(
        Listed(RecordOf(CommonCause)), "Events that are several failures at once, and may happen.", default=()
    )
    excluded_failures: tuple[ExcludedFailure, ...] = field(
        Listed(RecordOf(ExcludedFailure)),
        "Failures of the standing catalogue that are not to be reckoned with where everything may fail.",
        default=(),
    )
    requirements: tuple[RequirementText, ...] = field(Listed(RecordOf(RequirementText)), "What to prove.", default=())
    options: tuple[Option, ...] = field(
        Listed(RecordOf(Option)), "What may be fitted or not; each has an effect only where it is fitted.", default=()
    )
    changes: tuple[Change, ...] = ()
    fitted: tuple[str, ...] = ()

    def not_replaced(self, texts: Iterable[RequirementText]) -> tuple[RequirementText, ...]:
        """Those of the texts that go with the hold: its own requirements overrule given ones of the same id."""
        own = {text.id for text in self.requirements}
        return tuple(text for text in texts if text.id not in own)


@record("specification", "a specification")
class Specification(File):
    """Requirements for any hold."""

    title: str = field(Text(), "Its title.", key="specification")
    about: str | None = field(Text(), "What it is for, for people.", default=None)
    requirements: tuple[RequirementText, ...] = field(Listed(RecordOf(RequirementText)), "What to prove.")


@record("catalogued failure", "a catalogued failure", rule=record_rules.catalogued)
class CataloguedFailure(Record):
    """How things of some sort can fail, for any hold."""

    item: Item = field(Choice(tuple(Item)), "What sort of item fails.")
    mode: str = field(Word("failure mode", FAILURE_MODES), "How it fails.")
    effect: str = field(Text(), "What it then does, or no longer does.")
    noticed: str = field(Text(), "How people would notice it, and when.")
    source: str = field(Text(), "A citation, or `common practice, no source`.")


@record("catalogue", "a catalogue of failures")
class Catalogue(File):
    """How the equipment of any hold can fail."""

    title: str = field(Text(), "Its title.", key="catalogue")
    about: str | None = field(Text(), "What it is for, for people.", default=None)
    failures: tuple[CataloguedFailure, ...] = field(Listed(RecordOf(CataloguedFailure)), "How things can fail.")


SECTIONS: Mapping[str, type[Record]] = {
    one.key: one.type.item.record
    for one in Hold.declaration.fields
    if isinstance(one.type, Listed) and isinstance(one.type.item, RecordOf)
}
"""The lists of a description and the record of their items, in the order in which they are usually written."""
