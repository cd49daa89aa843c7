"""What a field can hold, and how fields make a record."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeAlias


@dataclass(frozen=True, slots=True)
class Text:
    """Any text, read without the blanks around it."""


@dataclass(frozen=True, slots=True)
class Id:
    """A new name."""


@dataclass(frozen=True, slots=True)
class Word:
    """One word that names a state or position of something, such as `raised`.

    `known` are the words from which editors let people choose; whether the word fits the thing is checked later.
    """

    what: str
    known: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Whole:
    """A whole number from `low` to `high`."""

    low: int
    high: int


@dataclass(frozen=True, slots=True)
class Amount:
    """A positive number in `unit`, with a decimal point if need be."""

    unit: str


@dataclass(frozen=True, slots=True)
class YesNo:
    """`true` or `false`."""


@dataclass(frozen=True, slots=True)
class Choice:
    """One of some words or phrases."""

    options: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Expression:
    """A text in the language of `hold.language.parser`.  Where `never_is_none`, plain `never` reads as None."""

    never_is_none: bool = False


@dataclass(frozen=True, slots=True)
class StepText:
    """A verb and an object, such as `lower M3L`."""


@dataclass(frozen=True, slots=True)
class Reference:
    """The id of something listed in one of these sections; `kind` narrows it further."""

    sections: tuple[str, ...]
    kind: str | None = None


@dataclass(frozen=True, slots=True)
class Bay:
    """The name of a bay; with `outside`, that word too, which reads as None."""

    outside: bool = False


@dataclass(frozen=True, slots=True)
class SideText:
    """A side of a bay, such as `3L.aft`."""


@dataclass(frozen=True, slots=True)
class OrNone:
    """The type within, or the word `none`, which reads as None."""

    inner: FieldType


@dataclass(frozen=True, slots=True)
class Listed:
    """A list; where `one` is allowed, a single item may stand without brackets."""

    item: FieldType
    one: bool = False
    least: int = 0


@dataclass(frozen=True, slots=True)
class Bays:
    """Bays, one or a list; a range such as `1L..6L` stands for those between along the lane or the row.

    Where `members` is set, names of other things may stand among them; where `missing` is, bays that a rule takes out.
    """

    members: bool = False
    least: int = 1
    missing: bool = False


@dataclass(frozen=True, slots=True)
class Directions:
    """An expression for some of the directions."""


@dataclass(frozen=True, slots=True)
class States:
    """States by the id of the thing that is in them."""


@dataclass(frozen=True, slots=True)
class Quantifiers:
    """Groups by the variable that runs through them."""


@dataclass(frozen=True, slots=True)
class Version:
    """The version of the language."""


@dataclass(frozen=True, slots=True)
class Anything:
    """The id of anything that a description lists."""


@dataclass(frozen=True, slots=True)
class NewFields:
    """Fields of the thing that is changed."""


@dataclass(frozen=True, slots=True)
class NewItems:
    """Sections of a description, with the items to be added."""


@dataclass(frozen=True, slots=True)
class RecordOf:
    """A mapping with the fields of the record of that name."""

    record: str


FieldType: TypeAlias = (
    Text
    | Id
    | Word
    | Whole
    | Amount
    | YesNo
    | Choice
    | Expression
    | StepText
    | Reference
    | Bay
    | SideText
    | OrNone
    | Listed
    | Bays
    | Directions
    | States
    | Quantifiers
    | Version
    | Anything
    | NewFields
    | NewItems
    | RecordOf
)


@dataclass(frozen=True, slots=True)
class Field:
    """One key of a record.

    `default` is what the reader gives where an optional key is absent.  `attribute` names the field of the model where
    that is another word than the key.
    """

    key: str
    type: FieldType
    about: str
    required: bool = False
    default: object = None
    attribute: str = ""

    @property
    def target(self) -> str:
        """The name of the model's field."""
        return self.attribute or self.key


@dataclass(frozen=True, slots=True)
class Record:
    """A kind of mapping.  `noun` is how messages speak of one."""

    noun: str
    about: str
    fields: tuple[Field, ...]

    def field(self, key: str) -> Field | None:
        """The field of that key, or None."""
        return next((field for field in self.fields if field.key == key), None)
