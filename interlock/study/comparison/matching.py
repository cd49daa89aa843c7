"""Which things of two holds are the same: by id, by what the reader says, or by likeness where only one fits."""

from __future__ import annotations

from collections.abc import Hashable, Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any

from interlock.hold.alike import shape_of
from interlock.hold.language.declarations import Record
from interlock.hold.language.model import SECTIONS, Hold, Thing
from interlock.hold.language.syntax import Chain, Fact, Negation, Path, Quantified, Syntax, Truth

_SYNTAX = (Truth, Fact, Negation, Chain, Quantified)
_FOR_PEOPLE = ("id", "name")


class Unmatchable(ValueError):
    """What the reader says to be the same cannot be; the message says why, `word` is the id that does not fit."""

    def __init__(self, message: str, word: str) -> None:
        super().__init__(message)
        self.word = word


@dataclass(frozen=True, slots=True)
class Matching:
    """`names` has for the id of each thing of the first hold that of the second; `guessed` are those by likeness."""

    names: Mapping[str, str]
    guessed: tuple[tuple[str, str], ...]


def match_things(old: Hold, new: Hold, said: Mapping[str, str]) -> Matching:
    """Which things are the same, `said` first; bays and kinds of unit go by their ids alone.

    Likes are things of one sort that differ in nothing but what they are called, of which each hold has one.
    Raises Unmatchable.
    """
    ours, theirs = dict(_things(old)), dict(_things(new))
    names: dict[str, str] = {}
    for one, other in said.items():
        if one not in ours or other not in theirs:
            word = other if one in ours else one
            raise Unmatchable(f"there is no {word!r} in the {'second' if one in ours else 'first'} hold", word)
        if ours[one][0] != theirs[other][0]:
            raise Unmatchable(f"{one!r} is in `{ours[one][0]}` and {other!r} in `{theirs[other][0]}`", other)
        if other in names.values():
            raise Unmatchable(f"two things are said to be {other!r}", other)
        names[one] = other
    taken = set(names.values())
    for id, (section, _) in ours.items():
        if id not in names and id not in taken and id in theirs and theirs[id][0] == section:
            names[id] = id
    guessed: list[tuple[str, str]] = []
    while more := list(_likes(ours, theirs, names)):
        names.update(more)
        guessed += more
    return Matching(names, tuple(guessed))


def _things(hold: Hold) -> Iterator[tuple[str, tuple[str, Record]]]:
    for section in SECTIONS:
        for one in getattr(hold, section):
            if isinstance(one, Thing) and section not in ("units", "requirements"):
                yield one.id, (section, one)


def _likes(
    ours: Mapping[str, tuple[str, Record]], theirs: Mapping[str, tuple[str, Record]], names: Mapping[str, str]
) -> list[tuple[str, str]]:
    """Those that are not matched yet and fit one another alone."""
    taken = set(names.values())
    here: dict[Hashable, list[str]] = {}
    there: dict[Hashable, list[str]] = {}
    for id, (section, one) in ours.items():
        if id not in names:
            here.setdefault((section, _likeness(one, names)), []).append(id)
    for id, (section, one) in theirs.items():
        if id not in taken:
            there.setdefault((section, _likeness(one, {})), []).append(id)
    return [
        (ids[0], there[shape][0]) for shape, ids in here.items() if len(ids) == 1 and len(there.get(shape, ())) == 1
    ]


def _likeness(one: Record, names: Mapping[str, str]) -> Hashable:
    """What a record says, but for what it is called, where things of the first hold have their names in the second."""
    fields = [field.attribute for field in one.declaration.fields if field.attribute not in _FOR_PEOPLE]
    return tuple((attribute, _shape(getattr(one, attribute), names)) for attribute in fields)


def _shape(value: Any, names: Mapping[str, str]) -> Hashable:
    if isinstance(value, _SYNTAX):
        return shape_of(renamed(value, names))
    if isinstance(value, Record):
        return _likeness(value, names)
    if isinstance(value, tuple):
        return tuple(_shape(part, names) for part in value)
    return names.get(value, value) if isinstance(value, str) else value


def renamed(syntax: Syntax, names: Mapping[str, str]) -> Syntax:
    """The expression with things called by other names."""
    match syntax:
        case Fact(Path((first, *rest), spans)):
            return replace(syntax, subject=Path((names.get(first, first), *rest), spans))
        case Negation(arg):
            return replace(syntax, arg=renamed(arg, names))
        case Chain(_, args):
            return replace(syntax, args=tuple(renamed(arg, names) for arg in args))
        case Quantified(_, _, Path((first, *rest), spans), body):
            group = Path((names.get(first, first), *rest), spans)
            return replace(syntax, group=group, body=renamed(body, names))
    return syntax
