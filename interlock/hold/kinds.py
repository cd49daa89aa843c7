"""What each kind of thing does, declared once as a `transitions` machine.

A declaration lists states and transitions in the form that `transitions.Machine` takes.  The compiler reads the machine
built from it (`machine_of`), the diagrams are drawn from it, and the tests run it beside the compiled rules.
A condition is a name; its meaning for one thing in one hold is given by the compiler (`CONDITIONS`).
The trigger `by_itself` is the mechanism: it settles before anyone acts again.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from enum import StrEnum
from functools import cache
from typing import TYPE_CHECKING, Any

from interlock.diagnostics.frozen import frozen
from interlock.diagnostics.said import Said, say
from interlock.kernel.machine import Actor

if TYPE_CHECKING:
    from transitions import Machine


def spaced(word: str) -> str:
    """A name of the language as people write it: operators call positions as they like, in words joined by `_`."""
    return word.replace("_", " ")


BY_ITSELF = "by_itself"
NEUTRAL = "neutral"
"""Where a lever springs back to."""
HELD = "held"
"""What a control that springs back is while it is away from where it springs back to."""
RELEASED, PRESSED = "released", "pressed"
"""The positions of a push button; a lever that can be pressed is `pressed`, too."""
ENERGISED = "energised"
"""What a relay is once it has pulled in, until it is released."""
HELD_BY_THE_UNIT = "held_by_the_unit"
"""What a handle is while the unit that passes keeps its locks down; nobody need pull it any more."""


CONDITIONS: Mapping[str, str] = {
    "covered": "a unit is over it, at rest or on its way",
    "energised": "its circuit is true",
    "handle_pulled": "its handle is not stowed",
    "in_use": "a lever behind it is held",
    "drive_opens": "the door is driven, or free to be moved, towards open",
    "drive_closes": "the door is driven, or free to be moved, towards closed",
    "latched": "the door is latched",
    "shut": "the door is closed",
    "latching_possible": "what the description asks of latching is so",
    "unlatching_possible": "what the description asks of unlatching is so",
    "locking_possible": "what the description asks of locking is so",
    "unlocking_possible": "what the description asks of unlocking is so",
    "fed": "it has what it needs",
    "sets": "what sets it is so",
    "drops": "what drops it is so",
}
"""The condition names that declarations may use, and what each means."""


class Verb(StrEnum):
    """What is done to a thing of some kind; `SETTLE` is what it does by itself."""

    RAISE = "raise"
    LOWER = "lower"
    KEEP = "keep"
    LET = "let"
    PULL = "pull"
    STOW = "stow"
    OPEN = "open"
    CLOSE = "close"
    START = "start"
    FINISH = "finish"
    LATCH = "latch"
    UNLATCH = "unlatch"
    LOCK = "lock"
    UNLOCK = "unlock"
    SET = "set"
    HOLD = "hold"
    PRESS = "press"
    RELEASE = "release"
    LOSE = "lose"
    RESTORE = "restore"
    SETTLE = BY_ITSELF


class Purpose(StrEnum):
    """What a device is for."""

    LATCH = "latch"
    GUIDE = "guide"
    STOP = "stop"
    LOCK = "lock"


class Working(StrEnum):
    """What moves a device."""

    HAND = "hand"
    SPRING = "spring"
    POWER = "power"
    HANDLE = "handle"
    FIXED = "fixed"


@frozen
class Trigger:
    """Who pulls a trigger and how to say it: `order` as an instruction, with `{name}` for the thing,
    and `{to}` for what `to` says; `briefly` is the same where a hand lets go again at once.

    `to` goes with the verb where that alone does not say it: the position that a switch is set to, `down` of
    `keep_down`.
    """

    actor: Actor
    order: str
    verb: Verb
    to: str = ""
    briefly: str = ""

    def told(self, name: str, briefly: bool = False) -> Said:
        """The instruction, about the thing of that name."""
        return say(self.briefly if briefly else self.order, name=name, to=spaced(self.to))

    @property
    def word(self) -> str:
        """How transitions, and the steps that requirements speak of, call it."""
        return f"{self.verb}_{self.to}" if self.to else str(self.verb)


@dataclass(frozen=True, slots=True, eq=False)
class Kind:
    """A kind of thing: its states, in which of them it stands above the floor, and its transitions.

    `initial` is where it rests: as it is made, or without power.  `transitions` has the entries that
    `transitions.Machine` takes: trigger, source, dest, and optional lists `conditions` (all must be true) and `unless`
    (none may be true).  `purpose` and `working` are those of a device.  `says` is how states are
    told that are more than a word: a switch is not `raise`, it is set to it.  `words` are names of states that are made
    of a position and of words of ours.
    """

    id: str
    about: str
    states: tuple[str, ...]
    standing: tuple[str, ...]
    initial: str
    transitions: tuple[Mapping[str, Any], ...]
    triggers: Mapping[str, Trigger]
    purpose: Purpose | None = None
    working: Working | None = None
    says: Mapping[str, str] = field(default_factory=dict)
    words: Mapping[str, str] = field(default_factory=dict)

    def word(self, state: str) -> str:
        """The state as a word by itself; a position is called as the description calls it."""
        return self.words.get(state) or (spaced(state) if state in self.says else say(spaced(state)))

    def said(self, state: str) -> str:
        """How people say, behind `is`, that it is in the state."""
        return self.says.get(state) or say(spaced(state))

    @property
    def is_hand_worked(self) -> bool:
        """A hand on the thing itself moves it."""
        return any(trigger.actor is Actor.CREW for trigger in self.triggers.values())


def _named(*triggers: Trigger) -> Mapping[str, Trigger]:
    return {trigger.word: trigger for trigger in triggers}


MECHANISM = Trigger(Actor.MECHANISM, "{name} settles", Verb.SETTLE)
_LETTING_GO = Trigger(Actor.CREW, "release {name}", Verb.RELEASE)


def _manual(purpose: Purpose) -> Kind:
    return Kind(
        f"manual {purpose}",
        "Raised and lowered by hand. It cannot be raised under a unit.",
        ("lowered", "raised"),
        ("raised",),
        "lowered",
        (
            {"trigger": "raise", "source": "lowered", "dest": "raised", "unless": ["covered"]},
            {"trigger": "lower", "source": "raised", "dest": "lowered"},
        ),
        _named(
            Trigger(Actor.CREW, "raise {name}", Verb.RAISE),
            Trigger(Actor.CREW, "lower {name}", Verb.LOWER),
        ),
        purpose,
        Working.HAND,
    )


def _powered(purpose: Purpose, rest: str) -> Kind:
    work = "lowered" if rest == "raised" else "raised"
    towards = {rest: {"unless": ["energised"]}, work: {"conditions": ["energised"]}}
    rising = {
        "trigger": BY_ITSELF,
        "source": "lowered",
        "dest": "raised",
        "conditions": list(towards["raised"].get("conditions", [])),
        "unless": [*towards["raised"].get("unless", []), "covered"],
    }
    falling = {"trigger": BY_ITSELF, "source": "raised", "dest": "lowered", **towards["lowered"]}
    pressed = {"trigger": BY_ITSELF, "source": "raised", "dest": "lowered", "conditions": ["covered"]}
    return Kind(
        f"powered {purpose} resting {rest}",
        f"{work.capitalize()} while its circuit is true, {rest} without power. A unit over it keeps it down.",
        ("lowered", "raised"),
        ("raised",),
        rest,
        (rising, falling, pressed),
        _named(MECHANISM),
        purpose,
        Working.POWER,
    )


def _fixed(purpose: Purpose) -> Kind:
    about = "Part of the structure."
    return Kind(f"fixed {purpose}", about, ("fixed",), ("fixed",), "fixed", (), {}, purpose, Working.FIXED)


def _spring_latch(id: str, about: str) -> Kind:
    return Kind(
        id,
        about,
        ("raised", "held_down", "kept_down"),
        ("raised",),
        "raised",
        (
            {"trigger": BY_ITSELF, "source": "raised", "dest": "held_down", "conditions": ["covered"]},
            {"trigger": BY_ITSELF, "source": "held_down", "dest": "raised", "unless": ["covered"]},
            {"trigger": "keep_down", "source": "raised", "dest": "kept_down"},
            {"trigger": "let_up", "source": "kept_down", "dest": "raised", "unless": ["covered"]},
        ),
        _named(
            MECHANISM,
            Trigger(Actor.CREW, "push {name} down and keep it down", Verb.KEEP, "down"),
            Trigger(Actor.CREW, "let {name} come up", Verb.LET, "up"),
        ),
        Purpose.LATCH,
        Working.SPRING,
    )


SPRING_LATCH = _spring_latch(
    "spring latch",
    "Rests raised, gives way to a unit that passes in the directions it lists, comes back when clear; can be kept "
    "down by hand.",
)
OVERRIDABLE_LATCH = _spring_latch(
    "overridable latch",
    "Rests raised and stops a unit one way; one that comes the other way, listed under gives_way, overrides it: it is "
    "held down while the unit is over it and comes back when clear. A hand can keep it down.",
)

SPRING_GUIDE = Kind(
    "spring guide",
    "Rests raised, gives way to a unit that passes in the directions it lists, comes back when clear.",
    ("raised", "held_down"),
    ("raised",),
    "raised",
    (
        {"trigger": BY_ITSELF, "source": "raised", "dest": "held_down", "conditions": ["covered"]},
        {"trigger": BY_ITSELF, "source": "held_down", "dest": "raised", "unless": ["covered"]},
    ),
    _named(MECHANISM),
    Purpose.GUIDE,
    Working.SPRING,
)

HANDLE_WORKED_LOCK = Kind(
    "handle-worked lock",
    "Lowered by a handle, together with the others of its handle; comes up when the handle is back and it is clear.",
    ("raised", "lowered"),
    ("raised",),
    "raised",
    (
        {"trigger": BY_ITSELF, "source": "raised", "dest": "lowered", "conditions": ["handle_pulled"]},
        {"trigger": BY_ITSELF, "source": "raised", "dest": "lowered", "conditions": ["covered"]},
        {"trigger": BY_ITSELF, "source": "lowered", "dest": "raised", "unless": ["handle_pulled", "covered"]},
    ),
    _named(MECHANISM),
    Purpose.LOCK,
    Working.HANDLE,
)

DEVICE_KINDS: Mapping[str, Kind] = {
    kind.id: kind
    for kind in (
        _manual(Purpose.LATCH),
        _manual(Purpose.GUIDE),
        SPRING_LATCH,
        OVERRIDABLE_LATCH,
        SPRING_GUIDE,
        _powered(Purpose.LATCH, "raised"),
        _powered(Purpose.LATCH, "lowered"),
        _powered(Purpose.GUIDE, "raised"),
        _powered(Purpose.GUIDE, "lowered"),
        HANDLE_WORKED_LOCK,
        _fixed(Purpose.STOP),
        _fixed(Purpose.GUIDE),
    )
}
"""Every kind of device that can stand on a face, by id."""

HANDLE = Kind(
    "self-resetting handle",
    "Lowers its locks while pulled; is stowed by itself when the unit that passed is clear.",
    ("stowed", "pulled", HELD_BY_THE_UNIT),
    (),
    "stowed",
    (
        {"trigger": "pull", "source": "stowed", "dest": "pulled"},
        {"trigger": "stow", "source": "pulled", "dest": "stowed", "unless": ["covered"]},
        {"trigger": BY_ITSELF, "source": "pulled", "dest": HELD_BY_THE_UNIT, "conditions": ["covered"]},
        {"trigger": BY_ITSELF, "source": HELD_BY_THE_UNIT, "dest": "stowed", "unless": ["covered"]},
    ),
    _named(
        MECHANISM,
        Trigger(Actor.CREW, "pull {name}", Verb.PULL),
        Trigger(Actor.CREW, "stow {name}", Verb.STOW),
    ),
)

PANEL = Kind(
    "access panel",
    "Must be open to reach the controls behind it; cannot be closed on a hand that holds a lever.",
    ("closed", "open"),
    (),
    "closed",
    (
        {"trigger": "open", "source": "closed", "dest": "open"},
        {"trigger": "close", "source": "open", "dest": "closed", "unless": ["in_use"]},
    ),
    _named(Trigger(Actor.CREW, "open {name}", Verb.OPEN), Trigger(Actor.CREW, "close {name}", Verb.CLOSE)),
)

SUPPLY = Kind(
    "supply",
    "A source of power, connected and disconnected, or lost and restored, at any time.",
    ("off", "on"),
    (),
    "off",
    (
        {"trigger": "lose", "source": "on", "dest": "off"},
        {"trigger": "restore", "source": "off", "dest": "on"},
    ),
    _named(
        Trigger(Actor.PLANT, "{name} is lost", Verb.LOSE),
        Trigger(Actor.PLANT, "{name} comes on", Verb.RESTORE),
    ),
)


@cache
def fed_supply_kind(stored: bool, may_be_lost: bool) -> Kind:
    """A supply that needs something else: a hydraulic pump its motor and the motor's power.

    It comes on some time after it has what it needs.  Without, it goes off at once, or, where it is stored, some time
    later; `may_be_lost` lets it go off at any time besides.
    """
    transitions: list[Mapping[str, Any]] = []
    if may_be_lost:
        transitions.append({"trigger": "lose", "source": "on", "dest": "off"})
    ends = {"source": "on", "dest": "off", "unless": ["fed"]}
    transitions.append({"trigger": "lose_stored" if stored else BY_ITSELF, **ends})
    transitions.append({"trigger": "restore", "source": "off", "dest": "on", "conditions": ["fed"]})
    about = "A source of power that needs something else: it comes on only while it has that, and some time later. "
    if stored:
        about += "Without it, what is stored lasts for a while."
    else:
        about += "Without it, it goes off at once."
    return Kind(
        "supply that stores" if stored else "supply that needs another",
        about,
        ("off", "on"),
        (),
        "off",
        tuple(transitions),
        _named(
            *SUPPLY.triggers.values(),
            Trigger(Actor.PLANT, "what {name} has stored runs out", Verb.LOSE, "stored") if stored else MECHANISM,
        ),
    )


RELAY = Kind(
    "relay",
    "A named condition with memory: one thing energises it, another releases it, which wins.",
    (RELEASED, ENERGISED),
    (),
    RELEASED,
    (
        {"trigger": BY_ITSELF, "source": RELEASED, "dest": ENERGISED, "conditions": ["sets"], "unless": ["drops"]},
        {"trigger": BY_ITSELF, "source": ENERGISED, "dest": RELEASED, "conditions": ["drops"]},
    ),
    _named(MECHANISM),
)


_DOOR_ORDERS = {
    "hand": ("start to open {name}", "open {name} fully", "start to close {name}", "close {name} fully"),
    "power": (
        "the drive starts to open {name}",
        "the drive opens {name} fully",
        "the drive starts to close {name}",
        "the drive closes {name} fully",
    ),
}
"""How it is said that a door moves, by what moves it."""


def _door(moved_by: str) -> Kind:
    actor = Actor.CREW if moved_by == "hand" else Actor.PLANT
    starts_to_open, opens_fully, starts_to_close, closes_fully = _DOOR_ORDERS[moved_by]
    return Kind(
        f"door moved by {moved_by}",
        "Closed, moving (off both ends, or stopped between them) or open. It leaves closed only when unlatched.",
        ("closed", "moving", "open"),
        (),
        "closed",
        (
            {
                "trigger": "start_opening",
                "source": "closed",
                "dest": "moving",
                "conditions": ["drive_opens"],
                "unless": ["latched"],
            },
            {"trigger": "finish_opening", "source": "moving", "dest": "open", "conditions": ["drive_opens"]},
            {"trigger": "start_closing", "source": "open", "dest": "moving", "conditions": ["drive_closes"]},
            {"trigger": "finish_closing", "source": "moving", "dest": "closed", "conditions": ["drive_closes"]},
        ),
        _named(
            Trigger(actor, starts_to_open, Verb.START, "opening"),
            Trigger(actor, opens_fully, Verb.FINISH, "opening"),
            Trigger(actor, starts_to_close, Verb.START, "closing"),
            Trigger(actor, closes_fully, Verb.FINISH, "closing"),
        ),
    )


DOOR_KINDS: Mapping[str, Kind] = {moved_by: _door(moved_by) for moved_by in ("hand", "power")}
"""The position of a door, by what moves it."""


@cache
def latch_kind(latched_by: str, unlatched_by: str) -> Kind:
    """The latch of a door: a latch holds the door closed."""
    return Kind(
        f"door latch ({latched_by}, {unlatched_by})",
        "Holds the closed door.",
        ("unlatched", "latched"),
        (),
        "unlatched",
        (
            {
                "trigger": "latch",
                "source": "unlatched",
                "dest": "latched",
                "conditions": ["shut", "latching_possible"],
            },
            {"trigger": "unlatch", "source": "latched", "dest": "unlatched", "conditions": ["unlatching_possible"]},
        ),
        _named(
            Trigger(_hand_or_power(latched_by), "latch {name}", Verb.LATCH),
            Trigger(_hand_or_power(unlatched_by), "unlatch {name}", Verb.UNLATCH),
        ),
    )


@cache
def lock_kind(locked_by: str, unlocked_by: str) -> Kind:
    """The lock of a door: a lock keeps the latch from coming off."""
    return Kind(
        f"door lock ({locked_by}, {unlocked_by})",
        "Keeps the latch from coming off.",
        ("unlocked", "locked"),
        (),
        "unlocked",
        (
            {"trigger": "lock", "source": "unlocked", "dest": "locked", "conditions": ["locking_possible"]},
            {"trigger": "unlock", "source": "locked", "dest": "unlocked", "conditions": ["unlocking_possible"]},
        ),
        _named(
            Trigger(_hand_or_power(locked_by), "lock {name}", Verb.LOCK),
            Trigger(_hand_or_power(unlocked_by), "unlock {name}", Verb.UNLOCK),
        ),
    )


def _hand_or_power(by: str) -> Actor:
    return Actor.CREW if by == "hand" else Actor.PLANT


def switch_kind(positions: Sequence[str]) -> Kind:
    """A maintained switch or selector: stays where it is put."""
    return Kind(
        "switch",
        "Stays where it is put.",
        tuple(positions),
        (),
        positions[0],
        tuple(
            {"trigger": f"set_{dest}", "source": source, "dest": dest}
            for dest in positions
            for source in positions
            if source != dest
        ),
        _named(*(Trigger(Actor.CREW, "set {name} to {to}", Verb.SET, one) for one in positions)),
        says={one: say("set to {position}", position=spaced(one)) for one in positions},
    )


def lever_kind(directions: Sequence[str]) -> Kind:
    """A spring-centred lever: a command only while it is held."""
    return Kind(
        "lever",
        "Spring-centred: commands a direction only while it is held.",
        (NEUTRAL, *directions),
        (),
        NEUTRAL,
        tuple(_held(directions, NEUTRAL)),
        _named(*_holding(directions), _LETTING_GO),
        says=_held_to(directions),
    )


def press_lever_kind(directions: Sequence[str]) -> Kind:
    """A spring-centred lever that can be pressed as well, before it is deflected or while it is."""
    pressed = {one: and_pressed(one) for one in (NEUTRAL, *directions)}
    said = _held_to(directions)
    transitions = [*_held(directions, NEUTRAL)]
    for direction in directions:
        held = pressed[direction]
        transitions.append({"trigger": f"hold_{direction}", "source": pressed[NEUTRAL], "dest": held})
        transitions.append({"trigger": "let_back", "source": held, "dest": pressed[NEUTRAL]})
    for free, held in pressed.items():
        transitions.append({"trigger": "press", "source": free, "dest": held})
        transitions.append({"trigger": "let_up", "source": held, "dest": free})
        transitions.append({"trigger": "release", "source": held, "dest": NEUTRAL})
    return Kind(
        "press lever",
        "Spring-centred, and can be pressed as well, before it is deflected or while it is. Whoever lets go of it lets "
        "go of both.",
        (NEUTRAL, *directions, *pressed.values()),
        (),
        NEUTRAL,
        tuple(transitions),
        _named(
            *_holding(directions),
            Trigger(Actor.CREW, "press {name} and keep it pressed", Verb.PRESS),
            Trigger(Actor.CREW, "let {name} come up, not letting go of it", Verb.LET, "up"),
            Trigger(Actor.CREW, "let {name} go back to neutral, still pressed", Verb.LET, "back"),
            _LETTING_GO,
        ),
        says=said
        | {pressed[one]: say("{held} and pressed", held=said.get(one) or say(spaced(one))) for one in pressed},
        words={
            pressed[one]: say("{held} and pressed", held=say(one) if one == NEUTRAL else spaced(one)) for one in pressed
        },
    )


def and_pressed(position: str) -> str:
    """The state of a lever that is held in a position and pressed."""
    return f"{position}_and_pressed"


PUSH_BUTTON = Kind(
    "push button",
    "Comes back by itself: commands only while it is pressed.",
    (RELEASED, PRESSED),
    (),
    RELEASED,
    (
        {"trigger": "hold_pressed", "source": RELEASED, "dest": PRESSED},
        {"trigger": "release", "source": PRESSED, "dest": RELEASED},
    ),
    _named(
        Trigger(
            Actor.CREW, "press {name} and keep it pressed", Verb.HOLD, PRESSED, briefly="press {name}, then release it"
        ),
        _LETTING_GO,
    ),
)


def momentary_switch_kind(positions: Sequence[str], returns: str) -> Kind:
    """A switch that springs back: in any other position only while it is held there."""
    others = tuple(one for one in positions if one != returns)
    return Kind(
        "momentary switch",
        "Springs back to one of its positions: in another only while it is held there.",
        (returns, *others),
        (),
        returns,
        tuple(_held(others, returns)),
        _named(*_holding(others), _LETTING_GO),
        says=_held_to(others),
    )


def _held(positions: Sequence[str], rest: str) -> Iterator[Mapping[str, Any]]:
    for position in positions:
        yield {"trigger": f"hold_{position}", "source": rest, "dest": position}
        yield {"trigger": "release", "source": position, "dest": rest}


def _held_to(positions: Sequence[str]) -> dict[str, str]:
    return {one: say("held to {position}", position=spaced(one)) for one in positions}


def _holding(positions: Sequence[str]) -> Iterator[Trigger]:
    return (
        Trigger(Actor.CREW, "hold {name} to {to}", Verb.HOLD, one, briefly="hold {name} to {to}, then release it")
        for one in positions
    )


HELD_KINDS = ("lever", "push button", "momentary switch")
"""Controls that spring back: a command only while a hand is on them."""
CONTROL_KINDS = (
    "switch",
    "selector",
    "lever",
    "self-resetting handle",
    "access panel",
    "push button",
    "momentary switch",
)
"""The kinds of control that a description may name."""


@cache
def control_kind(kind: str, positions: tuple[str, ...], returns: str | None = None, pressed: bool = False) -> Kind:
    """The declaration for a control of that kind with those positions; the same each time: much is known of each.

    `returns` is where a momentary switch springs back to, `pressed` says that a lever can be pressed as well.  Raises
    KeyError for an unknown kind.
    """
    if kind in ("switch", "selector"):
        return switch_kind(positions)
    if kind == "lever":
        return press_lever_kind(positions) if pressed else lever_kind(positions)
    if kind == "momentary switch":
        return momentary_switch_kind(positions, returns or positions[0])
    return {"self-resetting handle": HANDLE, "access panel": PANEL, "push button": PUSH_BUTTON}[kind]


def machine_of(kind: Kind) -> Machine:
    """The `transitions` machine that the declaration describes; without a model, to be read rather than run."""
    from transitions import Machine

    return Machine(
        model=None,
        states=list(kind.states),
        transitions=[dict(entry) for entry in kind.transitions],
        initial=kind.initial,
        auto_transitions=False,
    )


@frozen
class Change:
    """One transition as `transitions` holds it: it fires when all of `needs` are true and none of `unless`.

    Where a trigger has several transitions from one state, `transitions` fires the first whose conditions are met.
    """

    trigger: str
    source: str
    dest: str
    needs: tuple[str, ...]
    unless: tuple[str, ...]


@cache
def changes_of(kind: Kind) -> tuple[Change, ...]:
    """Every transition, read from the `transitions` machine, in the order in which it tries them."""
    found = []
    for trigger, event in machine_of(kind).events.items():
        for source, entries in event.transitions.items():
            for entry in entries:
                needs = tuple(str(condition.func) for condition in entry.conditions if condition.target)
                unless = tuple(str(condition.func) for condition in entry.conditions if not condition.target)
                found.append(Change(trigger, str(source), str(entry.dest), needs, unless))
    return tuple(found)
