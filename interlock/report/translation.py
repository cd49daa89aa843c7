"""Sheets in other languages than English: what a catalogue of messages (gettext's PO format) says.

A catalogue is data and is not trusted: a message whose translation has other places than the English one is not used,
and what is not translated is said in English, so that nothing is ever left out; who reads the sheet is told.
"""

from __future__ import annotations

from collections.abc import Mapping
from gettext import c2py
from importlib.resources import files
from io import BytesIO
from typing import TYPE_CHECKING

from interlock.diagnostics.said import Said, in_language, places_of, say, say_many, written
from interlock.hold.language.nodes import LARGEST_FILE_BYTES

if TYPE_CHECKING:
    from babel.messages.catalog import Catalog as Read

SHIPPED = ("de",)
"""The languages that come with the program."""
MOST_BYTES = LARGEST_FILE_BYTES


class BadCatalogue(ValueError):
    """A file cannot be read as a catalogue; the message says why."""


class English:
    """The language in which everything is written."""

    code = "en"

    def message(self, one: str, many: str, number: int) -> str | None:
        """As it is."""
        return many if many and number != 1 else one

    def number(self, number: float) -> str:
        """With commas between thousands."""
        return written(number)

    def notes(self) -> tuple[str, ...]:
        """Nothing is to be said about it."""
        return ()


class Catalogue:
    """A language, as a catalogue has it.  `missing` are the messages that were asked for and are not in it.

    `unusable` are translations whose places are not those of the English message.
    """

    def __init__(self, content: bytes, name: str) -> None:
        """Raises BadCatalogue."""
        from babel.messages.pofile import PoFileError

        if len(content) > MOST_BYTES:
            raise BadCatalogue(f"{name}: a catalogue has at most {MOST_BYTES:,} bytes")
        try:
            read, headers = _read(content)
            self._plural = c2py(read.plural_expr)
        except (PoFileError, ValueError, UnicodeError, LookupError, TypeError) as fault:
            raise BadCatalogue(f"{name} is no catalogue of messages (PO): {fault}") from fault
        self.code = str(read.locale_identifier or "").replace("_", "-")
        self._thousands = headers.get("X-Thousands", " ")
        self._decimal = headers.get("X-Decimal", ".")
        self._checked_by = headers.get("X-Checked-By", "")
        if not self.code.replace("-", "").isalnum():
            raise BadCatalogue(f"{name} does not say its language (Language: in its header)")
        self._told: dict[str, tuple[str, ...]] = {}
        self.unusable: list[tuple[int, str]] = []
        self.missing: dict[str, None] = {}
        for one in read:
            if not one.id or one.fuzzy:
                continue
            english = one.id if isinstance(one.id, list | tuple) else (one.id,)
            forms = one.string if isinstance(one.string, list | tuple) else (one.string,)
            told = tuple(str(text or "") for text in forms)
            if any(not text for text in told):
                continue
            if all(_fits(text, english) for text in told):
                self._told[english[0]] = told
            else:
                self.unusable.append((one.lineno or 0, english[0]))

    def message(self, one: str, many: str, number: int) -> str | None:
        """The translation; None, and noted, where there is none."""
        told = self._told.get(one)
        if told is None:
            self.missing[one] = None
            return None
        return told[min(self._plural(number), len(told) - 1)] if many else told[0]

    def number(self, number: float) -> str:
        """With what stands between thousands there, and before what is less than one."""
        return written(number).translate({ord(","): self._thousands, ord("."): self._decimal})

    def notes(self) -> tuple[str, ...]:
        """What a reader has to know of the translation, asked for once everything else is said: in both languages."""
        told: list[Said] = []
        if not self._checked_by:
            told.append(
                say(
                    "This sheet was translated. No instructor who speaks this language has checked it yet; the English "
                    "sheet governs."
                )
            )
        if self.missing:
            told.append(
                say_many(
                    "{number} text is not translated and stands here in English.",
                    "{number} texts are not translated and stand here in English.",
                    len(self.missing),
                )
            )
        return tuple(text for one in told for text in dict.fromkeys((in_language(one, self), str(one))))


Translation = English | Catalogue
ENGLISH = English()


def shipped(code: str) -> Catalogue:
    """A language that comes with the program.  Raises KeyError."""
    if code not in SHIPPED:
        raise KeyError(code)
    return Catalogue(files("interlock.report").joinpath("translations", f"{code}.po").read_bytes(), code)


def _read(content: bytes) -> tuple[Read, Mapping[str, str]]:
    """The messages, and the lines of the header, of which the library keeps only those that it knows itself."""
    from email import message_from_string

    from babel.messages.catalog import Catalog, Message
    from babel.messages.pofile import PoFileParser

    header = ""

    class Messages(Catalog):
        def __setitem__(self, id: str | list[str] | tuple[str, ...], message: Message) -> None:
            nonlocal header
            if id == "":
                header = str(message.string)
            super().__setitem__(id, message)

    found = Messages()
    PoFileParser(found, abort_invalid=True).parse(BytesIO(content))
    return found, dict(message_from_string(header).items())


def _fits(text: str, english: tuple[str, ...] | list[str]) -> bool:
    """Whether a translation has the places of the message: all of them, and no others."""
    try:
        return places_of(text) == places_of(english[-1]) and all(places_of(one) <= places_of(text) for one in english)
    except ValueError:
        return False


def translations(catalogue: Catalogue) -> Mapping[str, tuple[str, ...]]:
    """Every message with its translation, one text for each plural form."""
    return dict(catalogue._told)
