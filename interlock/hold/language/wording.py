"""How messages say what a field or record wants."""

from __future__ import annotations

from interlock.hold.language.field_types import (
    Amount,
    Bay,
    Choice,
    Expression,
    FieldType,
    Id,
    Record,
    Reference,
    SideText,
    StepText,
    Whole,
    Word,
    YesNo,
)


def first_lower(text: str) -> str:
    """A sentence as the part of another one."""
    return text[:1].lower() + text[1:].rstrip(".")


def shape_of(record: Record) -> str:
    """The fields that a record needs."""
    return "the fields " + ", ".join(field.key for field in record.fields if field.required)


def what_of(kind: FieldType) -> str:
    """What a type expects, in a few words."""
    match kind:
        case Whole() | Amount():
            return "a number"
        case YesNo():
            return "true or false"
        case Choice(options):
            return "one of " + ", ".join(options)
        case Expression():
            return "an expression such as `D1 is closed`"
        case StepText():
            return "a step such as `lower M3L`"
        case Bay():
            return "the name of a bay"
        case SideText():
            return "a side such as `3L.aft`"
        case Id() | Reference():
            return "a name"
        case Word(what):
            return f"a {what}"
        case _:
            return "a text"
