"""What kinds of thing do, and what a step of a procedure can say, as text: help for whoever writes a description."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping

from interlock.hold.kinds import BY_ITSELF, CONDITIONS, Change, Kind, changes_of
from interlock.hold.language.declarations import Record
from interlock.hold.language.field_types import records_within
from interlock.hold.language.fleets import Aircraft, Fleet
from interlock.hold.language.model import SECTIONS, Layout, Specification
from interlock.hold.language.records import first_lower
from interlock.hold.lives import Deed, Happening, Turn, Way, ways_of
from interlock.hold.overlay.changes import CHANGES, Modification
from interlock.hold.procedure.actions import FORMS
from interlock.hold.procedure.model import Procedure, Step
from interlock.hold.said_words import SaidWord, plain
from interlock.hold.trade_words import TRADE_WORDS, TradeWord
from interlock.report.text.lines import BLANK, Line, Tone, flow, labelled
from interlock.report.views.wording import ACTORS, listed, sentence

RECORDS: Mapping[str, tuple[type[Record], ...]] = {
    "layout": (Layout,),
    **{section: (record,) for section, record in SECTIONS.items()},
    "modification": (Modification, *CHANGES.values()),
    "specification": (Specification,),
    "procedure": (Procedure, Step),
    "fleet": (Fleet, Aircraft),
}
"""The sections of a description and the other sorts of file, with the records that stand in them."""


def kind_lines(name: str, kind: Kind) -> Iterator[Line]:
    """A kind in words: its states, which of them stand above the floor, what takes it from one to the next."""
    yield from flow(name, tone=Tone.HEAD)
    yield from flow(kind.about, 2)
    yield from labelled("states:", ", ".join(kind.states), 2)
    if kind.standing:
        yield from labelled("above the floor while:", listed(kind.standing, "or"), 2)
    for change in changes_of(kind):
        yield from flow(f"{change.source} to {change.dest}: {_how(kind, change)}", 4, 2)
    direct = {(change.source, change.dest) for change in changes_of(kind)}
    ways = [way for way in ways_of(kind) if (way.source, way.dest) not in direct]
    if ways:
        yield from flow("from state to state in more than one step:", 2)
        for way in ways:
            yield from flow(f"{way.source} to {way.dest}: {_way(kind, way)}", 4, 2)
    yield BLANK


def _way(kind: Kind, way: Way) -> str:
    if way.happenings is None:
        return "never"
    given = [CONDITIONS[name] for name in sorted(way.given)]
    told = [_happening(kind, one) for one in way.happenings]
    return (f"while {' and '.join(given)}: " if given else "") + "; then ".join(told)


def _happening(kind: Kind, one: Happening) -> str:
    match one:
        case Deed(trigger):
            done = kind.triggers[trigger]
            return f"{ACTORS[done.actor]}, {done.told('it')}"
        case Turn(condition, so):
            return f"as soon as {'' if so else 'it is not so that '}{CONDITIONS[condition]}"


def step_lines() -> Iterator[Line]:
    """Every form of a step, and what it asks for."""
    yield from flow("Steps of a procedure", tone=Tone.HEAD)
    yield from flow(
        "Words in capitals stand for names of the hold, or for a condition such as `D1 is closed`; what stands in "
        "brackets may be left out.",
        2,
    )
    for form in FORMS:
        yield Line(f"  {form.shape}")
        yield from flow(form.about, 6, tone=Tone.FAINT)
    yield BLANK


def word_lines(word: TradeWord) -> Iterator[Line]:
    """What a mechanic's word is in a description, with an example of it, and where more is said."""
    yield from flow(", ".join(word.words), tone=Tone.HEAD)
    yield from flow(word.about, 2)
    yield BLANK
    if word.example:
        yield from (Line(f"    {line}") for line in word.example.strip("\n").split("\n"))
        yield BLANK
    yield from labelled("see:", ", ".join(f"interlock explain {one}" for one in word.see), 2)
    yield BLANK


def index_lines(words: Iterable[str], commands: Iterable[str]) -> Iterator[Line]:
    """All the words of the trade, of the language and of the program that are explained."""
    yield from flow("Words of the trade", tone=Tone.HEAD)
    for word in TRADE_WORDS:
        yield from flow(", ".join(word.words), 2, 2)
    yield from (BLANK, *flow("Words of the language", tone=Tone.HEAD), *flow(", ".join(words), 2))
    yield from (BLANK, *flow("Commands", tone=Tone.HEAD), *flow(", ".join(commands), 2))
    yield BLANK


def said_lines(said: SaidWord, effects: Mapping[tuple[str, str], tuple[str, str]]) -> Iterator[Line]:
    """All that a word of the language is; `effects` has what a failure does and what shows it, by sort and mode."""
    yield from flow(said.word, tone=Tone.HEAD)
    for text in said.sentences:
        yield from flow(text, 2)
    for record, field in said.keys:
        yield from labelled(f"field of {record.declaration.noun}:", f"{field.about} ({field.type.wants()})", 2)
    for record, field in said.choices:
        yield from labelled(f"can stand under {field.key} of {record.declaration.noun}:", field.about, 2)
    for kind in said.states:
        ways = [one for one in changes_of(kind) if plain(one.dest) == plain(said.word)]
        reached = "; ".join(dict.fromkeys(_how(kind, one) for one in ways))
        yield from labelled(f"a state of {kind.id}:", reached or "it is never otherwise", 2)
    for item, failing in said.failures:
        does, noticed = effects.get((item, failing.mode), ("", ""))
        told = sentence(does or failing.text.format(name="it"))
        yield from labelled(f"a failure of {item}:", told + (f" Noticed: {noticed}." if noticed else ""), 2)
    for form in said.steps:
        yield from labelled(f"a step, {form.shape}:", form.about, 2)
    yield BLANK


def command_lines(name: str, about: str) -> Iterator[Line]:
    """A command of the program, in a sentence."""
    yield from flow(name, tone=Tone.HEAD)
    yield from labelled("a command:", about, 2)
    yield from labelled("see:", f"interlock {name} --help", 2)
    yield BLANK


def record_lines(name: str) -> Iterator[Line]:
    """What can be written under a name of `RECORDS`: each field of its records, what it can hold, what it is for."""
    yield from flow(name, tone=Tone.HEAD)
    for record in dict.fromkeys(within for one in RECORDS[name] for within in records_within(one)):
        declaration = record.declaration
        yield BLANK
        yield from labelled(f"{declaration.noun}:", first_lower(declaration.about), 2)
        for field in declaration.fields:
            wants = field.type.wants() + ("" if field.required else " (may be left out)")
            yield from labelled(f"{field.key}:", wants, 4)
            yield from flow(field.about, 8, tone=Tone.FAINT)
    yield BLANK


def _how(kind: Kind, change: Change) -> str:
    trigger = kind.triggers[change.trigger]
    actor = ACTORS[trigger.actor]
    text = actor if change.trigger == BY_ITSELF else f"{actor}, {trigger.told('it')}"
    if change.needs:
        text += ", if " + " and ".join(CONDITIONS[one] for one in change.needs)
    if change.unless:
        text += ", unless " + " or ".join(CONDITIONS[one] for one in change.unless)
    return text
