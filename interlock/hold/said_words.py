"""Every word of the language and where it can stand, by the declarations; and sentences for those that have none."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Mapping, Sequence
from functools import cache
from importlib.resources import files
from itertools import chain

from interlock.diagnostics.frozen import frozen
from interlock.hold.kinds import Kind
from interlock.hold.language.declarations import Field, Record
from interlock.hold.language.field_types import records_within, types_within
from interlock.hold.language.fleets import Fleet
from interlock.hold.language.model import Catalogue, Hold, Specification
from interlock.hold.language.rates import FailureRates
from interlock.hold.language.text_types import Choice
from interlock.hold.overlay.changes import CHANGES, Modification
from interlock.hold.procedure.actions import FORMS, Form
from interlock.hold.procedure.model import Procedure, Step
from interlock.hold.sorts import FAILURES, Failing, Item

_FILES = (Hold, Modification, Specification, Procedure, Catalogue, FailureRates, Fleet)
_TABLES = tomllib.loads(files("interlock.hold").joinpath("said_words.toml").read_text(encoding="utf-8"))
_SENTENCES: tuple[Mapping[str, str], ...] = tuple(
    _TABLES[name] for name in ("facts", "parts", "groups", "expressions", "deeds")
)
FACTS, PARTS, GROUPS, EXPRESSIONS, DEEDS = _SENTENCES
"""What can be said of things, what stands behind a dot, the groups of every description, words of expressions, what the
steps of a requirement name."""
MEMBERS: Mapping[str, Sequence[str]] = _TABLES["members"]
"""What one of a group is called: a noun, and perhaps what tells it from others that are called so."""


@frozen
class SaidWord:
    """All that one word is: a key of records, one of the words to choose from in fields of records, a state of kinds of
    thing, a way in which items fail, the first words of steps, and sentences about it."""

    word: str
    keys: tuple[tuple[type[Record], Field], ...] = ()
    choices: tuple[tuple[type[Record], Field], ...] = ()
    states: tuple[Kind, ...] = ()
    failures: tuple[tuple[Item, Failing], ...] = ()
    steps: tuple[Form, ...] = ()
    sentences: tuple[str, ...] = ()

    @property
    def is_known(self) -> bool:
        """The language has it."""
        return any((self.keys, self.choices, self.states, self.failures, self.steps, self.sentences))


@cache
def records() -> tuple[type[Record], ...]:
    """Every record of the language, each once."""
    within = chain.from_iterable(records_within(file) for file in _FILES)
    return tuple(dict.fromkeys((*within, *CHANGES.values(), Step)))


def said_word(word: str, kinds: Mapping[str, Kind]) -> SaidWord:
    """All that a word is; `kinds` are those whose states count.  Blanks and underscores make no difference."""
    text = plain(word)
    fields = [(record, field) for record in records() for field in record.declaration.fields]
    return SaidWord(
        word,
        tuple((record, field) for record, field in fields if plain(field.key) == text),
        tuple((record, field) for record, field in fields if text in map(plain, _choices(field))),
        tuple(kind for kind in kinds.values() if text in map(plain, kind.states)),
        tuple((item, one) for item, found in FAILURES.items() for one in found if plain(one.mode) == text),
        tuple(form for form in FORMS if text in (plain(form.verb), plain(form.shape.split()[0]))),
        tuple(about for table in _SENTENCES for one, about in table.items() if plain(one) == text),
    )


def all_words(kinds: Mapping[str, Kind]) -> tuple[str, ...]:
    """Every word of the language, in alphabetical order, each once."""
    fields = [field for record in records() for field in record.declaration.fields]
    found = {field.key for field in fields} | {word for field in fields for word in _choices(field)}
    found |= {state for kind in kinds.values() for state in kind.states}
    found |= {one.mode for failings in FAILURES.values() for one in failings}
    found |= {form.verb for form in FORMS} | {word for table in _SENTENCES for word in table}
    return tuple(sorted(found))


def _choices(field: Field) -> Iterator[str]:
    for kind in types_within(field.type):
        if isinstance(kind, Choice):
            yield from map(str, kind.options)


def plain(word: str) -> str:
    """A word as it is compared."""
    return " ".join(word.casefold().replace("_", " ").replace("-", " ").split())
