"""Where a description says with an expression what is so: what each of them decides, and the hold with another there.

Circuits, sensors, relays, commands, inhibits, permits, the conditions of doors, hands and people: all that can be
wired otherwise.  To relax or tighten one is to write another expression in its place and to compile the hold again.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import Any, TypeAlias

from interlock.diagnostics.frozen import frozen
from interlock.diagnostics.spans import Span
from interlock.hold.language.declarations import Record
from interlock.hold.language.directions import DIRECTIONS, Direction
from interlock.hold.language.model import DoorStep, Hold, Section
from interlock.hold.language.syntax import Chain, Negation, Quantified, Syntax, Truth
from interlock.hold.language.syntax import Fact as Contact
from interlock.hold.origin import Commanded, Fact, HeldBack, Meaning, Sort, Subject, pushing_in

_PLAIN: tuple[tuple[Sort, str, str, tuple[str, ...]], ...] = (
    (Sort.CONTROL, "controls", "reachable", ("reachable",)),
    (Sort.DEVICE, "devices", "energised", ("circuit",)),
    (Sort.DEVICE, "devices", "within_limit", ("deferred", "limit")),
    (Sort.DOOR, "doorways", "opens", ("opens",)),
    (Sort.DOOR, "doorways", "closes", ("closes",)),
    (Sort.DOOR, "doorways", "latching_possible", ("latch", "when")),
    (Sort.DOOR, "doorways", "unlatching_possible", ("unlatch", "when")),
    (Sort.DOOR, "doorways", "locking_possible", ("lock", "when")),
    (Sort.DOOR, "doorways", "unlocking_possible", ("unlock", "when")),
    (Sort.SUPPLY, "supplies", "fed", ("needs",)),
    (Sort.SENSOR, "sensors", "read", ("reads",)),
    (Sort.RELAY, "relays", "sets", ("sets",)),
    (Sort.RELAY, "relays", "drops", ("drops",)),
    (Sort.CIRCUIT, "circuits", "", ("definition",)),
    (Sort.PERSON, "people", "moves", ("moves",)),
    (Sort.STATION, "stations", "owning", ("owns",)),
    (Sort.ZONE, "zones", "powered", ("power",)),
)
"""Sort of thing, its section, the fact that an expression of it decides, and the way to that expression."""


_ELECTRICAL = (Sort.DEVICE, Sort.SUPPLY, Sort.RELAY, Sort.CIRCUIT, Sort.STATION, Sort.ZONE)


@frozen
class Wire:
    """An expression of a description and what it decides; `meaning.name` is the signal that it defines.

    `place` says which expression of its thing it is: `sets`, `inhibits.fore`.  `is_electrical`: it is made of contacts,
    not of what mechanism, people or sensors do.  Where the expression is no more than `true` or `false`, there is no
    such signal: the truth stands in its place.
    """

    meaning: Meaning
    syntax: Syntax
    place: str
    is_electrical: bool = False

    @property
    def span(self) -> Span:
        """Where it is written."""
        return self.syntax.span


def wires_of(hold: Hold) -> tuple[Wire, ...]:
    """Every expression of the description but those of requirements, in the order of the sections above; zones last."""
    return tuple(_wires(hold))


def _wires(hold: Hold) -> Iterator[Wire]:
    whole = Subject(Sort.HOLD, "hand_work"), Subject(Sort.HOLD, "pushing")
    yield Wire(Fact(whole[0]), hold.layout.hand_work, "hand_work")
    if isinstance(hold.layout.pushing, tuple):
        yield from (Wire(pushing_in(rule), rule.when, "pushing") for rule in hold.layout.pushing)
    elif hold.layout.pushing is not None:
        yield Wire(Fact(whole[1]), hold.layout.pushing, "pushing")
    for sort, section, what, path in _PLAIN:
        for thing in getattr(hold, section):
            found, syntax = None, thing
            for step in path:
                found, syntax = syntax, None if syntax is None else getattr(syntax, step)
            if syntax is not None:
                is_held = sort is Sort.CONTROL and thing.is_held
                meaning = Fact(Subject(Sort(thing.kind) if is_held else sort, thing.id), what)
                place = next(field.key for field in thing.declaration.fields if field.attribute == path[0])
                yield Wire(meaning, syntax, place, _is_electrical(sort, what, found))
    for zone in hold.zones:
        subject = Subject(Sort.ZONE, zone.id)
        for number, command in enumerate(zone.commands, 1):
            for way, syntax in command.runs:
                yield Wire(Commanded(zone.id, number, way), syntax, f"commands.{number}.{way}", is_electrical=True)
        for way, syntax in zone.inhibits:
            yield Wire(Fact(subject, "inhibited", way), syntax, f"inhibits.{way}", is_electrical=True)
        for part, way, number in _sections(zone.sections):
            place = f"sections.{part.bay}.{way}" + (f".{number}" if number > 1 else "")
            held_back = HeldBack(zone.id, part.bay, way, number)
            yield Wire(held_back, dict(part.inhibits)[way], place, is_electrical=True)


def inhibits_written(hold: Hold) -> Hold:
    """The same hold with an inhibit, which is never so, for each direction in which a drive has none.

    Of the whole zone, and of each of its bays where it has several.
    """
    for zone in hold.zones:
        never: Syntax = Truth(False, zone.span)
        ways = [way for way in DIRECTIONS if any(way in dict(one.runs) for one in zone.commands)]
        held = {(part.bay, way) for part, way, _ in _sections(zone.sections)}
        for way in ways:
            if way not in dict(zone.inhibits):
                hold = rewired(hold, Fact(Subject(Sort.ZONE, zone.id), "inhibited", way), never)
            for bay in zone.bays if len(zone.bays) > 1 else ():
                if (bay, way) not in held:
                    hold = rewired(hold, HeldBack(zone.id, bay, way, 1), never)
    return hold


def _is_electrical(sort: Sort, what: str, record: Any) -> bool:
    """What moves doors, latches and locks by hand is mechanism."""
    if sort is Sort.DOOR:
        return (record.by if isinstance(record, DoorStep) else record.moved_by) == "power"
    return sort in _ELECTRICAL and what != "within_limit"


def _sections(sections: tuple[Section, ...]) -> Iterator[tuple[Section, Direction, int]]:
    """Each section with a direction that it holds back, numbered for its bay and direction."""
    numbers: dict[tuple[str, Direction], int] = {}
    for section in sections:
        for way in DIRECTIONS:
            if way in dict(section.inhibits):
                number = numbers[section.bay, way] = numbers.get((section.bay, way), 0) + 1
                yield section, way, number


def rewired(hold: Hold, meaning: Meaning, syntax: Syntax) -> Hold:
    """The hold with another expression there, or with one where a drive had no inhibit.

    Raises KeyError where it can have none that decides this.
    """
    match meaning:
        case Fact(Subject(Sort.HOLD, id)):
            layout: dict[str, Any] = {id: syntax}
            return replace(hold, layout=replace(hold.layout, **layout))
        case Fact(Subject(Sort.BAY, bay), "pushing") if isinstance(hold.layout.pushing, tuple):
            rules = (replace(rule, when=syntax) if rule.bays[0] == bay else rule for rule in hold.layout.pushing)
            return replace(hold, layout=replace(hold.layout, pushing=tuple(rules)))
        case Commanded(zone, number, way):
            commands = list(_thing(hold.zones, zone).commands)
            commanded: dict[str, Any] = {way.value: syntax}
            commands[number - 1] = replace(commands[number - 1], **commanded)
            return _with(hold, "zones", zone, commands=tuple(commands))
        case HeldBack(zone, bay, way, number):
            sections = _thing(hold.zones, zone).sections
            found = next((s for s, *key in _sections(sections) if (s.bay, *key) == (bay, way, number)), None)
            if found is None:
                added = Section(span=syntax.span, bay=bay, inhibits=((way, syntax),))
                return _with(hold, "zones", zone, sections=(*sections, added))
            inhibits = tuple((one, syntax if one == way else old) for one, old in found.inhibits)
            changed = tuple(replace(s, inhibits=inhibits) if s is found else s for s in sections)
            return _with(hold, "zones", zone, sections=changed)
        case Fact(Subject(Sort.ZONE, zone), "inhibited", Direction() as way):
            known = dict(_thing(hold.zones, zone).inhibits)
            return _with(hold, "zones", zone, inhibits=tuple((known | {way: syntax}).items()))
    if not isinstance(meaning, Fact):
        raise KeyError(meaning)
    subject, what = meaning.subject, meaning.what
    sort = Sort.CONTROL if subject.sort.is_control else subject.sort
    ways = {(one, word): (section, path) for one, section, word, path in _PLAIN}
    section, path = ways[sort, what]
    return _with(hold, section, subject.id, **_at(_thing(getattr(hold, section), subject.id), path, syntax))


def _at(record: Record, path: tuple[str, ...], syntax: Syntax) -> dict[str, Any]:
    first, *rest = path
    if not rest:
        return {first: syntax}
    inner = getattr(record, first)
    return {first: replace(inner, **_at(inner, tuple(rest), syntax))}


def _thing(things: tuple[Any, ...], id: str) -> Any:
    return {thing.id: thing for thing in things}[id]


def _with(hold: Hold, section: str, id: str, **fields: Any) -> Hold:
    """The hold with other values in one of its things."""
    things = tuple(replace(one, **fields) if one.id == id else one for one in getattr(hold, section))
    sections: dict[str, Any] = {section: things}
    return replace(hold, **sections)


Way: TypeAlias = tuple[int, ...]
"""The way to a part of an expression: which part of which part, and so on."""


def contacts_in(syntax: Syntax) -> Iterator[tuple[Way, Syntax]]:
    """Every contact of an expression, negated or not, by the way to it; a quantified part counts as one."""
    match syntax:
        case Negation(Contact()) | Contact() | Truth() | Quantified() | Negation(Quantified()):
            yield (), syntax
        case Negation(arg):
            yield from (((0, *way), found) for way, found in contacts_in(arg))
        case Chain(_, args):
            for at, arg in enumerate(args):
                yield from (((at, *way), found) for way, found in contacts_in(arg))


def chains_in(syntax: Syntax) -> Iterator[tuple[Way, Chain]]:
    """Every row of contacts, in series or side by side, by the way to it: the outermost first."""
    if isinstance(syntax, Chain) and syntax.operator != "implies":
        yield (), syntax
    for at, arg in enumerate(
        syntax.args if isinstance(syntax, Chain) else (syntax.arg,) if isinstance(syntax, Negation) else ()
    ):
        yield from (((at, *way), found) for way, found in chains_in(arg))


def asked_by(contact: Syntax) -> Syntax:
    """What a contact asks for, whichever way: without its `not`."""
    return contact.arg if isinstance(contact, Negation) else contact


def turned(contact: Syntax) -> Syntax:
    """The contact the other way round, with no more than one `not`."""
    match contact:
        case Negation(arg):
            return arg
        case Contact(negated=True):
            return replace(contact, negated=False)
    return Negation(contact, contact.span)


def flat(syntax: Syntax) -> Syntax:
    """The same with what stands in series, or side by side, in one list, as people write it."""
    match syntax:
        case Chain("and" | "or" as operator, args):
            parts = [flat(arg) for arg in args]
            split = ((p.args if isinstance(p, Chain) and p.operator == operator else (p,)) for p in parts)
            return replace(syntax, args=tuple(part for some in split for part in some))
        case Chain(_, args):
            return replace(syntax, args=tuple(flat(arg) for arg in args))
        case Negation(arg):
            return replace(syntax, arg=flat(arg))
    return syntax


def with_contact(syntax: Syntax, way: Way, instead: Syntax) -> Syntax:
    """The expression with another part in the place to which the way leads."""
    if not way:
        return instead
    if isinstance(syntax, Negation):
        return replace(syntax, arg=with_contact(syntax.arg, way[1:], instead))
    if not isinstance(syntax, Chain):
        raise KeyError(way)
    args = list(syntax.args)
    args[way[0]] = with_contact(args[way[0]], way[1:], instead)
    return replace(syntax, args=tuple(args))


def without_contact(syntax: Syntax, way: Way) -> Syntax:
    """The expression without the part to which the way leads: bridged among others, or cut off beside others."""
    above = syntax
    for step in way[:-1]:
        above = above.arg if isinstance(above, Negation) else above.args[step] if isinstance(above, Chain) else above
    bridged = not isinstance(above, Chain) or above.operator == "and" or (above.operator, way[-1]) == ("implies", 1)
    return with_contact(syntax, way, Truth(bridged, syntax.span))
