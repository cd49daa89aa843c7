"""What the names of a compiled hold are about: for every variable, signal and rule a value that says so.

Names are written from these values, here and nowhere else (`name`), and never read back: whoever wants to know what a
rule does, or what a variable remembers, looks up its origin.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from enum import StrEnum
from types import MappingProxyType
from typing import ClassVar, TypeAlias

from interlock.diagnostics.frozen import frozen
from interlock.hold.floor import Face, Floor, Move, Placement
from interlock.hold.kinds import Trigger
from interlock.hold.language.model import Direction, Pushing
from interlock.hold.sorts import Sort as Sort
from interlock.kernel.evaluator import State
from interlock.kernel.expressions import Value
from interlock.kernel.machine import Machine, Requirement, is_monitored, monitor_name

EMPTY = "empty"
"""What a cell holds in which nothing stands."""
NOBODY = "none"
"""What crosses a face that nothing crosses."""


@frozen
class Subject:
    """The thing that a name is about: `id` as the description gives it, of a drive the bay that it is under."""

    sort: Sort
    id: str

    @property
    def path(self) -> str:
        """How names of it begin."""
        return f"{Sort.CONTROL if self.sort.is_control else self.sort}.{self.id}"


# ---- what a variable remembers


class Aspect(StrEnum):
    """What of a thing is remembered; doors have three that are facts apart."""

    POSITION = "position"
    LATCH = "latch"
    LOCK = "lock"
    STATE = "state"
    PLACE = "at"


@frozen
class Condition:
    """In which of its states a thing is; of a person, at which place."""

    subject: Subject
    aspect: Aspect

    @property
    def path(self) -> str:
        """How the names begin of what happens to it."""
        return self.name if self.aspect in (Aspect.LATCH, Aspect.LOCK) else self.subject.path

    @property
    def name(self) -> str:
        """The variable's name."""
        return f"{self.subject.path}.{self.aspect}"


@frozen
class Holding:
    """Which part of which kind of unit stands in a cell (`Floor.parts`), or `EMPTY`."""

    cell: str

    @property
    def name(self) -> str:
        """The variable's name."""
        return f"bay.{self.cell}.holds"


@frozen
class Crossing:
    """Which part of which kind of unit is on its way over a face, or `NOBODY`."""

    face: Face

    @property
    def name(self) -> str:
        """The variable's name."""
        return f"face.{self.face}.crossing"


@frozen
class Failure:
    """Whether a declared failure has struck; of a single contact where there is one."""

    subject: Subject
    mode: str
    contact: Contact | None = None

    @property
    def name(self) -> str:
        """The variable's name, and that of the rule by which it strikes."""
        return f"failure.{self.subject.id if self.contact is None else self.contact.name}.{self.mode}"


@frozen
class Precedence:
    """Whether what has to come first, for a requirement about what went before, has happened."""

    requirement: Requirement

    @property
    def name(self) -> str:
        """The variable's name."""
        return monitor_name(self.requirement)


# ---- what can keep a step from happening, and could be otherwise


@frozen
class Contact:
    """That an expression of the description asks for a state of a thing (None: for its being true).

    `owner` is what the expression defines.  `wanted`: lifted, the state is taken to be so, else not to be so.
    """

    owner: Meaning
    thing: str
    state: str | None
    wanted: bool

    @property
    def read(self) -> ContactRead:
        """What it reads."""
        return ContactRead(self.owner, self.thing, self.state)

    @property
    def name(self) -> str:
        """How it is called."""
        return f"{self.read.name}.{'so' if self.wanted else 'not_so'}"


@frozen
class Stop:
    """That a device stands in the way of units that move that way."""

    device: str
    way: Direction

    @property
    def name(self) -> str:
        """How it is called."""
        return f"stop.{self.device}.{self.way}"


@frozen
class Cover:
    """That a panel before a control must be open."""

    control: str
    panel: str

    @property
    def name(self) -> str:
        """How it is called."""
        return f"cover.{self.control}.{self.panel}"


@frozen
class Reach:
    """That a thing can be reached from some places only."""

    thing: str

    @property
    def name(self) -> str:
        """How it is called."""
        return f"reach.{self.thing}"


@frozen
class Fixed:
    """That a thing is fixed in one state."""

    thing: str

    @property
    def name(self) -> str:
        """How it is called."""
        return f"fixed.{self.thing}"


Hindrance: TypeAlias = Contact | Stop | Cover | Reach | Fixed


@frozen
class Lifted:
    """Whether a hindrance is none; only a hold that was eased remembers that, from the start and for good."""

    hindrance: Hindrance

    @property
    def name(self) -> str:
        """The variable's name."""
        return f"lifted.{self.hindrance.name}"


Memory: TypeAlias = Condition | Holding | Crossing | Failure | Precedence | Lifted


def standing(placement: Placement) -> dict[str, Value]:
    """The variables, with their values, that say that the unit stands there."""
    return {Holding(c).name: part for c, part in zip(placement.cells, placement.parts, strict=True)}


def units_at_rest(floor: Floor, machine: Machine, state: State) -> tuple[Placement, ...]:
    """The units at rest, on the loader too, in the order of the floor.

    The state may hold more variables than the machine, behind those of the machine.
    """
    values = dict(zip((v.name for v in machine.variables), state, strict=False))
    return tuple(placement for placement in floor.placements if standing(placement).items() <= values.items())


def vacated(placement: Placement) -> dict[str, Value]:
    """The variables, with their values, that say that nothing stands in its cells."""
    return {Holding(cell).name: EMPTY for cell in placement.cells}


def crossing(move: Move) -> dict[str, Value]:
    """The variables, with their values, that say that the unit is half-way."""
    return {Crossing(face).name: part for face, part in move.crossed}


# ---- what a signal says


@frozen
class Fact:
    """That something is so of a thing, or of its side or direction `way`.

    `what` is a word for it, as expressions use it where they can name it; empty where the thing itself is true or not,
    or, with `way`, runs so.
    """

    subject: Subject
    what: str = ""
    way: Direction | str = ""

    @property
    def name(self) -> str:
        """The signal's name."""
        return ".".join(word for word in (self.subject.path, self.way, self.what) if word)


@frozen
class _OfZone:
    zone: str

    @property
    def subject(self) -> Subject:
        """The zone."""
        return Subject(Sort.ZONE, self.zone)


@frozen
class Commanded(_OfZone):
    """That the command of this number (from 1) asks a zone to run that way."""

    number: int
    way: Direction

    @property
    def name(self) -> str:
        """The signal's name."""
        return f"zone.{self.zone}.command.{self.number}.{self.way}"


@frozen
class HeldBack(_OfZone):
    """That the section of a zone under a bay is inhibited that way, by the condition of this number (from 1)."""

    bay: str
    way: Direction
    number: int

    @property
    def name(self) -> str:
        """The signal's name."""
        return f"section.{self.zone}.{self.bay}.{self.way}.{self.number}.inhibited"


@frozen
class RunsFor(_OfZone):
    """That the drive under a bay runs that way for this zone, where it is in another zone too that runs it so."""

    bay: str
    way: Direction

    @property
    def name(self) -> str:
        """The signal's name."""
        return f"zone.{self.zone}.{self.bay}.{self.way}.running"


@frozen
class ContactRead:
    """That what an expression of the description asks for is so: of a thing, or in a state (None) that it is true."""

    owner: Meaning
    thing: str
    state: str | None

    @property
    def subject(self) -> Subject:
        """What the expression is about."""
        return self.owner.subject

    @property
    def name(self) -> str:
        """The signal's name."""
        return ".".join(word for word in (self.owner.name, "reads", self.thing, self.state) if word)


@frozen
class Eased:
    """The same as `of`, but with what is lifted counted in favour of its being true (`wanted`) or false."""

    of: Meaning
    wanted: bool

    @property
    def subject(self) -> Subject:
        """What it is about."""
        return self.of.subject

    @property
    def name(self) -> str:
        """The signal's name."""
        return f"{self.of.name}.eased.{'so' if self.wanted else 'not_so'}"


Meaning: TypeAlias = Fact | Commanded | HeldBack | RunsFor | ContactRead | Eased


def running(bay: str, way: Direction) -> Fact:
    """That the drive under a bay runs that way."""
    return Fact(Subject(Sort.DRIVE, bay), way=way)


def pushing_in(rule: Pushing) -> Fact:
    """That units can be pushed where the rule says; it goes by its first bay, of which there is no other rule."""
    return Fact(Subject(Sort.BAY, rule.bays[0]), "pushing")


# ---- what a rule does


class Means(StrEnum):
    """What carries a unit."""

    DRIVE = "driven"
    LOADER = "loader"
    PUSH = "pushed"
    DRIFT = "drifting"


@frozen
class Work:
    """A thing changes, worked by somebody or something or by itself, from the state `source` to `dest`.

    Where `sole`, its kind has no other transition of that trigger.  `case` tells apart what is one deed to people, and
    of which a requirement counts a part.
    """

    of: Condition
    trigger: Trigger
    source: str
    dest: str
    sole: bool
    case: str = ""

    @property
    def subject(self) -> Subject:
        """The thing."""
        return self.of.subject

    @property
    def name(self) -> str:
        """What rules are called that do it."""
        between = () if self.sole else (self.source, self.dest)
        return ".".join(word for word in (self.of.path, self.trigger.word, *between, self.case) if word)


@frozen
class Go:
    """A person goes from one place to another."""

    person: str
    source: str
    dest: str

    @property
    def subject(self) -> Subject:
        """The person."""
        return Subject(Sort.PERSON, self.person)

    @property
    def name(self) -> str:
        """What rules are called that do it."""
        return f"person.{self.person}.go.{self.source}.{self.dest}"


@frozen
class Strike:
    """A failure strikes, or (`heals`) goes again."""

    failure: Failure
    heals: bool = False

    @property
    def subject(self) -> Subject:
        """What fails."""
        return self.failure.subject

    @property
    def name(self) -> str:
        """What rules are called that do it."""
        return f"{self.failure.name}.heals" if self.heals else self.failure.name


@frozen
class _AtSill:
    door: str
    placement: Placement
    _verb: ClassVar[str]

    @property
    def subject(self) -> Subject:
        """The door."""
        return Subject(Sort.DOOR, self.door)

    @property
    def name(self) -> str:
        """What rules are called that do it."""
        return f"loader.{self.placement.id}.{self._verb}"


class Bring(_AtSill):
    """A unit is brought on the loader to a door's sill."""

    __slots__ = ()
    _verb = "bring"


class TakeAway(_AtSill):
    """The unit on the loader at a door's sill is taken away."""

    __slots__ = ()
    _verb = "take_away"


@frozen
class _Half:
    move: Move
    means: Means
    _half: ClassVar[str]

    @property
    def placement(self) -> Placement:
        """Where the unit stands before it departs, or once it has arrived."""
        return self.move.source if self._half == "depart" else self.move.target

    @property
    def name(self) -> str:
        """What rules are called that do it."""
        return f"unit.{self.placement.id}.{self.move.direction}.{self._half}.{self.means}"


class Depart(_Half):
    """The first half of a move: the unit leaves its cells and is over the faces that it crosses."""

    __slots__ = ()
    _half = "depart"


class Arrive(_Half):
    """The second half of a move, which is also the way back of the opposite move."""

    __slots__ = ()
    _half = "arrive"


Deed: TypeAlias = Work | Go | Strike | Bring | TakeAway | Depart | Arrive


@frozen
class Origin:
    """What a rule does: a deed, and what mechanism then does by itself, in order.

    Ways of one deed with the same responses are told apart by `number`, from 1.
    """

    deed: Deed
    responses: tuple[Deed, ...] = ()
    number: int = 1

    @property
    def name(self) -> str:
        """The rule's name."""
        name = " + ".join((self.deed.name, *(response.name for response in self.responses)))
        return name if self.number == 1 else f"{name} #{self.number}"


@frozen
class Origins:
    """What every name of a compiled hold is about.

    `variables` has the memories too that `with_monitors` adds for the requirements.  `deeds` has each deed by its name,
    and `rules_of` the rules by which it is done: one for every way in which mechanism can follow.
    """

    variables: Mapping[str, Memory]
    signals: Mapping[str, Meaning]
    rules: Mapping[str, Origin]
    deeds: Mapping[str, Deed]
    rules_of: Mapping[str, tuple[str, ...]]

    def deed_of(self, rule: str) -> Deed:
        """What is done by a rule of that name.  Raises KeyError."""
        return self.rules[rule].deed

    def is_idle(self, variable: str, value: Value) -> bool:
        """The value of the variable says only that nothing happens, which is not worth a sentence."""
        match self.variables.get(variable):
            case Crossing():
                return value == NOBODY
            case Failure() | Lifted():
                return value is False
        return False


def origins_of(
    variables: Mapping[str, Memory],
    signals: Mapping[str, Meaning],
    rules: Mapping[str, Origin],
    requirements: Iterable[Requirement],
) -> Origins:
    """All of them, read-only, with the memories that the requirements need."""
    rules_of: dict[str, tuple[str, ...]] = {}
    for name, origin in rules.items():
        rules_of[origin.deed.name] = (*rules_of.get(origin.deed.name, ()), name)
    monitors = [Precedence(requirement) for requirement in requirements if is_monitored(requirement)]
    return Origins(
        MappingProxyType({**variables, **{monitor.name: monitor for monitor in monitors}}),
        MappingProxyType(dict(signals)),
        MappingProxyType(dict(rules)),
        MappingProxyType({origin.deed.name: origin.deed for origin in rules.values()}),
        MappingProxyType(rules_of),
    )
