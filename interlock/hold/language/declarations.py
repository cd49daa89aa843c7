"""How the language is declared: a record is a frozen dataclass whose fields say what may be written in them.

From that one declaration come the reader, the names to be looked up, the JSON Schema for editors, and what messages
say of a field that is missing or misspelt.
"""

from __future__ import annotations

import dataclasses
from abc import ABC, abstractmethod
from collections.abc import Callable, Iterator
from typing import Any, ClassVar, Final, Generic, TypeAlias, TypeVar, dataclass_transform, overload
from urllib.parse import quote

from interlock.diagnostics.frozen import frozen, sealed
from interlock.diagnostics.spans import Diagnostic, Span
from interlock.hold.language.nodes import MappingNode, Node
from interlock.hold.language.reader import Failed, Reader

T = TypeVar("T")
D = TypeVar("D")
T_co = TypeVar("T_co", covariant=True)
R = TypeVar("R", bound="Record")

Schema: TypeAlias = dict[str, Any]
"""A JSON Schema, or a part of one: JSON values."""

Values: TypeAlias = dict[str, Any]
"""What was read of a record so far, by the names of its attributes; FAILED where the text was wrong."""


def defined(name: str) -> Schema:
    """What refers to a definition of the schema; a name with a blank is no URI reference as it stands (RFC 3986)."""
    return {"$ref": f"#/definitions/{quote(name)}"}


class FieldType(ABC, Generic[T_co]):
    """What a field can hold: how it is read, and how editors are told of it."""

    @abstractmethod
    def read(self, node: Node, key: str, reader: Reader) -> T_co | Failed:
        """The value that a node holds, or FAILED with the fault noted.  `key` is what messages call it."""

    @abstractmethod
    def schema(self) -> Schema:
        """The same for editors, which look nothing up and parse no expressions."""

    @abstractmethod
    def wants(self) -> str:
        """The same for people, in a few words."""

    def offers(self, word: str) -> bool:
        """Whether the word is one of a few to choose from."""
        return False


@frozen
class Field:
    """One key of a record, and the attribute that its value becomes.

    Where an optional key is absent the value is `default`, or what `derived` makes of the fields before it.
    """

    key: str
    attribute: str
    type: FieldType[Any]
    about: str
    required: bool
    default: object
    derived: Callable[[Values], object] | None


@frozen
class Written:
    """A record as written, with the values read so far, for the rules of the record.

    `values` has FAILED where a value could not be read; rules ask for the type that they need.
    """

    node: MappingNode
    span: Span
    noun: str
    values: Values

    def key_span(self, key: str) -> Span:
        """Where a key stands; the record where it does not."""
        entry = self.node.entry(key)
        return self.span if entry is None else entry.key.span

    def has(self, key: str) -> bool:
        """Whether a key is written."""
        return self.node.entry(key) is not None

    def fault(self, code: str, key: str | None, said: str, expected: str) -> Diagnostic:
        """What does not fit at a key, or (None) in the whole record, of which `said` says the rest of a sentence."""
        return Diagnostic(code, self.span if key is None else self.key_span(key), f"{self.noun} {said}", expected)


Rule: TypeAlias = Callable[[Written], Iterator[Diagnostic]]
"""What must fit together within one record, beyond the type of each field."""


@frozen
class Declaration:
    """A record: its name in the schema, how messages speak of one, a sentence for editors, and its fields in order."""

    name: str
    noun: str
    about: str
    fields: tuple[Field, ...]
    rule: Rule | None

    @property
    def keys(self) -> list[str]:
        """Everything that may be written in it."""
        return [field.key for field in self.fields]


# what all records have alike would take the most time, if it were compiled for each
@sealed
class Record:
    """What every record has: where it was written; what it is to make, compare and show one."""

    declaration: ClassVar[Declaration]

    span: Span

    def __init__(self, **values: object) -> None:
        for one in dataclasses.fields(self):
            object.__setattr__(self, one.name, values.pop(one.name, one.default))
            if getattr(self, one.name) is dataclasses.MISSING:
                raise TypeError(f"{type(self).__name__} has no {one.name}")
        if values:
            raise TypeError(f"{type(self).__name__} has nothing that is called {', '.join(values)}")

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Record) and type(self) is type(other) and self._all() == other._all()

    def __hash__(self) -> int:
        return hash(self._all())

    def __repr__(self) -> str:
        told = (f"{one.name}={getattr(self, one.name)!r}" for one in dataclasses.fields(self))
        return f"{type(self).__name__}({', '.join(told)})"

    def _all(self) -> tuple[object, ...]:
        return tuple([getattr(self, one.name) for one in dataclasses.fields(self)])


_GIVEN = "given"
_NONE_GIVEN: Final = object()


@overload
def field(type: FieldType[T], about: str, *, key: str = ...) -> T: ...
@overload
def field(type: FieldType[T], about: str, *, default: D, key: str = ...) -> T | D: ...
@overload
def field(type: FieldType[T], about: str, *, derived: Callable[[Values], T | None], key: str = ...) -> T: ...
def field(
    type: FieldType[Any],
    about: str,
    *,
    default: object = _NONE_GIVEN,
    derived: Callable[[Values], object] | None = None,
    key: str = "",
) -> Any:
    """Declare a field of a record: what it can hold, and a sentence for editors and messages.

    It is required unless it has a default, or derives one from the fields before it.  `key` is the word that people
    write where that cannot be the name of the attribute.  A rule of the record tells where None was derived.
    """
    has_default = default is not _NONE_GIVEN
    required = not has_default and derived is None
    given = Field(key, "", type, about, required, default if has_default else None, derived)
    if has_default:
        return dataclasses.field(metadata={_GIVEN: given}, default=default)
    return dataclasses.field(metadata={_GIVEN: given})


@dataclass_transform(kw_only_default=True, frozen_default=True, field_specifiers=(field,))
def record(name: str, noun: str, rule: Rule | None = None) -> Callable[[type[R]], type[R]]:
    """Make a class a record.  The first line of its docstring is what editors show."""

    def declare(declared: type[R]) -> type[R]:
        about = (declared.__doc__ or "").partition("\n")[0]
        made = sealed(declared)
        made.declaration = Declaration(name, noun, about, tuple(_fields(made)), rule)
        return made

    return declare


def _fields(made: type[Record]) -> Iterator[Field]:
    for one in dataclasses.fields(made):
        given: Field | None = one.metadata.get(_GIVEN)
        if given is not None:
            yield dataclasses.replace(given, key=given.key or one.name, attribute=one.name)
