"""The fields of a procedure file, as `interlock.hold.language.schema_fields` has them for descriptions."""

from __future__ import annotations

from collections.abc import Mapping

from interlock.hold.language.field_types import Expression, Field, Record, Text, Version

PROCEDURE = Record(
    "a procedure",
    "What people are to do to a hold, in order.",
    (
        Field("interlock", Version(), "The version of the language.", required=True),
        Field("procedure", Text(), "What the procedure is called.", required=True),
        Field("about", Text(), "What it is for, for people.", default=""),
        Field("hold", Text(), "The file of the hold, seen from the folder of this file.", required=True),
        Field("goal", Expression(), "What must be so at the end.", required=True),
    ),
)
"""Fields with one text each; `start` and `steps` are read by `interlock.hold.procedure.reader`."""

OTHER_KEYS: Mapping[str, str] = {
    "start": "A situation of the description, or states by the things that are in them.",
    "steps": "The actions, in order.",
}

STEP = Record(
    "a step",
    "An action with a note, or actions that belong together.",
    (
        Field("do", Text(), "The action, such as `lower M3L`."),
        Field("group", Text(), "What the steps together are called."),
        Field("note", Text(), "What people should know.", default=""),
    ),
)
"""A step that is not a text by itself; beside these fields it may have `steps`."""
