"""Texts for people that know how they are made, so that they can be said in another language.

A `Said` is its English text and nothing else wherever a text is wanted.  Beside it stand the message that it was made
from, a whole sentence or phrase with named places, and what was put there, which may be `Said` too.  Words of our own
enumerations are messages as well.  What somebody wrote in a file (names, ids, titles) is a plain text and stays as it
is in every language.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from enum import StrEnum
from functools import reduce
from string import Formatter
from types import MappingProxyType
from typing import Protocol, Self

Part = str | int | float
"""What stands in a place of a message: a text, or a number, which each language writes its own way."""


class Language(Protocol):
    """What a message is in a language."""

    def message(self, one: str, many: str, number: int) -> str | None:
        """The message in that language, for so many where there are two English ones; None where it is not known."""

    def number(self, number: float) -> str:
        """A number as it is written."""


class Said(str):
    """An English text of ours, made from a message.

    `many` is the message for other numbers than one, empty where the number does not matter; `theirs` says that
    somebody else wrote the message, so that nobody can be expected to have translated it.
    """

    message: str
    many: str
    parts: tuple[tuple[str, Part], ...]
    capital: bool
    theirs: bool

    def __new__(
        cls,
        message: str,
        parts: tuple[tuple[str, Part], ...] = (),
        many: str = "",
        capital: bool = False,
        theirs: bool = False,
    ) -> Self:
        """The English text is worked out at once.  Raises KeyError where a place of the message has no part."""
        chosen = many if many and dict(parts)["number"] != 1 else message
        made = super().__new__(cls, _filled(chosen, {name: _english(part) for name, part in parts}, capital))
        made.message, made.many, made.parts, made.capital, made.theirs = message, many, parts, capital, theirs
        return made

    def __getnewargs__(self) -> tuple[str, tuple[tuple[str, Part], ...], str, bool, bool]:  # type: ignore[override]
        return self.message, self.parts, self.many, self.capital, self.theirs

    def with_part(self, old: str, new: str) -> Said:
        """The same with another text in the place of one, wherever that stands in it."""
        parts = tuple(
            (name, new if part == old else part.with_part(old, new) if isinstance(part, Said) else part)
            for name, part in self.parts
        )
        return Said(self.message, parts, self.many, self.capital, self.theirs)


def say(message: str, /, **parts: Part) -> Said:
    """The message with its places filled in: `say("raise {name}", name=...)`."""
    return Said(message, tuple(parts.items()))


def say_both(yes: str, no: str, /, **parts: Part) -> tuple[Said, Said]:
    """What is said of the same things where something is so, and where it is not."""
    return say(yes, **parts), say(no, **parts)


def say_many(one: str, many: str, number: int, /, **parts: Part) -> Said:
    """The message for one or for many of something, whose number is `{number}`."""
    return Said(one, (("number", number), *parts.items()), many)


def perhaps_ours(message: str, parts: Mapping[str, Part] = MappingProxyType({})) -> Said | None:
    """A message from a file, which may be one that came with the program; None where it is none with such places."""
    try:
        fits = places_of(message) <= set(parts)
    except ValueError:  # a brace that is only a brace
        fits = False
    return Said(message, tuple(parts.items()), theirs=True) if fits else None


def in_place(text: str, old: str, new: str) -> str:
    """The text with another name in the place of one."""
    return text.with_part(old, new) if isinstance(text, Said) else text.replace(old, new, 1)


def joined(texts: Sequence[str], joint: str = " ") -> str:
    """The texts one after another; what joins them is no word of any language."""
    found = texts[0] if texts else ""
    for text in texts[1:]:
        found = Said("{first}" + joint + "{second}", (("first", found), ("second", text)))
    return found


def linked(words: Sequence[str], message: str = "{first} and {last}") -> str:
    """The words in one text, each put behind those before it by a message with the places `{first}` and `{last}`."""
    return reduce(lambda first, last: say(message, first=first, last=last), words) if words else ""


def in_language(text: str, language: Language) -> str:
    """The text in that language: its message, and all that stands in it; in English where the message is not known."""
    if isinstance(text, StrEnum):
        text = Said(text.value)
    # why there is no answer is told by parts of the program that know of no languages; they keep the words as given
    text = getattr(text, "words", text)
    if not isinstance(text, Said):
        return text
    number = next((part for name, part in text.parts if name == "number" and isinstance(part, int)), 1)
    message: str | None = text.message
    if is_translatable(text.message):
        message = language.message(text.message, text.many, number)
        if message is None and not text.theirs:
            return str(text)
        if message is None:
            message = text.message
    parts = {
        name: language.number(part) if isinstance(part, int | float) else in_language(part, language)
        for name, part in text.parts
    }
    return _filled(message or "", parts, text.capital)


def is_translatable(message: str) -> bool:
    """Whether there is a word in the message, beside its places."""
    return any(letter.isalpha() for literal, *_ in Formatter().parse(message) for letter in literal)


def places_of(message: str) -> frozenset[str]:
    """The names of its places.  Raises ValueError where it is no message: a single brace, a place without a name."""
    found = set()
    for _, name, form, conversion in Formatter().parse(message):
        if name is not None:
            if not name.isidentifier() or form or conversion:
                raise ValueError(f"'{{{name}}}' is no place of a message")
            found.add(name)
    return frozenset(found)


def _english(part: Part) -> str:
    return part if isinstance(part, str) else written(part)


def written(number: float) -> str:
    """A number in English: commas between thousands, up to six digits of what is no whole number."""
    return f"{number:,}" if isinstance(number, int) else f"{number:g}"


def _filled(message: str, parts: Mapping[str, str], capital: bool) -> str:
    text = message.format_map(parts)
    return text[:1].upper() + text[1:] if capital else text
