"""The contacts of a description: what every wired expression asks of other things, each of which can fail by itself.

A contact conducts while what it asks is so: `not SW is on` names one that is made while the switch is not on.  A state
that an expression asks for both ways has two contacts there.
"""

from __future__ import annotations

from collections.abc import Generator, Iterable, Iterator, Mapping
from dataclasses import dataclass, field

from interlock.diagnostics.nearest import nearest_name
from interlock.diagnostics.spans import Diagnostic
from interlock.hold.compile.lowering import Lowering
from interlock.hold.compile.symbols import Additions, Promised, Symbols
from interlock.hold.compile.world import Thing, World
from interlock.hold.failing import FailingItem, MayStrike
from interlock.hold.language.model import FailureMode, Hold
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
            told = f'the contact "{negation}{thing.phrase}{asks.replace("_", " ")}" in {owner} ({wire.place})'
            written = f"{negation}{read.thing}{asks}"
            yield FailingItem(
                Item.CONTACT, subject, told, wire.span, contact=contact, written=written, place=wire.place
            )


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


@dataclass(frozen=True, slots=True)
class FailingContacts:
    """The contacts that may fail, what that makes of the signals that have them, and what is wrong with the rest."""

    symbols: Symbols
    definitions: Mapping[str, Expr]
    faults: tuple[Diagnostic, ...]


def failing_contacts(hold: Hold, world: World, symbols: Symbols) -> FailingContacts:
    """What the hold declares of single contacts."""
    wanted = [one for one in hold.failures if one.contact is not None]
    excluded = [one for one in hold.excluded_failures if one.contact is not None]
    if not wanted and not excluded:
        return FailingContacts(Additions().symbols(), {}, ())
    items = contact_items(hold, world, {one.of for one in (*wanted, *excluded)})
    faults: list[Diagnostic] = []
    striking: dict[str, list[MayStrike]] = {}
    made = Additions()
    for one in (*wanted, *excluded):
        item = _meant(items, one, faults)
        failing = None if item is None else next((f for f in item.failings if f.mode == one.mode), None)
        if item is not None and failing is None:
            modes = [known.mode for known in item.failings]
            said = f"a contact has no failure mode '{one.mode}'"
            expected = "one of " + ", ".join(modes)
            faults.append(Diagnostic("unknown-failure", one.span, said, expected, nearest_name(one.mode, modes)))
        elif item is not None and failing is not None and item.contact is not None and one in wanted:
            may = item.strikes(failing)
            striking.setdefault(item.contact.owner.name, []).append(may)
            made.fails((may,))
    wires = {wire.meaning.name: wire for wire in wires_of(hold)}
    definitions = {}
    for owner, strikes in striking.items():
        promised = symbols.signals.get(owner)
        if isinstance(promised, Promised):
            definitions[owner] = promised.definition(_failing(world, wires[owner], strikes))
    return FailingContacts(made.symbols(), definitions, tuple(faults))


def _meant(items: Iterable[FailingItem], one: FailureMode, faults: list[Diagnostic]) -> FailingItem | None:
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


def _failing(world: World, wire: Wire, strikes: Iterable[MayStrike]) -> Expr:
    """What the expression means where these contacts may fail."""
    leaves = _Leaves(world, owner=wire.meaning)
    struck: dict[tuple[str, bool, str], Expr] = {}
    for one in strikes:
        if (contact := one.failure.contact) is not None:
            struck[contact.read.name, contact.wanted, one.failure.mode] = Is(one.failure.name, True)

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
