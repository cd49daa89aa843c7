"""What may be written in each record of a description; the reader and the JSON Schema for editors are made from it."""

from __future__ import annotations

from collections.abc import Mapping

from interlock.hold.kinds import CONTROL_KINDS, DEVICE_KINDS, SENSOR_FAILURES, THING_FAILURES
from interlock.hold.language.field_types import (
    Amount,
    Bay,
    Bays,
    Choice,
    Directions,
    Expression,
    Field,
    Id,
    Listed,
    OrNone,
    Quantifiers,
    Record,
    RecordOf,
    Reference,
    SideText,
    States,
    StepText,
    Text,
    Whole,
    Word,
    YesNo,
)

DIRECTION_WORDS = ("fore", "aft", "left", "right")
DIRECTION_CHOICE = Choice(DIRECTION_WORDS)

_ID = Field("id", Id(), "The name by which everything else refers to it.", required=True)
_NAME = Field("name", Text(), "What people call it; the id where it is left out.")
_STATES = Listed(Word("state"), one=True, least=1)


RECORDS: Mapping[str, Record] = {
    "layout": Record(
        "the layout",
        "The floor: rows and lanes, and how units can move and must be restrained on it.",
        (
            Field(
                "lanes",
                Listed(Id(), one=True, least=1),
                "Lanes from left to right, seen looking forward.",
                required=True,
            ),
            Field("rows", Whole(1, 200), "How many rows; row 1 is the most forward.", required=True),
            Field("bay_length_mm", Amount("mm"), "Length of a bay along the hold."),
            Field("bay_width_mm", Amount("mm"), "Width of a bay across the hold."),
            Field(
                "rules",
                Listed(RecordOf("bay rule")),
                "Bays that hold only some kinds of unit, or do not exist.",
                default=(),
            ),
            Field(
                "ball_mat",
                Bays(least=0),
                "Bays where units move along both axes; elsewhere they move fore and aft only.",
                required=True,
            ),
            Field(
                "secured",
                Listed(Choice((*DIRECTION_WORDS, "up")), one=True),
                "Directions in which a unit must be restrained to be secured.",
                required=True,
            ),
            Field("neighbour_restrains", YesNo(), "Whether a restrained neighbour restrains.", required=True),
            Field(
                "drift",
                Listed(DIRECTION_CHOICE, one=True),
                "Directions in which an unrestrained unit may roll by itself.",
                required=True,
            ),
            Field(
                "pushing",
                Expression(never_is_none=True),
                "When the crew may push units by hand; `never` where they may not.",
                required=True,
            ),
            Field(
                "hand_work",
                Expression(),
                "When hand-worked devices inside the hold can be reached at all.",
                required=True,
            ),
        ),
    ),
    "bay rule": Record(
        "a rule for bays",
        "Bays that hold only some kinds of unit, or that do not exist.",
        (
            Field("bays", Bays(missing=True), "The bays that the rule is about.", required=True),
            Field(
                "kinds",
                Listed(Reference(("units",)), one=True),
                "Kinds of unit that they hold; an empty list for bays that do not exist.",
                required=True,
            ),
        ),
    ),
    "unit": Record(
        "a kind of unit",
        "A kind of unit load.",
        (
            _ID,
            _NAME,
            Field("across", Whole(1, 2), "How many lanes it is wide.", required=True),
            Field("along", Whole(1, 2), "How many rows it is long.", required=True),
            Field("max_gross_kg", Amount("kg"), "Its greatest gross mass."),
        ),
    ),
    "door step": Record(
        "a step of a door",
        "Latching, unlatching, locking or unlocking.",
        (
            Field("by", Choice(("hand", "power")), "What does it.", required=True),
            Field("when", Expression(), "When it is possible.", required=True),
        ),
    ),
    "doorway": Record(
        "a doorway",
        "A door over the outer side of some bays.",
        (
            _ID,
            _NAME,
            Field("bays", Bays(), "The bays that it opens to the outside.", required=True),
            Field("side", DIRECTION_CHOICE, "The side of these bays where it is.", required=True),
            Field("moved_by", Choice(("power", "hand")), "What moves it.", required=True),
            Field(
                "opens",
                Expression(),
                "When the drive opens it; moved by hand, when it is free to open.",
                required=True,
            ),
            Field(
                "closes",
                Expression(),
                "When the drive closes it; moved by hand, when it is free to close.",
                required=True,
            ),
            Field("latch", OrNone(RecordOf("door step")), "How it is latched; `none` without latch.", required=True),
            Field("unlatch", OrNone(RecordOf("door step")), "How it is unlatched; needed with a latch."),
            Field("lock", OrNone(RecordOf("door step")), "How it is locked; `none` without lock.", required=True),
            Field("unlock", OrNone(RecordOf("door step")), "How it is unlocked; needed with a lock."),
            Field(
                "path",
                Listed(RecordOf("obstacle"), one=True),
                "Devices that can stand in its way; an empty list where none can.",
                required=True,
            ),
            Field(
                "starts",
                Listed(Choice(("closed", "open", "latched", "locked")), one=True, least=1),
                "What holds of it at the start: closed or open, and latched, locked.",
                required=True,
            ),
        ),
    ),
    "obstacle": Record(
        "a device in the way of a door",
        "A device that can stand in the way of a door.",
        (
            Field("device", Reference(("devices",)), "The device.", required=True),
            Field("in", Word("state"), "The state in which it stands in the way.", required=True),
        ),
    ),
    "device": Record(
        "a device",
        "A latch, lock, guide or stop on the side of a bay.",
        (
            _ID,
            _NAME,
            Field("kind", Choice(tuple(DEVICE_KINDS)), "How it behaves.", required=True),
            Field("on", Listed(SideText(), one=True, least=1), "The side or sides where it stands.", required=True),
            Field(
                "stops",
                Listed(DIRECTION_CHOICE, one=True),
                "Directions of motion that it stops while it stands up.",
                default=(),
            ),
            Field(
                "gives_way",
                Listed(DIRECTION_CHOICE, one=True),
                "Directions of motion to which it gives way.",
                default=(),
            ),
            Field(
                "restrains",
                Listed(Choice(("x", "y", "z")), one=True),
                "Axes along which it restrains a unit while in its locking state: x is along, y across, z up.",
                default=(),
            ),
            Field("locking", Word("state"), "The state in which it restrains; needed for all that can move."),
            Field(
                "starts",
                _STATES,
                "Its state, or possible states, at the start; needed for hand-worked kinds.",
                default=(),
            ),
            Field("circuit", OrNone(Expression()), "What works a powered device."),
            Field(
                "handle",
                OrNone(Reference(("controls",), "self-resetting handle")),
                "The handle that works a handle-worked lock.",
            ),
            Field("lags", YesNo(), "Whether others may act before it has settled.", default=False),
            Field("fixed", OrNone(Word("state")), "The state in which it stays for good."),
            Field("deferred", OrNone(RecordOf("deferral")), "Why it is inoperative."),
        ),
    ),
    "deferral": Record(
        "a deferral",
        "Why an item is inoperative, and the limit that goes with it.",
        (
            Field("because", Text(), "Why.", required=True),
            Field("limit", Expression(), "What must hold before the doors are shut for departure.", required=True),
        ),
    ),
    "control": Record(
        "a control",
        "Something that a hand works.",
        (
            _ID,
            _NAME,
            Field("kind", Choice(CONTROL_KINDS), "How it behaves.", required=True),
            Field(
                "positions",
                Listed(Word("position"), one=True, least=1),
                "Positions of a switch or selector; directions of a lever beside neutral.",
                default=(),
            ),
            Field("starts", _STATES, "Its position, or possible positions, at the start.", default=()),
            Field("marks", RecordOf("marks"), "Which way the positions of a lever move a unit.", default=()),
            Field(
                "behind", OrNone(Reference(("controls",), "access panel")), "The panel that must be open to reach it."
            ),
            Field("reachable", OrNone(Expression()), "When a hand can reach it, beside the panel; left out: always."),
            Field("fixed", OrNone(Word("position")), "The position in which it stays for good."),
        ),
    ),
    "marks": Record(
        "the marks of a lever",
        "Positions by the direction for which they are marked; needless for one that is called like its direction.",
        tuple(
            Field(way, Listed(Word("position"), one=True, least=1), f"The position or positions for {way}.")
            for way in DIRECTION_WORDS
        ),
    ),
    "station": Record(
        "a station",
        "A place of control.",
        (
            _ID,
            _NAME,
            Field("controls", Listed(Reference(("controls",)), one=True, least=1), "Its controls.", required=True),
            Field("owns", Expression(), "When it owns its zones.", required=True),
        ),
    ),
    "supply": Record(
        "a supply",
        "A source of power.",
        (
            _ID,
            _NAME,
            Field("starts", Listed(Choice(("off", "on")), one=True, least=1), "Off or on at the start.", required=True),
            Field("may_be_lost", YesNo(), "Whether it goes and returns at any time, by itself.", required=True),
        ),
    ),
    "circuit": Record(
        "a circuit",
        "A named condition without memory.",
        (
            _ID,
            _NAME,
            Field(
                "use",
                Choice(("power", "permit", "inhibit", "indication", "logic")),
                "What it is for.",
                required=True,
            ),
            Field("is", Expression(), "When it is true.", required=True, attribute="definition"),
        ),
    ),
    "relay": Record(
        "a relay",
        "A named condition with memory.",
        (
            _ID,
            _NAME,
            Field("sets", Expression(), "When it is set.", required=True),
            Field("drops", Expression(), "When it is dropped, which wins.", required=True),
            Field(
                "starts",
                Listed(Choice(("dropped", "set")), one=True, least=1),
                "Dropped or set at the start.",
                default=("dropped",),
            ),
        ),
    ),
    "sensor": Record(
        "a sensor",
        "Reports a true state of affairs to circuits.",
        (_ID, _NAME, Field("reads", Expression(), "What it reports.", required=True)),
    ),
    "command": Record(
        "a command",
        "What runs a zone in each direction from one station.",
        (
            Field("station", OrNone(Reference(("stations",))), "The station; needed where there are several."),
            *(Field(way, Expression(), f"When it commands {way}.") for way in DIRECTION_WORDS),
        ),
    ),
    "section": Record(
        "a section",
        "What keeps the drive under one bay from running.",
        (
            Field("bay", Bay(), "The bay.", required=True),
            Field("inhibits", Directions(), "What inhibits it, by direction.", required=True),
        ),
    ),
    "zone": Record(
        "a drive zone",
        "Bays whose drives run on one command.",
        (
            _ID,
            _NAME,
            Field("bays", Bays(), "Its bays.", required=True),
            Field("power", Expression(), "When its drives have power.", required=True),
            Field("commands", Listed(RecordOf("command"), one=True, least=1), "What runs it.", required=True),
            Field("inhibits", Directions(), "What inhibits the whole zone, by direction.", default=()),
            Field("sections", Listed(RecordOf("section"), one=True), "What inhibits the drive of a bay.", default=()),
            Field(
                "levers",
                Listed(Reference(("controls",), "lever"), one=True, least=1),
                "The levers marked for it; where it is left out, those that its commands name.",
                default=(),
            ),
        ),
    ),
    "place": Record(
        "a place",
        "Where a person can be.",
        (
            _ID,
            _NAME,
            Field("bay", Bay(outside=True), "The bay where it is, or `outside`.", required=True),
            Field(
                "reaches",
                Listed(Reference(("devices", "controls")), one=True),
                "Devices and controls within reach.",
                required=True,
            ),
        ),
    ),
    "person": Record(
        "a person",
        "Somebody who goes from place to place.",
        (
            _ID,
            _NAME,
            Field("places", Listed(Reference(("places",)), one=True, least=1), "Where they can be.", required=True),
            Field("starts", Listed(Reference(("places",)), one=True, least=1), "Where they can start.", required=True),
            Field("moves", Expression(), "When they can go from place to place.", required=True),
        ),
    ),
    "group": Record(
        "a group",
        "A named list of things, for quantifiers.",
        (_ID, Field("members", Bays(members=True), "What belongs to it.", required=True)),
    ),
    "situation": Record(
        "a situation",
        "A named way to start.",
        (_ID, _NAME, Field("sets", States(), "The states that differ from the usual start.", required=True)),
    ),
    "failure": Record(
        "a failure",
        "A failure that may strike, once and for good.",
        (
            Field(
                "of",
                Reference(
                    ("doorways", "devices", "controls", "supplies", "circuits", "relays", "sensors", "zones"),
                ),
                "What fails.",
                required=True,
            ),
            Field("mode", Word("failure mode", (*THING_FAILURES, *SENSOR_FAILURES)), "How it fails.", required=True),
        ),
    ),
    "requirement": Record(
        "a requirement",
        "Something to prove.",
        (
            _ID,
            Field("text", Text(), "The requirement in plain English.", required=True),
            Field(
                "kind",
                Choice(("never", "always", "only if", "order", "can", "can always")),
                "What it asks of the states or steps that can be reached.",
                required=True,
            ),
            Field("for", Quantifiers(), "Variables with the groups they run through.", default=(), attribute="each"),
            Field("where", Expression(), "Which combinations of them are meant."),
            Field("when", Expression(), "The situation that it speaks of."),
            Field("condition", Expression(), "What must never, always or can be so, or can always be brought about."),
            Field(
                "step",
                Listed(StepText(), one=True, least=1),
                "The steps that it speaks of.",
                default=(),
                attribute="steps",
            ),
            Field("first", Listed(StepText(), one=True, least=1), "Steps of which one must come before.", default=()),
            Field("since", Listed(StepText(), one=True, least=1), "The steps that must not lie between.", default=()),
            Field("hazard", Text(), "What would happen.", required=True),
            Field("severity", Text(), "How bad, in the words of the scheme.", required=True),
            Field("scheme", Text(), "The scheme that the severity is taken from.", required=True),
            Field("source", Text(), "A citation, or `common practice, no source`.", required=True),
        ),
    ),
}
"""Every record, by its name in this table."""
