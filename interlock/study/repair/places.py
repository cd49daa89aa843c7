"""Where in the wiring of a hold a contact could be put, and which contacts there are.

A circuit, a command, a permit is tightened by a contact in series, an inhibit by one in parallel.  What counts both
ways, or what nobody asks for, is looked at both ways.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal, TypeAlias

from interlock.diagnostics.spans import Span
from interlock.hold.alike import Alike, Shape, contacts_of, shape_of
from interlock.hold.floor import Floor
from interlock.hold.kinds import DEVICE_KINDS
from interlock.hold.language.model import Control, Hold
from interlock.hold.language.syntax import Chain, Fact, Negation, Path, Quantified, Syntax, Truth
from interlock.hold.origin import Commanded, HeldBack, Meaning, Sort
from interlock.hold.origin import Fact as Told
from interlock.hold.wiring import Way, Wire, asked_by, contacts_in, rewired, turned, wires_of, with_contact
from interlock.study.causes.remedies import carried_wires

_OPEN = ("off", "released")
"""The states of circuits and relays that are the opposite of their being true."""
_WIRED = frozenset({Sort.CIRCUIT, Sort.RELAY, Sort.SENSOR})
"""What can be a contact without a state."""


Joint: TypeAlias = Literal["and", "or", "instead"]


@dataclass(frozen=True, slots=True)
class Place:
    """A part of an expression of the description, and how a contact is added to it.

    `and` is in series with the part, `or` in parallel, `instead` in its place; `way` leads to it, and is empty where it
    is the whole.
    """

    wire: Wire
    joint: Joint
    way: Way = ()

    @property
    def part(self) -> Syntax:
        """What the contact is added to."""
        return part_of(self.wire.syntax, self.way)

    @property
    def is_idle(self) -> bool:
        """The part is what no contact makes any other: never, in series; always, in parallel."""
        return isinstance(self.part, Truth) and self.part.value is not (self.joint == "and")

    def with_contact(self, contact: Syntax) -> Syntax:
        """The expression with the contact added, last in its part."""
        return with_contact(self.wire.syntax, self.way, _joined(self.part, self.joint, contact))


def _joined(old: Syntax, joint: Joint, contact: Syntax) -> Syntax:
    if joint == "instead":
        return contact
    if isinstance(old, Truth):
        return contact if old.value is (joint == "and") else old
    if isinstance(old, Chain) and old.operator == joint:
        return replace(old, args=(*old.args, contact))
    return Chain(joint, (old, contact), old.span)


def part_of(syntax: Syntax, way: Way) -> Syntax:
    """The part to which the way leads."""
    for step in way:
        if isinstance(syntax, Negation):
            syntax = syntax.arg
        elif isinstance(syntax, Chain):
            syntax = syntax.args[step]
    return syntax


def _parts(syntax: Syntax, joint: Joint, way: Way = (), new: bool = True) -> Iterator[tuple[Way, Joint]]:
    """Where a contact tightens the expression, and how it is joined there: in the whole, and in parts of it.

    To add one to a link of a chain of the same joint is to add it to the chain.
    """
    if new:
        yield way, joint
    opposite: Joint = "or" if joint == "and" else "and"
    match syntax:
        case Negation(Chain() as inner):
            yield from _parts(inner, opposite, (*way, 0))
        case Chain("implies", (first, second)):
            yield from _parts(first, opposite, (*way, 0))
            yield from _parts(second, joint, (*way, 1))
        case Chain(operator, args):
            for at, arg in enumerate(args):
                yield from _parts(arg, joint, (*way, at), operator != joint)


@dataclass(frozen=True, slots=True)
class Addition:
    """A contact added in one place."""

    place: Place
    contact: Syntax

    def made_in(self, hold: Hold) -> Hold:
        """The hold with it."""
        meaning = self.place.wire.meaning
        # with another contact there already, last in its part, the expression is no longer that of the place
        wire = next((one for one in wires_of(hold) if one.meaning == meaning), self.place.wire)
        return rewired(hold, meaning, replace(self.place, wire=wire).with_contact(self.contact))


def places_of(hold: Hold) -> tuple[Place, ...]:
    """Every place of the wiring, in the order of the description."""
    wires = [wire for wire in wires_of(hold) if wire.is_electrical]
    signs = signs_of(hold)
    found: list[Place] = []
    for wire in wires:
        ways = signs.get(wire.meaning, frozenset({True, False}))
        joints: tuple[Joint, ...] = ("and", "or")
        for joint in joints:
            if (joint == "and") in ways:
                found += [Place(wire, inner, way) for way, inner in _parts(wire.syntax, joint)]
    return tuple(one for one in found if not one.is_idle)


def replaceable(hold: Hold) -> tuple[Place, ...]:
    """Every contact of the wiring, in the order of the description, as a place for another one."""
    return tuple(
        Place(wire, "instead", way)
        for wire in wires_of(hold)
        if wire.is_electrical
        for way, contact in contacts_in(wire.syntax)
        if isinstance(asked_by(contact), Fact)
    )


def freed_places(before: Hold, hold: Hold) -> tuple[Place, ...]:
    """Where a contact was taken out of the hold as it was before: a truth stands there, and another can come there."""
    known = {wire.meaning: shape_of(wire.syntax) for wire in wires_of(before)}
    return tuple(
        Place(wire, "instead", way)
        for wire in wires_of(hold)
        if known.get(wire.meaning) != shape_of(wire.syntax)
        for way, contact in contacts_in(wire.syntax)
        if isinstance(contact, Truth)
    )


def linkages_of(hold: Hold) -> tuple[Place, ...]:
    """Every condition of what hands and mechanism do to doors and controls, which a linkage could tighten."""
    sorts = (Sort.DOOR, Sort.CONTROL)
    found = (
        Place(wire, inner, way)
        for wire in wires_of(hold)
        for way, inner in _parts(wire.syntax, "and")
        if not wire.is_electrical and (wire.meaning.subject.sort in sorts or wire.meaning.subject.sort.is_control)
    )
    return tuple(one for one in found if not one.is_idle)


def reachable(control: Control) -> Control:
    """The same control, with the condition under which it is reached written out."""
    return replace(control, reachable=Truth(True, control.span)) if control.reachable is None else control


def signs_of(hold: Hold) -> Mapping[Meaning, frozenset[bool]]:
    """Per expression how it counts: True where its being true lets something happen, False where it keeps it from that.

    What nothing asks for, and what works a device, may count both ways and is left out.
    """
    found: dict[Meaning, set[bool]] = {}
    by_thing: dict[str, list[tuple[Meaning, bool]]] = {}
    every = wires_of(hold)
    for wire in every:
        sign = _own_sign(wire)
        if sign is not None:
            found[wire.meaning] = {sign}
        if isinstance(wire.meaning, Told):
            subject = wire.meaning.subject
            if subject.sort is Sort.RELAY:
                by_thing.setdefault(subject.id, []).append((wire.meaning, wire.meaning.what == "sets"))
            elif subject.sort is Sort.CIRCUIT:
                by_thing.setdefault(subject.id, []).append((wire.meaning, True))
    syntax = {wire.meaning: wire.syntax for wire in every}
    waiting = list(found)
    while waiting:
        meaning = waiting.pop()
        for fact, wanted in asked_in(syntax[meaning]):
            for inner, plain in by_thing.get(fact.subject.parts[0], ()):
                told = found.setdefault(inner, set())
                new = {(wanted == plain) == sign for sign in found[meaning]} - told
                if new:
                    told |= new
                    waiting.append(inner)
    devices = {wire.meaning for wire in every if wire.meaning.subject.sort is Sort.DEVICE}
    return {meaning: frozenset(signs) for meaning, signs in found.items() if signs and meaning not in devices}


def _own_sign(wire: Wire) -> bool | None:
    """How it counts by what it is; None where that depends on who asks for it."""
    match wire.meaning:
        case HeldBack() | Told(_, "inhibited"):
            return False
        case Commanded():
            return True
        case Told(subject, what):
            if subject.sort in (Sort.CIRCUIT, Sort.SENSOR) or what in ("sets", "drops", "within_limit"):
                return None
            return True
    return None


def asked_in(syntax: Syntax, wanted: bool = True) -> Iterator[tuple[Fact, bool]]:
    """Every fact that the expression names, and whether it is asked for or excluded; within a group both."""
    match syntax:
        case Fact():
            yield syntax, (wanted != syntax.negated) != (syntax.state in _OPEN)
        case Negation(arg):
            yield from asked_in(arg, not wanted)
        case Chain("implies", (first, second)):
            yield from asked_in(first, not wanted)
            yield from asked_in(second, wanted)
        case Chain(_, args):
            for arg in args:
                yield from asked_in(arg, wanted)
        case Quantified(_, _, _, body):
            yield from asked_in(body, wanted)
            yield from asked_in(body, not wanted)


def facts_of(hold: Hold) -> tuple[Fact, ...]:
    """What contacts can ask for, each once, in the order of the description.

    What the wiring asks for already; every circuit, relay and sensor; every position of a control and every supply.
    """
    found: dict[Shape, Fact] = {}
    for wire in wires_of(hold):
        if wire.is_electrical:
            for fact, _ in asked_in(wire.syntax):
                plain = replace(fact, negated=False)
                if not _is_variable(wire.syntax, fact):
                    found.setdefault(shape_of(plain), plain)
    for one in (*hold.circuits, *hold.relays, *hold.sensors):
        found.setdefault(((one.id,), None, False), fact_of(one.id, None, one.span))
    for control in hold.controls:
        states = control.behaviour.states
        # of two states one is enough, both ways
        for state in states if len(states) > 2 else states[1:]:
            found.setdefault(((control.id,), state, False), fact_of(control.id, state, control.span))
    for supply in hold.supplies:
        found.setdefault(((supply.id,), "on", False), fact_of(supply.id, "on", supply.span))
    wired = {one.id for one in (*hold.circuits, *hold.relays, *hold.sensors)}
    # `C is on` is no other contact than `C`
    return tuple(one for one in found.values() if one.state is None or one.subject.parts[0] not in wired)


def states_of(hold: Hold) -> tuple[Fact, ...]:
    """What linkages can ask for: how doors, movable devices, controls and people truly are."""
    found: list[Fact] = []
    for door in hold.doorways:
        words = ["closed", "open", *(["latched"] if door.latch else []), *(["locked"] if door.lock else [])]
        found += [fact_of(door.id, word, door.span) for word in words]
    for device in hold.devices:
        states = DEVICE_KINDS[device.kind].states
        found += [fact_of(device.id, state, device.span) for state in states[1:]]
    for control in hold.controls:
        states = control.behaviour.states
        found += [fact_of(control.id, state, control.span) for state in (states if len(states) > 2 else states[1:])]
    found += [fact_of(one.id, "inside", one.span) for one in hold.people]
    return tuple(found)


def _is_variable(syntax: Syntax, fact: Fact) -> bool:
    """The fact is about a variable that runs through a group."""
    waiting: list[Syntax] = [syntax]
    names: set[str] = set()
    while waiting:
        part = waiting.pop()
        if isinstance(part, Quantified):
            names.add(part.variable)
            waiting.append(part.body)
        elif isinstance(part, Negation):
            waiting.append(part.arg)
        elif isinstance(part, Chain):
            waiting += part.args
    return fact.subject.parts[0] in names


def fact_of(id: str, state: str | None, span: Span) -> Fact:
    """The fact that a thing is in a state, or true."""
    return Fact(Path((id,), (span,)), state, False, span)


def named_in(syntax: Syntax) -> frozenset[str]:
    """The things that the expression names."""
    return frozenset(fact.subject.parts[0] for fact, _ in asked_in(syntax))


class Nearness:
    """How near a contact is to a place: what stood there before a change first, then what its neighbours ask for."""

    def __init__(self, hold: Hold, floor: Floor, before: Hold | None) -> None:
        every = self._every = wires_of(hold)
        self._alike = Alike(hold, floor)
        self._like: dict[Meaning, frozenset[Shape]] = {}
        self._named = {wire.meaning: named_in(wire.syntax) for wire in every}
        self._of: dict[str, set[Meaning]] = {}
        for wire in every:
            self._of.setdefault(wire.meaning.subject.id, set()).add(wire.meaning)
        self._users: dict[str, set[Meaning]] = {}
        for meaning, names in self._named.items():
            for name in names:
                self._users.setdefault(name, set()).add(meaning)
        self._before: Mapping[Meaning, frozenset[Shape]] = (
            {} if before is None else {wire.meaning: contacts_of(wire.syntax) for wire in wires_of(before)}
        )
        self._combining = {one.id for one in (*hold.circuits, *hold.relays)}

    def of(self, place: Place, contact: Syntax) -> int:
        """0 taken away by a change, 1 asked for in a like place, 2 by the same thing or close by, 3 elsewhere."""
        meaning = place.wire.meaning
        if shape_of(contact) in self._before.get(meaning, frozenset()):
            return 0
        if shape_of(contact) in self._asked_by_likes(place.wire):
            return 1
        return 2 if named_in(contact) & self._beside(meaning) else 3

    def _asked_by_likes(self, wire: Wire) -> frozenset[Shape]:
        """What the expressions of like places ask for, carried over."""
        if wire.meaning not in self._like:
            likes = (contacts_of(carried) for _, carried, _ in carried_wires(self._alike, wire, self._every))
            self._like[wire.meaning] = frozenset().union(*likes)
        return self._like[wire.meaning]

    def is_written(self, place: Place) -> bool:
        """The hold has an expression there already."""
        return place.wire.meaning in self._named

    def is_single(self, contact: Syntax) -> bool:
        """It is a contact of a switch, a sensor or a supply, not of a circuit or a relay that combines several."""
        return not named_in(contact) & self._combining

    def reach(self, place: Place) -> int:
        """How many expressions go by what stands there: the fewer, the smaller a change it is."""
        found: set[Meaning] = set()
        waiting = [place.wire.meaning]
        while waiting:
            one = waiting.pop()
            for user in self._users.get(one.subject.id, set()) - found:
                if one.subject.sort in _WIRED:
                    found.add(user)
                    waiting.append(user)
        return len(found)

    def _beside(self, meaning: Meaning) -> frozenset[str]:
        """What the expression, those of the same thing, those that ask for it and those it asks for name."""
        # a condition that nobody has written yet names nothing
        near = {meaning, *self._of.get(meaning.subject.id, set()), *self._users.get(meaning.subject.id, set())}
        for name in self._named.get(meaning, frozenset()):
            near |= self._of.get(name, set())
        return frozenset().union(*(self._named.get(one, frozenset()) for one in near))


def contacts_both_ways(facts: Sequence[Fact]) -> tuple[Syntax, ...]:
    """Each of the facts as a contact that is made while it is so, and as one that is made while it is not."""
    return tuple(one for fact in facts for one in (fact, turned(fact)))
