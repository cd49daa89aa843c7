"""What may be written at the top of each sort of file, and in one change of a modification."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from interlock.hold.language.field_types import (
    Anything,
    Expression,
    Field,
    Listed,
    NewFields,
    NewItems,
    Record,
    RecordOf,
    Text,
    Version,
    Word,
)

VERSION = "1"
"""The version of the language that this program reads."""

_VERSION = Field("interlock", Version(), "The version of the language.", required=True)
_TITLE = Field("title", Text(), "What the hold is called.", required=True)


@dataclass(frozen=True, slots=True)
class Section:
    """A key at the top of a description: the list of its records."""

    record: str
    about: str
    named: bool = True
    """Whether its items are objects, whose ids no two things share."""


SECTIONS: Mapping[str, Section] = {
    "units": Section("unit", "Kinds of unit load."),
    "doorways": Section("doorway", "Doors and what permits their motion."),
    "devices": Section("device", "Latches, locks, guides and stops."),
    "controls": Section("control", "Switches, selectors, levers, handles and panels."),
    "stations": Section("station", "Places of control."),
    "supplies": Section("supply", "Sources of power."),
    "circuits": Section("circuit", "Named conditions without memory."),
    "relays": Section("relay", "Named conditions with memory."),
    "sensors": Section("sensor", "What circuits can read."),
    "zones": Section("zone", "Drive zones."),
    "places": Section("place", "Where people can be."),
    "people": Section("person", "Who is there."),
    "groups": Section("group", "Named lists for quantifiers."),
    "situations": Section("situation", "Named ways to start."),
    "failures": Section("failure", "Failures that may strike.", named=False),
    "requirements": Section("requirement", "What to prove.", named=False),
}
"""The lists of a description, in the order in which they are usually written."""

FILES: Mapping[str, Record] = {
    "description": Record(
        "a description",
        "A hold, described in full.",
        (
            _VERSION,
            _TITLE,
            Field("about", Text(), "What the hold is, for people.", default=""),
            Field("layout", RecordOf("layout"), "The floor.", required=True),
            *(
                Field(key, Listed(RecordOf(section.record)), section.about, required=key == "units", default=())
                for key, section in SECTIONS.items()
            ),
        ),
    ),
    "modification": Record(
        "a modification",
        "What was changed in a hold that another file describes.",
        (
            _VERSION,
            _TITLE,
            Field("about", Text(), "What was changed and why, for people."),
            Field(
                "modifies",
                Text(),
                "The file of the hold, or of another modification of it; or `demo:NAME`.",
                required=True,
            ),
            Field("changes", Listed(RecordOf("change")), "The changes, in order.", required=True),
        ),
    ),
    "specification": Record(
        "a specification",
        "Requirements for any hold.",
        (
            _VERSION,
            Field("specification", Text(), "Its title.", required=True),
            Field("about", Text(), "What it is for, for people."),
            Field("requirements", Listed(RecordOf("requirement")), "What to prove.", required=True),
        ),
    ),
}
"""The three sorts of file, by what stands at their top."""

CHANGES: Mapping[str, Record] = {
    "remove": Record(
        "a removal",
        "Takes something away.",
        (Field("remove", Anything(), "What is taken away.", required=True),),
    ),
    "fix": Record(
        "a fixing",
        "Keeps something in one state for good.",
        (
            Field("fix", Anything(), "The device or control.", required=True),
            Field("in", Word("state"), "The state in which it stays.", required=True),
        ),
    ),
    "defer": Record(
        "a deferral",
        "Leaves a device inoperative in one state, under a limit.",
        (
            Field("defer", Anything(), "The device.", required=True),
            Field("in", Word("state"), "The state in which it stays.", required=True),
            Field("because", Text(), "Why.", required=True),
            Field("limit", Expression(), "What must hold before the doors are shut for departure.", required=True),
        ),
    ),
    "change": Record(
        "a change",
        "Puts other values in the place of some fields.",
        (
            Field("change", Anything(), "What is changed: an id, or `layout`.", required=True),
            Field(
                "to", NewFields(), "The fields with their new values; `none` takes an optional one away.", required=True
            ),
        ),
    ),
    "add": Record(
        "an addition",
        "Adds things to the lists of the description.",
        (Field("add", NewItems(), "Lists as in a description.", required=True),),
    ),
}
"""What one item of `changes` can do, by the key that says so."""
