"""The contacts of a description: what every wired expression asks of other things, each of which can fail by itself.

A contact conducts while what it asks is so: `not SW is on` names one that is made while the switch is not on.  A state
that an expression asks for both ways has two contacts there.
"""

from __future__ import annotations

from collections.abc import Generator, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import TypeAlias

from interlock.diagnostics.frozen import frozen
from interlock.diagnostics.nearest import nearest_name
from interlock.diagnostics.spans import Diagnostic
from interlock.hold.compile.lowering import Lowering
from interlock.hold.compile.symbols import Additions, Promised, Symbols
from interlock.hold.compile.world import Thing, World
from interlock.hold.failing import ContactWords, FailingItem, cause_of
from interlock.hold.language.model import CommonCause, ExcludedFailure, FailureMode, Hold, SomeFailure
from interlock.hold.origin import Contact, ContactRead
from interlock.hold.sorts import Item
from interlock.hold.wiring import Wire, wires_of
from interlock.kernel.expressions import (
    FALSE,
    And,
    Const,
    Expr,
    Is,
    Not,
    Or,
    Ref,
    conj,
    disj,
    each,
    fold,
    neg,
    parts_of,
)

_Way: TypeAlias = tuple[str, bool, str]
"""A way in which a contact of an expression fails: what it reads, whether that is wanted, and the mode."""
MOST_NAMED = 12
"""Contacts that one message lists."""


@dataclass(slots=True)
class _Leaves(Lowering):
    """Lowers an expression so that what it asks of things stays to be seen."""

    asked: dict[str, tuple[Thing, ContactRead, Expr]] = field(default_factory=dict)

    def reading(self, found: Thing, state: str | None, expr: Expr) -> Expr:
        """What stands for the state; what is always so, or never, is no contact."""
        if self.owner is None or isinstance(expr, Const):
            return expr
        read = ContactRead(self.owner, found.id, state)
        self.asked[read.name] = found, read, expr
        return Ref(read.name)


def contact_items(hold: Hold, world: World, owners: Iterable[str] | None = None) -> tuple[FailingItem, ...]:
    """Every contact of the hold, in the order of its expressions; of the things with these ids only, where given."""
    wanted = None if owners is None else frozenset(owners)
    wires = [wire for wire in wires_of(hold) if wire.is_electrical]
    return tuple(
        item for wire in wires if wanted is None or wire.meaning.subject.id in wanted for item in _of_wire(world, wire)
    )


def _of_wire(world: World, wire: Wire) -> Iterator[FailingItem]:
    leaves = _Leaves(world, owner=wire.meaning)
    expr = leaves.expression(wire.syntax)
    subject = wire.meaning.subject
    owner = world.things[subject.id].phrase
    for name, sign in _signs(expr):
        if name in leaves.asked:
            thing, read, _ = leaves.asked[name]
            contact = Contact(read.owner, read.thing, read.state, sign)
            asks = "" if read.state is None else f" is {read.state}"
            negation = "" if sign else "not "
            way = f"{negation}{{}}{asks.replace('_', ' ')}"
            words = ContactWords(way.format(thing.phrase), owner, wire.place, way.format(thing.sort))
            told = f'the contact "{words.asks}" in {owner} ({wire.place})'
            written = f"{negation}{read.thing}{asks}"
            yield FailingItem(
                Item.CONTACT,
                subject,
                told,
                wire.span,
                contact=contact,
                written=written,
                place=wire.place,
                words=words,
            )


def ways_out(hold: Hold, world: World) -> Mapping[str, frozenset[str]]:
    """Per contact, by its name, the modes of failing in which its line is as if the contact were not there.

    In series with others it is `welded` then, beside others `open`.  One that is all of its line, or stands in it more
    than once, may be either.
    """
    found: dict[str, set[str]] = {}
    for wire in wires_of(hold):
        if wire.is_electrical:
            leaves = _Leaves(world, owner=wire.meaning)
            stack: list[tuple[Expr, bool, bool | None]] = [(leaves.expression(wire.syntax), True, None)]
            while stack:
                part, sign, in_series = stack.pop()
                if isinstance(part, Ref) and part.signal in leaves.asked:
                    _, read, _ = leaves.asked[part.signal]
                    modes = {True: {"welded"}, False: {"open"}, None: {"welded", "open"}}[in_series]
                    found.setdefault(Contact(read.owner, read.thing, read.state, sign).name, set()).update(modes)
                if isinstance(part, And | Or):
                    in_series = isinstance(part, And) is sign
                stack += [(inner, sign != isinstance(part, Not), in_series) for inner in parts_of(part)]
    return {name: frozenset(modes) for name, modes in found.items()}


def _signs(expr: Expr) -> Mapping[tuple[str, bool], None]:
    """The signals that an expression names with or without a negation, in order."""
    found: dict[tuple[str, bool], None] = {}
    stack = [(expr, True)]
    while stack:
        part, sign = stack.pop()
        if isinstance(part, Ref):
            found[part.signal, sign] = None
        stack += [(inner, sign != isinstance(part, Not)) for inner in reversed(parts_of(part))]
    return found


@frozen
class FailingContacts:
    """The contacts that may fail, what that makes of the signals that have them, and what is wrong with the rest."""

    symbols: Symbols
    definitions: Mapping[str, Expr]
    faults: tuple[Diagnostic, ...]


def failing_contacts(hold: Hold, world: World, symbols: Symbols) -> FailingContacts:
    """What the hold declares of single contacts."""
    asked: list[tuple[SomeFailure, CommonCause | None]] = [(one, None) for one in hold.failures]
    asked += [(one, cause) for cause in hold.common_causes for one in cause.failures]
    asked += [(one, None) for one in hold.excluded_failures]
    asked = [(one, cause) for one, cause in asked if one.contact is not None]
    items = contact_items(hold, world, {one.of for one, _ in asked}) if asked else ()
    faults: list[Diagnostic] = []
    struck: dict[str, dict[_Way, Expr]] = {}
    made = Additions()
    for one, cause in asked:
        item = _meant(items, one, faults)
        if item is None or item.contact is None:
            continue
        failing = next((known for known in item.failings if known.mode == one.mode), None)
        if failing is None:
            modes = [known.mode for known in item.failings]
            said = f"a contact has no failure mode '{one.mode}'"
            expected = "one of " + ", ".join(modes)
            faults.append(Diagnostic("unknown-failure", one.span, said, expected, nearest_name(one.mode, modes)))
            continue
        if isinstance(one, ExcludedFailure):
            continue
        if isinstance(one, FailureMode):
            made.fails((item.strikes(failing, one.heals),))
        failure = item.failure(failing) if cause is None else cause_of(cause)
        ways = struck.setdefault(item.contact.owner.name, {})
        way = item.contact.read.name, item.contact.wanted, failing.mode
        ways[way] = disj(ways.get(way, FALSE), Is(failure.name, True))
    wires = {wire.meaning.name: wire for wire in wires_of(hold)}
    definitions = {}
    for owner, ways in struck.items():
        promised = symbols.signals.get(owner)
        if isinstance(promised, Promised):
            definitions[owner] = promised.definition(_failing(world, wires[owner], ways))
    return FailingContacts(made.symbols(), definitions, tuple(faults))


def _meant(items: Iterable[FailingItem], one: SomeFailure, faults: list[Diagnostic]) -> FailingItem | None:
    """The contact that is written there, or None with a diagnostic kept."""
    there = [item for item in items if item.subject.id == one.of]
    places = list(dict.fromkeys(str(item.place) for item in there))
    if one.at is not None and one.at not in places:
        said = f"{one.of} has no contact at '{one.at}'"
        expected = "one of " + ", ".join(places[:MOST_NAMED]) if places else "something that is wired"
        faults.append(Diagnostic("unknown-contact", one.span, said, expected, nearest_name(one.at, places)))
        return None
    there = [item for item in there if one.at in (None, item.place)]
    found = [item for item in there if item.written == one.contact]
    if len(found) == 1:
        return found[0]
    if found:
        said = f"'{one.contact}' is a contact of {one.of} in several places"
        expected = "`at:` and one of " + ", ".join(str(item.place) for item in found)
        faults.append(Diagnostic("unknown-contact", one.span, said, expected))
        return None
    known = list(dict.fromkeys(str(item.written) for item in there))
    said = f"{one.of} has no contact '{one.contact}'" + (f" at '{one.at}'" if one.at else "")
    expected = "one of " + ", ".join(known[:MOST_NAMED]) if known else "something that is wired"
    faults.append(Diagnostic("unknown-contact", one.span, said, expected, nearest_name(str(one.contact), known)))
    return None


def _failing(world: World, wire: Wire, struck: Mapping[_Way, Expr]) -> Expr:
    """What the expression means where these contacts may fail."""
    leaves = _Leaves(world, owner=wire.meaning)

    def step(asked: tuple[Expr, bool]) -> Generator[tuple[Expr, bool], Expr, Expr]:
        expr, sign = asked
        if isinstance(expr, Not):
            return neg((yield expr.arg, not sign))
        if isinstance(expr, And | Or):
            args: list[Expr] = yield from each([(arg, sign) for arg in expr.args])
            return conj(*args) if isinstance(expr, And) else disj(*args)
        if not isinstance(expr, Ref) or expr.signal not in leaves.asked:
            return expr
        so = leaves.asked[expr.signal][2]
        welded, bypassed, opened = (
            struck.get((expr.signal, sign, mode), FALSE) for mode in ("welded", "bypassed", "open")
        )
        conducts = disj(conj(disj(so if sign else neg(so), welded), neg(opened)), bypassed)
        return conducts if sign else neg(conducts)

    return fold(step, (leaves.expression(wire.syntax), True))
