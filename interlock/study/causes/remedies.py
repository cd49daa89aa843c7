"""What could be wrong in a hold: each guess at one thing, with the hold as it would be if that were right.

Guesses come from comparing likes (`interlock.hold.alike`), from what keeps a device from moving, and from single
contacts: turned round, left out, exchanged for one like it, or added; and from exchanging what runs a zone to opposite
sides.  Whether a guess is any good is for a trial.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Collection, Hashable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from enum import IntEnum
from functools import partial
from itertools import combinations
from typing import Any, TypeAlias

from interlock.diagnostics.frozen import frozen
from interlock.diagnostics.spans import Span
from interlock.hold.alike import Alike, Shape, contacts_of, shape_of
from interlock.hold.compile.compiler import CompiledHold
from interlock.hold.kinds import DEVICE_KINDS, Working
from interlock.hold.language.directions import Direction
from interlock.hold.language.model import Device, Hold
from interlock.hold.language.printer import print_syntax
from interlock.hold.language.syntax import Chain, Fact, Negation, Path, Syntax, Truth
from interlock.hold.origin import (
    Aspect,
    Commanded,
    Condition,
    Crossing,
    HeldBack,
    Holding,
    Meaning,
    Memory,
    Sort,
    Subject,
)
from interlock.hold.origin import Contact as Kept
from interlock.hold.origin import Fact as Told
from interlock.hold.wiring import (
    Way,
    Wire,
    asked_by,
    chains_in,
    contacts_in,
    flat,
    inhibits_written,
    rewired,
    turned,
    wires_of,
    with_contact,
    without_contact,
)

EVEN = 2
"""So many votes count the likes of a part where there are no more of them than of those that are unlike."""
MOST_NAMED = 6
"""Like places that are told one by one."""


class Likeliness(IntEnum):
    """How readily a guess is believed, the most readily first."""

    SET_ASIDE = 0
    """Somebody wrote that it does not do its work: deferred, fixed, or a sensor that always reads the same."""
    UNLIKE = 1
    """Most of its likes agree, and it differs."""
    ODD = 2
    """It is never what things of its kind are for, or one of few likes differs."""
    CONTACT = 3
    """One of its contacts is another than it should be."""
    TIGHTER = 4
    """It does not ask for something that it could ask for."""
    LOOSER = 5
    """It asks for something that it need not ask for."""
    OPPOSITE = 6
    """People could do it just when it is described that they cannot.

    Told only where that is asked for, and nothing is lost by it.
    """


@dataclass(frozen=True, slots=True)
class Remedy:
    """A guess at one thing: `item` is what it is called, `said` what is so of it and what that is held against.

    `id` and `span` are the thing's own; `votes` is how many likes speak for it.  `instead` is what would be there, of
    an expression (`wire`) what that would be.
    """

    id: str
    item: str
    span: Span
    said: Callable[[], tuple[str, str]]
    """Worked out when asked: most guesses are never told of."""
    likeliness: Likeliness
    votes: int
    hold: Callable[[], Hold]
    """The same hold with this one thing otherwise; it too is made when asked."""
    instead: Hashable = None
    wire: tuple[Wire, Syntax] | None = None

    @property
    def guess(self) -> Hashable:
        """What would be otherwise: guesses of which this is the same make the same hold."""
        return self.instead if self.wire is None else (self.wire[0].meaning, shape_of(self.wire[1]))


def listed(words: Sequence[str], joint: str = "and") -> str:
    """`a`, `a and b`, `a, b and c`."""
    return f" {joint} ".join(filter(None, (", ".join(words[:-1]), *words[-1:])))


def called(name: str, id: str) -> str:
    """A thing by its name with its id behind, where that is another."""
    return id if name == id else f"{name} ({id})"


# ---- devices


def devices_near(compiled: CompiledHold, ids: Iterable[str]) -> tuple[Device, ...]:
    """The devices among these things, and those that stand around the bays and sills among them."""
    world = compiled.world
    found: set[str] = set()
    for id in ids:
        thing = world.things.get(id) or world.sides.get(id)
        if thing is None:
            continue
        found.add(id)
        for part in ("devices", "sill_devices"):
            parts = thing.parts.get(part, ())
            found |= {parts} if isinstance(parts, str) else set(parts)
    return tuple(device for device in compiled.hold.devices if device.id in found)


def device_remedies(compiled: CompiledHold, alike: Alike, devices: Sequence[Device]) -> Iterator[Remedy]:
    """What may be wrong with each of the devices."""
    for device in devices:
        yield from _set_aside(compiled.hold, device)
        yield from _unlike(compiled, alike, device)
        yield from _odd(compiled, device)


def _with_device(hold: Hold, changed: Device) -> Hold:
    return replace(hold, devices=tuple(changed if one.id == changed.id else one for one in hold.devices))


def _set_aside(hold: Hold, device: Device) -> Iterator[Remedy]:
    if device.fixed is None or DEVICE_KINDS[device.kind].working is Working.FIXED:
        return
    state = device.fixed.replace("_", " ")
    span = next((change.span for change in reversed(hold.changes) if change.object == device.id), device.span)
    if device.deferred is not None:
        found = f"is deferred and stays {state}: {device.deferred.because}"
        limit = print_syntax(device.deferred.limit)
        beside = f"the limit that goes with it is '{limit}'"
        span = device.deferred.span
    else:
        found, beside = f"is fixed: it stays {state} for good", ""
    states = DEVICE_KINDS[device.kind].states
    starts = tuple(one for one in device.starts if one in states) or states[:1]
    free = replace(device, fixed=None, deferred=None, starts=starts)
    told = called(device.name, device.id), span, _saying(found, beside)
    yield Remedy(device.id, *told, Likeliness.SET_ASIDE, 1, partial(_with_device, hold, free), free)


_FIELDS = ("kind", "stops", "gives_way", "restrains", "locking")


def _unlike(compiled: CompiledHold, alike: Alike, device: Device) -> Iterator[Remedy]:
    """In what most devices in like places differ from it."""
    face = alike.side(device.on[0].bay, device.on[0].direction)
    like: list[tuple[Device, Device]] = [
        (other, alike.device(carry, other))
        for there, carry in alike.like_faces(face)
        for other in alike.devices_on.get(there, ())
    ]
    like += [(other, other) for other in alike.devices_on.get(face, ()) if other is not device]
    purpose = DEVICE_KINDS[device.kind].purpose
    seen = list({other.id: (other, carried) for other, carried in like if other.id != device.id}.values())
    for field in _FIELDS:
        if field == "kind":
            among = [(o, c) for o, c in seen if DEVICE_KINDS[o.kind].purpose is purpose]
        else:
            among = [(o, c) for o, c in seen if o.kind == device.kind]
        mine = _comparable(getattr(device, field))
        votes = Counter(_comparable(getattr(carried, field)) for _, carried in among)
        if not votes or votes[mine] >= max(votes.values()):
            continue
        most, number = votes.most_common(1)[0]
        first, carried = next((o, c) for o, c in among if _comparable(getattr(c, field)) == most)
        fields: dict[str, Any] = {field: getattr(carried, field)}
        if field == "kind":
            fields |= {"circuit": carried.circuit, "handle": carried.handle, "locking": carried.locking}
            fields["starts"] = carried.starts
        others = "" if number == 1 else f" and {number - 1} more like it"
        beside = f"{called(first.name, first.id)}{others} {_says(field, getattr(first, field))}"
        changed = replace(device, **fields)
        yield Remedy(
            device.id,
            called(device.name, device.id),
            device.span,
            _saying(_says(field, getattr(device, field)), beside),
            Likeliness.UNLIKE if number > 1 else Likeliness.ODD,
            number - votes[mine],
            partial(_with_device, compiled.hold, changed),
            changed,
        )


def _saying(found: str, beside: str) -> Callable[[], tuple[str, str]]:
    return lambda: (found, beside)


def _comparable(value: object) -> object:
    return tuple(sorted(value)) if isinstance(value, tuple) else value


def _says(field: str, value: Any) -> str:
    words = [str(one) for one in value] if isinstance(value, tuple) else [str(value).replace("_", " ")]
    match field:
        case "kind":
            return f"is a {words[0]}"
        case "stops":
            return f"stops {listed(words)}" if words else "stops no direction"
        case "gives_way":
            return f"gives way {listed(words)}" if words else "gives way to nothing"
        case "restrains":
            return f"restrains {listed(words)}" if words else "restrains along no axis"
        case "locking":
            return f"locks while {words[0]} (`locking: {value}`)"
    return f"{field} {listed(words)}"


def _odd(compiled: CompiledHold, device: Device) -> Iterator[Remedy]:
    """What it is not, as things of its kind mostly are."""
    hold, floor = compiled.hold, compiled.floor
    kind = DEVICE_KINDS[device.kind]
    item = called(device.name, device.id)

    def guess(found: str, beside: str, **fields: Any) -> Remedy:
        changed = replace(device, **fields)
        told = item, device.span, _saying(found, beside)
        return Remedy(device.id, *told, Likeliness.ODD, 0, partial(_with_device, hold, changed), changed)

    for state in kind.states:
        if state != device.locking and state in kind.standing:
            found = _says("locking", device.locking)
            yield guess(found, f"a {kind.id} stands up while {state.replace('_', ' ')}", locking=state)
    bay, way = device.on[0].bay, device.on[0].direction
    beyond = {cell for face in floor.faces(bay, way) for cell, _ in floor.sides_of_face(face)} - {bay}
    for one in (way, way.opposite) if beyond else (way,):
        if one not in device.stops:
            found = _says("stops", device.stops)
            yield guess(found, f"it stands where it could stop {one}", stops=(*device.stops, one))
    if way.axis not in device.restrains:
        found = _says("restrains", device.restrains)
        yield guess(found, f"it stands where it could restrain {way.axis}", restrains=(*device.restrains, way.axis))


# ---- what is not there


@dataclass(frozen=True, slots=True)
class Absence:
    """Why nothing can ever restrain a unit one way: what stands there and does not, or that nothing does."""

    id: str
    item: str
    span: Span
    found: str
    beside: str


def absence(compiled: CompiledHold, alike: Alike, bay: str, way: Direction | str) -> Absence | None:
    """What is missing to restrain a unit in the bay that way; None where something can."""
    sides = list(Direction) if way == "up" else [Direction(way)]
    axis = "z" if way == "up" else Direction(way).axis
    on = {side: alike.devices_on.get(alike.side(bay, side), ()) for side in sides}
    wanted = f"stops {way} and restrains {axis}" if way != "up" else "restrains z"

    def lacks(device: Device, at: Direction) -> list[str]:
        stops = [] if way == "up" or at in device.stops else [_says("stops", device.stops)]
        return stops + ([] if axis in device.restrains else [_says("restrains", device.restrains)])

    there = [(side, device) for side, devices in on.items() for device in devices]
    if not all(lacks(device, side) for side, device in there):
        return None
    beside = ""
    for side in sides:
        for other, carry in alike.like_faces(alike.side(bay, side)):
            serving = [d for d in alike.devices_on.get(other, ()) if not lacks(alike.device(carry, d), side)]
            if serving and not beside:
                cell, its_side = next(
                    (cell, side)
                    for cell, side in alike.floor.sides_of_face(other)
                    if cell in alike.floor.bays and alike.cell(carry, cell) == bay
                )
                beside = f"{cell} has {called(serving[0].name, serving[0].id)} on its {its_side} side"
    if there:
        side, device = min(there, key=lambda one: len(lacks(one[1], one[0])))
        found = f"it {listed(lacks(device, side))}, so nothing {wanted} in {bay}"
        return Absence(device.id, called(device.name, device.id), device.span, found, beside)
    where = f"the {way} side of {bay}" if way != "up" else f"any side of {bay}"
    return Absence(bay, f"no device on {where}", compiled.hold.layout.span, f"nothing there {wanted}", beside)


# ---- expressions


def name_of_wire(compiled: CompiledHold, meaning: Meaning) -> tuple[str, str]:
    """What an expression belongs to, as people call it, with the id of the thing that has it."""
    subject = meaning.subject
    thing = compiled.world.things.get(subject.id)
    whose = subject.id if thing is None else called(thing.phrase, subject.id)
    match meaning:
        case HeldBack(_, bay, way):
            return f"the {way} inhibit of the drive under {bay} in {whose}", subject.id
        case Commanded(_, _, way):
            return f"the {way} command of {whose}", subject.id
        case Told(_, "inhibited", way):
            return f"the {way} inhibit of {whose}", subject.id
        case Told() if subject.sort is Sort.HOLD:
            return f"`{subject.id}` of the layout", subject.id
        case Told(what=what):
            return _WHAT.get(what, "{}").format(whose), subject.id
    return whose, subject.id


_WHAT = {
    "sets": "what sets {}",
    "drops": "what drops {}",
    "powered": "the drive power of {}",
    "opens": "what opens {}",
    "closes": "what closes {}",
    "latching_possible": "what lets {} be latched",
    "unlatching_possible": "what lets {} be unlatched",
    "locking_possible": "what lets {} be locked",
    "unlocking_possible": "what lets {} be unlocked",
    "energised": "the circuit of {}",
    "within_limit": "the limit of deferred {}",
    "reachable": "what lets {} be reached",
    "moves": "what lets {} come and go",
    "owning": "what puts {} in charge",
    "pushing": "what lets units be pushed in {}",
}


def like_wires(compiled: CompiledHold, alike: Alike, wires: Sequence[Wire]) -> Iterator[Remedy]:
    """What likes of these expressions ask for, and they do not, or the other way about."""
    every = wires_of(compiled.hold)
    for wire in wires:
        votes: dict[Shape, list[tuple[Wire, Syntax, bool]]] = {}
        for other, carried, plain in carried_wires(alike, wire, every):
            votes.setdefault(shape_of(carried), []).append((other, carried, plain))
        mine = shape_of(wire.syntax)
        weight = {shape: len({o.meaning for o, *_ in found}) for shape, found in votes.items()}
        for shape, found in sorted(votes.items(), key=lambda item: -weight[item[0]])[:2]:
            # what as many likes are made as, it may be made as
            if weight[shape] > weight.get(mine, 0):
                other, syntax, _ = min(found, key=lambda one: not one[2])
                likeliness = Likeliness.UNLIKE if weight[shape] > 1 and mine not in votes else Likeliness.ODD
                yield _rewired(compiled, wire, syntax, likeliness, weight[shape], other)


def carried_wires(alike: Alike, wire: Wire, every: Sequence[Wire]) -> Iterator[tuple[Wire, Syntax, bool]]:
    """The expressions of like places, each carried over to the place of this one, and whether nothing was turned."""
    for other in every:
        if other.meaning == wire.meaning or type(other.meaning) is not type(wire.meaning):
            continue
        match wire.meaning, other.meaning:
            case HeldBack(_, bay, way), HeldBack(_, there, its_way):
                for carry in alike.ways((there, its_way), (bay, way)):
                    carried = alike.syntax(carry, other.syntax)
                    if carried is not None:
                        yield other, carried, carry.is_plain
            case Told(_, "inhibited", way), Told(_, "inhibited", its_way):
                if way is its_way:
                    yield other, other.syntax, True
            case Told(_, "energised"), Told(_, "energised"):
                yield other, other.syntax, True
            case Told(Subject(Sort.CIRCUIT)), Told(Subject(Sort.CIRCUIT)):
                mine, its = contacts_of(wire.syntax), len(contacts_of(other.syntax))
                if abs(its - len(mine)) > 1:
                    continue
                for carry in alike.ways_between(other.syntax, wire.syntax):
                    carried = alike.syntax(carry, other.syntax)
                    asked = frozenset() if carried is None else contacts_of(carried)
                    # nothing says that circuits are likes but that they are nearly the same; none of it may be left out
                    nearly = len(asked & mine) > 1 and len(asked - mine) <= 1 and len(mine - asked) <= 1
                    if carried is not None and nearly and len(asked) == its:
                        yield other, carried, carry.is_plain


_Image: TypeAlias = tuple[Hashable, str, Syntax]
"""How a part of a chain reads at a like place: the way there, what the place is called, the part."""


def like_parts(compiled: CompiledHold, alike: Alike, wires: Sequence[Wire]) -> Iterator[Remedy]:
    """What stands in an expression for like places and not for one: added, or in the place of what nearly reads so.

    Of all that is wanting for one place first each part, then all.
    """
    sorts = _sorts_of_contacts(compiled.hold)
    commands = [wire.syntax for wire in wires_of(compiled.hold) if isinstance(wire.meaning, Commanded)]
    running = set[str]().union(*(_controls_under(compiled.hold, one) for one in commands))
    for wire in wires:
        for way, chain in chains_in(wire.syntax):
            wanting: dict[Shape, _Wanting] = {}
            for family in (*_families(alike, sorts, chain), *_rows_of_controls(compiled.hold, running, chain)):
                present = {shape_of(part) for part in chain.args} & family.keys()
                like = tuple(family[shape][1] for shape in family if shape in present)
                others = [part for part in chain.args if shape_of(part) not in present]
                for shape, (place, _, part) in family.items():
                    votes = 2 * len(like) - len(family)
                    if shape not in present and (shape not in wanting or votes > wanting[shape].votes):
                        instead = next((one for one in others if _nearly(one, part)), None)
                        wanting[shape] = _Wanting(place, part, like, votes, instead)
            yield from (_with_parts(compiled, wire, way, chain, [one]) for one in wanting.values())
            for place in dict.fromkeys(one.place for one in wanting.values()):
                likely = [one for one in wanting.values() if one.place == place]
                if len(likely) > 1:
                    yield _with_parts(compiled, wire, way, chain, likely)


def _families(alike: Alike, sorts: Callable[[Syntax], object], chain: Chain) -> Iterator[Mapping[Shape, _Image]]:
    """Each part of a chain as it reads at like places, with where that is, if it is there for most; or for one of two.

    Turned round they are families of their own.
    """

    def stated(syntax: Syntax) -> tuple[object, ...]:
        found = (sorts(one) for _, one in contacts_in(syntax))
        return tuple(one if isinstance(one, tuple) else None for one in found)

    shapes = [shape_of(part) for part in chain.args]
    said = [stated(part) for part in chain.args]
    every, most = set(shapes), Counter(said)
    seen: set[Shape] = set()
    for part, mine, sort in zip(chain.args, shapes, said, strict=True):
        for images in alike.images(part) if mine not in seen else ():
            family: dict[Shape, _Image] = {}
            wanting = 0
            for way, cell, image in images:
                shape = shape_of(image)
                if shape not in family and stated(image) == sort:
                    family[shape] = way, cell, image
                    wanting += shape not in every
                    if wanting > most[sort]:
                        break
            else:
                seen |= family.keys()
                if 0 < 2 * wanting < len(family) or (wanting, len(family)) == (1, 2):
                    yield family


def _rows_of_controls(hold: Hold, running: Collection[str], chain: Chain) -> Iterator[Mapping[Shape, _Image]]:
    """What a chain asks of most controls of a kind, or of one of two, as it would be asked of each.

    Those that are `running` drives are of another kind than others.
    """
    controls = {control.id: control for control in hold.controls}
    asked: dict[tuple[str, bool, str | None, bool], dict[Shape, _Image]] = {}
    every = {shape_of(part) for part in chain.args}
    for part in chain.args:
        fact = asked_by(part)
        if not isinstance(fact, Fact) or fact.subject.parts[0] not in controls:
            continue
        mine = controls[fact.subject.parts[0]]
        is_asked = isinstance(part, Negation) == fact.negated
        family = asked.setdefault((mine.kind, mine.id in running, fact.state, is_asked), {})
        for control in hold.controls if not family else ():
            is_like = control.kind == mine.kind and (control.id in running) == (mine.id in running)
            if is_like and (fact.state in control.positions or fact.state not in mine.positions):
                other: Syntax = replace(fact, subject=_path(control.id, fact.span))
                other = replace(part, arg=other) if isinstance(part, Negation) else other
                family[shape_of(other)] = control.id, control.id, other
    for family in asked.values():
        wanting = len(family.keys() - every)
        if 0 < 2 * wanting < len(family) or (wanting, len(family)) == (1, 2):
            yield family


@frozen
class _Wanting:
    """A part that is not in a chain, though it is there for these `like` places, of which there are more by `votes`.

    `instead` is what is there and nearly reads so.
    """

    place: Hashable
    part: Syntax
    like: tuple[str, ...]
    votes: int
    instead: Syntax | None


def _nearly(one: Syntax, other: Syntax, shared: int = 2) -> bool:
    """But for a contact of each, or less, they ask for the same: for so much of it at least."""
    here, there = contacts_of(one), contacts_of(other)
    return len(here & there) >= shared and len(here - there) <= 1 and len(there - here) <= 1


def _with_parts(compiled: CompiledHold, wire: Wire, way: Way, chain: Chain, wanting: Sequence[_Wanting]) -> Remedy:
    """The expression with these parts in that chain."""
    for one in wanting:
        args = tuple(one.part if part is one.instead else part for part in chain.args)
        chain = replace(chain, args=args if one.instead is not None else (*args, one.part))
    is_likely = all(one.votes > 0 and len(one.like) > 1 for one in wanting)
    changed = with_contact(wire.syntax, way, chain)
    votes = EVEN + min(one.votes for one in wanting)
    remedy = _rewired(compiled, wire, changed, Likeliness.UNLIKE if is_likely else Likeliness.ODD, votes, None)

    def said() -> tuple[str, str]:
        like = wanting[0].like
        more = [f"{len(like) - MOST_NAMED} more"] if len(like) > MOST_NAMED else []
        beside = f"for {listed([*like[:MOST_NAMED], *more])}"
        texts = [f"'{print_syntax(one.part)}'" for one in wanting]
        if len(wanting) == 1 and (instead := wanting[0].instead) is not None:
            found, _ = difference_of(instead, wanting[0].part, reads=False)
            return f"{found} in '{print_syntax(instead)}'", f"it would be {texts[0]}, as it is {beside}"
        return f"does not ask for {listed(texts)}", f"it asks for as much {beside}"

    return replace(remedy, said=said)


def like_zones(compiled: CompiledHold, wires: Sequence[Wire]) -> Iterator[Remedy]:
    """What the drive power, or the command one way, of every other zone asks for and that of this one does not.

    Of several others also what this one asks for and none of them does.
    """
    groups: dict[object, list[Wire]] = {}
    for wire in wires_of(compiled.hold):
        match wire.meaning:
            case Told(_, "powered"):
                groups.setdefault("powered", []).append(wire)
            case Commanded(_, number, way):
                groups.setdefault((number, way), []).append(wire)
    for group in groups.values():
        for wire in group:
            others = [one for one in group if one is not wire]
            if wire not in wires or len(others) < (1 if isinstance(wire.meaning, Commanded) else 2):
                continue
            mine = contacts_of(wire.syntax)
            likely = Likeliness.UNLIKE if len(others) > 1 else Likeliness.ODD
            for _, contact in contacts_in(others[0].syntax):
                shape = shape_of(contact)
                if shape in mine or not all(shape in contacts_of(one.syntax) for one in others):
                    continue
                for at, own in contacts_in(wire.syntax):
                    if not any(shape_of(own) in contacts_of(one.syntax) for one in others):
                        changed = with_contact(wire.syntax, at, contact)
                        yield _rewired(compiled, wire, changed, likely, len(others), others[0])
                yield _rewired(compiled, wire, _asking_too(wire, contact), likely, len(others), others[0])
            for at, own in contacts_in(wire.syntax):
                if at and not any(shape_of(own) in contacts_of(one.syntax) for one in others):
                    yield _rewired(compiled, wire, without_contact(wire.syntax, at), Likeliness.ODD, 0, None)


def commands_by_no_lever(compiled: CompiledHold, wires: Sequence[Wire]) -> Iterator[Remedy]:
    """Commands that go by no control that springs back: with one that does, and by one that stays put as if it did."""
    hold = compiled.hold
    held = {control.id for control in hold.controls if control.is_held}
    idle: set[str] = set()
    for wire in wires:
        if not isinstance(wire.meaning, Commanded):
            continue
        names = _controls_under(hold, wire.syntax)
        if names & held:
            continue
        idle |= names
        for control in hold.controls:
            for position in control.positions if control.is_held else ():
                fact = Fact(_path(control.id, wire.span), position, False, wire.span)
                for contact in (fact, *_readers(hold, fact)):
                    yield _rewired(compiled, wire, _asking_too(wire, contact), Likeliness.ODD, 1, None)
    for control in hold.controls:
        if control.id in idle and len(control.positions) > 1 and control.kind != "access panel":
            changed = replace(control, kind="momentary switch", returns=control.starts[0])
            controls = tuple(changed if one is control else one for one in hold.controls)
            found = f"is a {control.kind}: it stays where it is put"
            beside = "a lever, a push button or a momentary switch springs back when a hand lets go of it"
            item = called(control.name, control.id)
            told = _saying(found, beside)
            make = partial(replace, hold, controls=controls)
            yield Remedy(control.id, item, control.span, told, Likeliness.ODD, 5, make, changed)


def _controls_under(hold: Hold, syntax: Syntax) -> set[str]:
    """The controls that an expression goes by, itself or through circuits and relays."""
    named = {one.id: (one.definition,) for one in hold.circuits} | {one.id: (one.sets,) for one in hold.relays}
    controls = {one.id for one in hold.controls}
    found: set[str] = set()
    seen: set[str] = set()
    waiting: list[Syntax] = [syntax]
    while waiting:
        for _, contact in contacts_in(waiting.pop()):
            fact = asked_by(contact)
            if isinstance(fact, Fact) and fact.subject.parts[0] not in seen:
                id = fact.subject.parts[0]
                seen.add(id)
                found |= {id} & controls
                waiting += named.get(id, ())
    return found


def _readers(hold: Hold, fact: Fact) -> Iterator[Syntax]:
    """Circuits that are no more than this fact."""
    for circuit in hold.circuits:
        if shape_of(circuit.definition) == shape_of(fact):
            yield Fact(_path(circuit.id, fact.span), None, False, fact.span)


def _asking_too(wire: Wire, contact: Syntax) -> Syntax:
    """The expression with the contact in series; the contact alone where it asks for none."""
    return flat(contact if isinstance(wire.syntax, Truth) else Chain("and", (wire.syntax, contact), wire.span))


def crossed_commands(compiled: CompiledHold, wires: Sequence[Wire]) -> Iterator[Remedy]:
    """Commands to run a zone to opposite sides, exchanged for each other."""
    hold = compiled.hold
    zones = {wire.meaning.subject.id for wire in wires if isinstance(wire.meaning, Commanded)}
    for zone in hold.zones:
        for at, command in enumerate(zone.commands if zone.id in zones else ()):
            runs = {way.value: when for way, when in command.runs}
            for one, other in (("fore", "aft"), ("left", "right")):
                if not runs.keys() >= {one, other}:
                    continue
                crossed: dict[str, Any] = {one: runs[other], other: runs[one]}
                changed = replace(command, **crossed)
                commands = (*zone.commands[:at], changed, *zone.commands[at + 1 :])
                exchanged = tuple(replace(own, commands=commands) if own is zone else own for own in hold.zones)
                yield Remedy(
                    zone.id,
                    called(zone.name, zone.id),
                    runs[one].span,
                    _saying(
                        f"runs {one} while '{print_syntax(runs[one])}', {other} while '{print_syntax(runs[other])}'",
                        "the two would be the other way about",
                    ),
                    Likeliness.ODD,
                    1,
                    partial(replace, hold, zones=exchanged),
                    (zone.id, changed),
                )


def unlike_opposites(compiled: CompiledHold, wires: Sequence[Wire]) -> Iterator[Remedy]:
    """Commands that but for a contact are what the opposite one is with two positions of a lever for one another."""
    hold = compiled.hold
    commands = {wire.meaning: wire for wire in wires_of(hold) if isinstance(wire.meaning, Commanded)}
    asked = {shape for wire in wires_of(hold) for shape in contacts_of(wire.syntax)}
    for wire in wires:
        if not isinstance(wire.meaning, Commanded):
            continue
        other = commands.get(replace(wire.meaning, way=wire.meaning.way.opposite))
        if other is None:
            continue
        levers = _controls_under(hold, other.syntax)
        pairs = [(one.id, pair) for one in hold.controls if one.id in levers for pair in combinations(one.positions, 2)]
        likes = [_with_circuits(hold, other.syntax, id, {one: two, two: one}) for id, (one, two) in pairs]
        if shape_of(wire.syntax) not in map(shape_of, likes):
            for like in likes:
                if like is not other.syntax and _nearly(like, wire.syntax, shared=0):
                    # of the two commands the likelier one is that which leaves something that nothing asks for
                    idle = asked.isdisjoint(contacts_of(like) - contacts_of(wire.syntax))
                    yield _rewired(compiled, wire, like, Likeliness.ODD, 4 + idle, other)


def _with_circuits(hold: Hold, syntax: Syntax, id: str, swap: Mapping[str, str]) -> Syntax:
    """The expression with these states of a control for one another, and the circuits that say so."""
    named = {shape_of(circuit.definition): circuit.id for circuit in hold.circuits}
    for way, contact in contacts_in(syntax):
        fact = asked_by(contact)
        for circuit in hold.circuits if isinstance(fact, Fact) else ():
            turned_to = _exchanged(circuit.definition, id, swap)
            instead = named.get(shape_of(turned_to)) if turned_to is not circuit.definition else None
            if isinstance(fact, Fact) and fact.subject.parts == (circuit.id,) and instead is not None:
                new: Syntax = replace(fact, subject=_path(instead, fact.span))
                syntax = with_contact(syntax, way, replace(contact, arg=new) if isinstance(contact, Negation) else new)
    return _exchanged(syntax, id, swap)


def wanting_inhibits(compiled: CompiledHold, alike: Alike) -> Iterator[Remedy]:
    """Inhibits that a zone, or a drive, has none of one way or any, though likes have them: all that are wanting."""
    hold = compiled.hold
    every = wires_of(hold)
    known = {wire.meaning for wire in every}
    wanting: dict[tuple[str, str], list[tuple[Wire, Syntax, Wire]]] = {}
    votes: Counter[tuple[str, str]] = Counter()
    for wire in wires_of(inhibits_written(hold)):
        if wire.meaning in known:
            continue
        likes: dict[Shape, list[tuple[Wire, Syntax]]] = {}
        for other, carried, _ in carried_wires(alike, wire, every):
            likes.setdefault(shape_of(carried), []).append((other, carried))
        if likes:
            found = max(likes.values(), key=len)
            whose = wire.meaning.subject.id, wire.meaning.bay if isinstance(wire.meaning, HeldBack) else ""
            wanting.setdefault(whose, []).append((wire, found[0][1], found[0][0]))
            votes[whose] += len(found)
    for (zone, bay), lacks in wanting.items():
        thing = compiled.world.things[zone]
        item = f"the drive under {bay} in {called(thing.phrase, zone)}" if bay else called(thing.phrase, zone)
        ways = [str(wire.meaning.way) for wire, _, _ in lacks if isinstance(wire.meaning, HeldBack | Told)]
        name, _ = name_of_wire(compiled, lacks[0][2].meaning)
        told = _saying(f"has no inhibit {listed(ways, 'or')}", f"{name} is '{print_syntax(lacks[0][2].syntax)}'")
        instead = tuple((wire.meaning, syntax) for wire, syntax, _ in lacks)
        make = partial(_with_all, hold, instead)
        span = next(one.span for one in hold.zones if one.id == zone)
        yield Remedy(zone, item, span, told, Likeliness.ODD, votes[zone, bay], make, instead)


def crossed_drives(compiled: CompiledHold, alike: Alike) -> Iterator[Remedy]:
    """Inhibits of two drives exchanged, where each of them begins with the bay of the other one."""
    held: dict[tuple[str, str], dict[HeldBack, Wire]] = {}
    for wire in wires_of(compiled.hold):
        if isinstance(wire.meaning, HeldBack):
            held.setdefault((wire.meaning.zone, wire.meaning.bay), {})[wire.meaning] = wire
    begin = {key: {alike.first_cell(wire.syntax) for wire in wires.values()} for key, wires in held.items()}
    for (zone, one), (its, other) in combinations(held, 2):
        here, there = held[zone, one], held[its, other]
        pairs = [(meaning, replace(meaning, bay=other)) for meaning in here]
        if (
            zone != its
            or {b for _, b in pairs} != there.keys()
            or (begin[zone, one], begin[its, other]) != ({other}, {one})
        ):
            continue
        instead = tuple((a, w) for m, n in pairs for a, w in ((m, there[n].syntax), (n, here[m].syntax)))
        item = f"the drive under {one} in {called(compiled.world.things[zone].phrase, zone)}"
        found = f"has, it seems, the inhibits of the drive under {other}, and that one has its own"
        told = _saying(found, "each of them begins with the bay of the other one")
        span = next(iter(here.values())).span
        yield Remedy(zone, item, span, told, Likeliness.ODD, 4, partial(_with_all, compiled.hold, instead), instead)


def crossed_doors(compiled: CompiledHold, wires: Sequence[Wire]) -> Iterator[Remedy]:
    """What opens a door and what closes it, exchanged for each other."""
    hold = compiled.hold
    ids = {wire.meaning.subject.id for wire in wires if wire.meaning.subject.sort is Sort.DOOR}
    for door in hold.doorways:
        if door.id in ids and shape_of(door.opens) != shape_of(door.closes):
            changed = replace(door, opens=door.closes, closes=door.opens)
            doors = tuple(changed if one is door else one for one in hold.doorways)
            found = f"opens while '{print_syntax(door.opens)}', closes while '{print_syntax(door.closes)}'"
            told = called(door.name, door.id), door.opens.span, _saying(found, "the two would be the other way about")
            make = partial(replace, hold, doorways=doors)
            yield Remedy(door.id, *told, Likeliness.ODD, 1, make, (door.id, changed))


def crossed_levers(compiled: CompiledHold, wires: Sequence[Wire]) -> Iterator[Remedy]:
    """Two contacts of a lever that runs several zones exchanged wherever they are wired."""
    hold = compiled.hold
    runs: dict[str, set[str]] = {}
    for wire in wires:
        if isinstance(wire.meaning, Commanded):
            for id in _controls_under(hold, wire.syntax):
                runs.setdefault(id, set()).add(wire.meaning.subject.id)
    for control in hold.controls:
        if not control.is_held or len(runs.get(control.id, ())) < 2:
            continue
        for one, other in combinations(control.positions, 2):
            swap = {one: other, other: one}
            every = [(wire, _exchanged(wire.syntax, control.id, swap)) for wire in wires_of(hold)]
            turned = tuple((wire.meaning, new) for wire, new in every if new is not wire.syntax)
            if len(turned) > 1:
                found = f"has '{one}' and '{other}' crossed, it seems, where it is wired"
                told = _saying(found, f"with '{one}' for '{other}' and the other way about in all that goes by it")
                item = called(control.name, control.id)
                make = partial(_with_all, hold, turned)
                yield Remedy(control.id, item, control.span, told, Likeliness.ODD, 2, make, turned)


def _with_all(hold: Hold, turned: Iterable[tuple[Meaning, Syntax]]) -> Hold:
    for meaning, syntax in turned:
        hold = rewired(hold, meaning, syntax)
    return hold


def _exchanged(syntax: Syntax, id: str, swap: Mapping[str, str]) -> Syntax:
    """The expression with these states of a thing for one another; itself where it names none."""
    match syntax:
        case Fact(subject, str(state)) if subject.parts == (id,) and state in swap:
            return replace(syntax, state=swap[state])
        case Negation(arg):
            turned = _exchanged(arg, id, swap)
            return syntax if turned is arg else replace(syntax, arg=turned)
        case Chain(_, args):
            parts = tuple(_exchanged(arg, id, swap) for arg in args)
            return (
                syntax if all(new is old for new, old in zip(parts, args, strict=True)) else replace(syntax, args=parts)
            )
    return syntax


def odd_sensors(compiled: CompiledHold, wires: Sequence[Wire]) -> Iterator[Remedy]:
    """Sensors that read nothing, the opposite of what their likes read, or what another one reads already."""
    hold = compiled.hold
    read = Counter(shape_of(sensor.reads) for sensor in hold.sensors)
    by_id: dict[str, Any] = {one.id: one for one in (*hold.devices, *hold.doorways)}
    bays = set(compiled.floor.bays)

    def sort(id: str) -> str:
        return "bay" if id in bays else getattr(by_id.get(id), "kind", "")

    states = {(sort(s.reads.subject.parts[0]), s.reads.state) for s in hold.sensors if isinstance(s.reads, Fact)}
    unread = [
        (id, state)
        for of, state in sorted(states, key=str)
        for id in (*compiled.floor.bays, *by_id)
        if of and sort(id) == of and ((id,), state, False) not in read
    ]
    for wire in wires:
        if wire.meaning.subject.sort is not Sort.SENSOR:
            continue
        syntax, others = wire.syntax, read[shape_of(wire.syntax)] - 1
        if isinstance(syntax, Fact) and not others:
            continue
        if isinstance(syntax, Negation):
            yield _rewired(compiled, wire, syntax.arg, Likeliness.ODD, 1, None)
        # what alone reads that something is not so is there for that, of this thing or of another
        alone = asked_by(syntax) if isinstance(syntax, Negation) and not others else None
        for id, state in unread:
            if isinstance(alone, Fact) and state != alone.state:
                continue
            fact = Fact(_path(id, syntax.span), state, False, syntax.span)
            likely = Likeliness.SET_ASIDE if isinstance(syntax, Truth) else Likeliness.ODD
            yield _rewired(compiled, wire, fact, likely, 1, None)


def _path(id: str, span: Span) -> Path:
    return Path((id,), (span,))


def contact_remedies(compiled: CompiledHold, wires: Sequence[Wire]) -> Iterator[Remedy]:
    """Each contact of these expressions turned round, left out, or exchanged for one like it.

    And each row of them in series where it is side by side, and the other way about.
    """
    stand_ins = _stand_ins(compiled.hold)
    idle = _idle_positions(compiled.hold)
    positions = {control.id: control.positions for control in compiled.hold.controls}
    for wire in wires:
        if isinstance(wire.syntax, Truth):
            continue
        for way, chain in chains_in(wire.syntax):
            joined = replace(chain, operator="or" if chain.operator == "and" else "and")
            # what a guess at a relay stops is not so easily seen, and there are few
            likely = Likeliness.ODD if wire.meaning.subject.sort is Sort.RELAY else Likeliness.CONTACT
            yield _rewired(compiled, wire, with_contact(wire.syntax, way, joined), likely, 2, None)
        for way, contact in contacts_in(wire.syntax):
            likely = Likeliness.OPPOSITE if _is_of_people(wire) else Likeliness.CONTACT
            yield _rewired(compiled, wire, with_contact(wire.syntax, way, turned(contact)), likely, 3, None)
            if way:
                yield _rewired(compiled, wire, without_contact(wire.syntax, way), Likeliness.LOOSER, 1, None)
            fact = asked_by(contact)
            if isinstance(wire.meaning, Commanded):
                for held in idle:
                    yield _rewired(compiled, wire, with_contact(wire.syntax, way, held), Likeliness.ODD, 4, None)
            if isinstance(fact, Fact) and fact.subject.parts[0] in positions:
                for position in positions[fact.subject.parts[0]]:
                    turned_to: Syntax = replace(fact, state=position)
                    if isinstance(contact, Negation):
                        turned_to = replace(contact, arg=turned_to)
                    if position != fact.state:
                        changed = with_contact(wire.syntax, way, turned_to)
                        yield _rewired(compiled, wire, changed, Likeliness.CONTACT, 4, None)
            if isinstance(fact, Fact) and not fact.subject.parts[1:]:
                for id in stand_ins.get((fact.subject.parts[0], fact.state), ()):
                    other: Syntax = replace(fact, subject=_path(id, fact.span))
                    if isinstance(contact, Negation):
                        other = replace(contact, arg=other)
                    changed = with_contact(wire.syntax, way, other)
                    yield _rewired(compiled, wire, changed, Likeliness.CONTACT, 2, None)


def lifted_contacts(compiled: CompiledHold, kept: Kept) -> Iterator[Remedy]:
    """A contact that keeps something from ever being, left out or turned round wherever its expression has it."""
    for wire in wires_of(compiled.hold):
        for way, contact in contacts_in(wire.syntax) if wire.meaning == kept.owner else ():
            fact = asked_by(contact)
            if isinstance(fact, Fact) and (".".join(fact.subject.parts), fact.state) == (kept.thing, kept.state):
                if way:
                    yield _rewired(compiled, wire, without_contact(wire.syntax, way), Likeliness.LOOSER, 1, None)
                other = with_contact(wire.syntax, way, turned(contact))
                yield _rewired(compiled, wire, other, Likeliness.CONTACT, 1, None)


def _is_of_people(wire: Wire) -> bool:
    """Whether it says when people can do something: work by hand, push, go from place to place."""
    match wire.meaning:
        case Told(Subject(Sort.HOLD | Sort.PERSON)) | Told(_, "pushing"):
            return True
    return False


def _idle_positions(hold: Hold) -> list[Fact]:
    """Positions to which controls are held and which no expression asks for, closed or open."""
    asked = {shape for wire in wires_of(hold) for shape in contacts_of(wire.syntax)}
    return [
        Fact(_path(control.id, control.span), position, False, control.span)
        for control in hold.controls
        if control.is_held
        for position in control.positions
        if position != control.returns
        if asked.isdisjoint(((control.id,), position, turned) for turned in (False, True))
    ]


def _stand_ins(hold: Hold) -> Mapping[tuple[str, str | None], tuple[str, ...]]:
    """For a contact those that it could have been mistaken for: of the same sort, in the same state."""
    groups: dict[tuple[object, ...], list[str]] = {}
    keys: dict[tuple[str, str | None], tuple[object, ...]] = {}
    for sensor in hold.sensors:
        read = sensor.reads.state if isinstance(sensor.reads, Fact) else None
        groups.setdefault(("sensor", read), []).append(sensor.id)
    for circuit in hold.circuits:
        groups.setdefault(("circuit", circuit.use), []).append(circuit.id)
    for control in hold.controls:
        for state in (*control.positions, *(("neutral",) if control.kind == "lever" else ())):
            groups.setdefault((control.kind, state), []).append(control.id)
    for relay in hold.relays:
        groups.setdefault(("relay",), []).append(relay.id)
    for key, ids in groups.items():
        told = str(key[1]) if key[0] not in ("sensor", "circuit", "relay") else None
        keys.update({(id, told): key for id in ids})
    return {one: tuple(id for id in groups[key] if id != one[0]) for one, key in keys.items()}


def tighter(compiled: CompiledHold, wires: Sequence[tuple[Wire, bool]], contacts: Sequence[Syntax]) -> Iterator[Remedy]:
    """Each of these expressions asking for a contact too; with `True`, it is one that inhibits, and gets it beside."""
    idle_ones = unused(compiled.hold)
    coils = {wire.meaning: contacts_of(wire.syntax) for wire, _ in wires if wire.meaning.subject.sort is Sort.RELAY}
    other_coil = {one: coils[two] for one in coils for two in coils if one != two and one.subject == two.subject}
    same = {shape_of(Fact(_path(s.id, s.span), None, False, s.span)): shape_of(s.reads) for s in compiled.hold.sensors}
    wired = {one.id for one in (*compiled.hold.sensors, *compiled.hold.circuits, *compiled.hold.relays)}

    def asks_wiring(syntax: Syntax) -> bool:
        facts = (asked_by(contact) for _, contact in contacts_in(syntax))
        return any(isinstance(fact, Fact) and fact.subject.parts[0] in wired for fact in facts)

    sorts = _sorts_of_contacts(compiled.hold)
    for wire, inhibits in wires:
        asked = contacts_of(wire.syntax)
        rows = Counter(sorts(one) for one in _row(wire.syntax, "or" if inhibits else "and"))
        # no contact keeps hands away, unless it is described that some do
        by_hand = _is_of_people(wire) and not asks_wiring(wire.syntax)
        known = {same.get(shape, shape) for shape in asked}
        for contact in contacts:
            if shape_of(contact) in asked or shape_of(contact, negated=True) in asked:
                continue
            if by_hand and asks_wiring(contact):
                continue
            if isinstance(contact, Chain):
                wanting = tuple(one for one in contact.args if same.get(shape_of(one), shape_of(one)) not in known)
                if inhibits or len(wanting) < 2:
                    continue
                contact = replace(contact, args=wanting)
            if isinstance(wire.syntax, Truth) and (inhibits or _holds_back(wire)):
                continue
            beside = flat(Chain("or", (wire.syntax, contact), wire.span))
            changed = beside if inhibits else _asking_too(wire, contact)
            fact = asked_by(contact)
            idle = isinstance(fact, Fact) and fact.subject.parts[0] in idle_ones
            opposite = shape_of(contact, negated=True) in other_coil.get(wire.meaning, ())
            odd = opposite or (isinstance(wire.syntax, Truth) and _needs_contacts(compiled.hold, wire))
            votes = idle + 2 * opposite + 2 * isinstance(contact, Chain) + (rows[sorts(contact)] > 1)
            yield _rewired(compiled, wire, changed, Likeliness.ODD if odd else Likeliness.TIGHTER, votes, None)


def _row(syntax: Syntax, operator: str) -> tuple[Syntax, ...]:
    """What stands side by side (`or`) or in series (`and`) in the whole of an expression."""
    whole = flat(syntax)
    return whole.args if isinstance(whole, Chain) and whole.operator == operator else ()


def _sorts_of_contacts(hold: Hold) -> Callable[[Syntax], object]:
    """Equal for contacts that ask for the same state of things of one kind, by sensors or not, as those of a row do."""
    kinds = {**{one.id: one.kind for one in hold.devices}, **{one.id: one.kind for one in hold.controls}}
    reads = {sensor.id: sensor.reads for sensor in hold.sensors}

    def sort(contact: Syntax) -> object:
        negated = isinstance(contact, Negation)
        fact = asked_by(contact)
        if isinstance(fact, Fact) and fact.state is None and isinstance(read := reads.get(fact.subject.parts[0]), Fact):
            negated, fact = negated != fact.negated, read
        if not isinstance(fact, Fact) or fact.state is None:
            return contact
        parts = fact.subject.parts
        return kinds.get(parts[0], len(parts)), fact.state, negated != fact.negated

    return sort


def oddness(hold: Hold, wire: Wire) -> int:
    """How odd a place for a condition it is: what is for one way stands at an inhibit, what is for all in a permit.

    Commands go by levers, as a rule, power by supplies and switches, and which station is in charge by selectors.
    """
    match wire.meaning:
        case Commanded() | Told(Subject(Sort.STATION)):
            return 3
        case Told(Subject(Sort.CIRCUIT, id)) if next(c.use for c in hold.circuits if c.id == id) in ("power", "logic"):
            return 2
    return 0 if _holds_back(wire) else 1


def _holds_back(wire: Wire) -> bool:
    return isinstance(wire.meaning, HeldBack) or (isinstance(wire.meaning, Told) and wire.meaning.what == "inhibited")


_BEFORE_A_STEP = {
    "opens": "unlatched",
    "latching_possible": "closed",
    "unlatching_possible": "unlocked",
    "locking_possible": "latched",
}
"""What a door is before it is opened, latched, unlatched, locked (common practice, no source)."""


def odd_door_steps(compiled: CompiledHold, wires: Sequence[Wire]) -> Iterator[Remedy]:
    """Steps of doors that do not ask for what a door is before them."""
    for wire in wires:
        match wire.meaning:
            case Told(Subject(Sort.DOOR, id), what) if _BEFORE_A_STEP.get(what) in compiled.world.things[id].states:
                fact = Fact(_path(id, wire.span), _BEFORE_A_STEP[what], False, wire.span)
                if shape_of(fact) not in contacts_of(wire.syntax):
                    asked = fact if isinstance(wire.syntax, Truth) else Chain("and", (wire.syntax, fact), wire.span)
                    yield _rewired(compiled, wire, flat(asked), Likeliness.ODD, 3, None)


def added_beside(compiled: CompiledHold, remedy: Remedy) -> Iterator[Remedy]:
    """Where a contact is asked for in the place of another: both, in series and side by side."""
    if remedy.wire is None:
        return
    wire, changed = remedy.wire
    here, there = dict(contacts_in(wire.syntax)), dict(contacts_in(changed))
    ways = [way for way in here if way in there and shape_of(here[way]) != shape_of(there[way])]
    if here.keys() != there.keys() or len(ways) != 1:
        return
    (way,) = ways
    if shape_of(here[way]) == shape_of(there[way], negated=True):
        return
    for operator in ("and", "or"):
        both = Chain(operator, (here[way], there[way]), wire.span)
        yield _rewired(compiled, wire, flat(with_contact(wire.syntax, way, both)), Likeliness.TIGHTER, 0, None)


def _needs_contacts(hold: Hold, wire: Wire) -> bool:
    """What is always so, or never, is odd for what it is."""
    powered = {door.id for door in hold.doorways if door.moved_by == "power"}
    match wire.meaning:
        case Told(subject, "opens" | "closes"):
            return subject.id in powered
        case Told(Subject(Sort.HOLD, "hand_work")):
            # nobody is in a hold whose doors are shut, unless it is said who is
            return bool(hold.doorways) and not hold.people
    return wire.meaning.subject.sort in (Sort.RELAY, Sort.CIRCUIT, Sort.ZONE)


def unused(hold: Hold) -> frozenset[str]:
    """Circuits, sensors and relays that nothing asks for, though others of their sort are asked for."""
    named = {
        contact.subject.parts[0]
        for wire in wires_of(hold)
        for _, found in contacts_in(wire.syntax)
        if isinstance(contact := asked_by(found), Fact)
    }
    shown = {circuit.id for circuit in hold.circuits if circuit.use == "indication"}
    return frozenset(one.id for one in (*hold.circuits, *hold.sensors, *hold.relays)) - named - shown


def every_contact(hold: Hold) -> tuple[Syntax, ...]:
    """Every contact that some expression of the hold uses, closed and open."""
    facts: dict[Shape, Syntax] = {}
    for wire in wires_of(hold):
        for _, contact in contacts_in(wire.syntax):
            fact = asked_by(contact)
            if not isinstance(fact, Truth):
                facts.setdefault(shape_of(fact), fact)
    for control in hold.controls:
        for state in control.positions:
            fact = Fact(_path(control.id, control.span), state, False, control.span)
            facts.setdefault(shape_of(fact), fact)
    return both_ways(facts.values())


def unused_contacts(hold: Hold) -> tuple[Syntax, ...]:
    """Those of circuits, sensors and relays that no expression of the hold uses."""
    spans = {one.id: one.span for one in (*hold.circuits, *hold.sensors, *hold.relays)}
    return both_ways([Fact(_path(id, spans[id]), None, False, spans[id]) for id in sorted(unused(hold))])


def facts_at_the_end(
    compiled: CompiledHold, ids: Iterable[str], memories: Iterable[Memory], span: Span
) -> Iterator[Fact]:
    """What is so, or is not, of devices around these bays and of what is remembered, as a switch there would see it."""
    read = {shape_of(sensor.reads) for sensor in compiled.hold.sensors}
    inside = {place.id for place in compiled.hold.places if place.bay is not None}
    going_in = {person.id for person in compiled.hold.people if not inside.isdisjoint(person.places)}
    for device in devices_near(compiled, ids):
        if device.fixed is None and not device.is_structure:
            yield Fact(_path(device.id, span), device.locking, False, span)
    for memory in memories:
        match memory:
            case Holding(cell):
                yield Fact(_path(cell, span), "occupied", False, span)
            case Crossing(face):
                sides = [side for side in compiled.floor.sides_of_face(face) if side[0] in compiled.floor.bays]
                facts = [Fact(Path(side, (span, span)), "crossed", False, span) for side in sides]
                # by that side of it which a sensor there looks at
                yield from [*(one for one in facts if shape_of(one) in read), *facts][:1]
            case Condition(Subject(Sort.PERSON, id)) if id in going_in:
                yield Fact(_path(id, span), "inside", False, span)
            case Condition(Subject(Sort.DOOR, id), aspect):
                states = {Aspect.LATCH: ("latched",), Aspect.LOCK: ("locked",)}.get(aspect, ("closed", "open"))
                yield from (Fact(_path(id, span), state, False, span) for state in states)


def as_read(hold: Hold, facts: Iterable[Fact]) -> tuple[Fact, ...]:
    """The same facts, as the sensors report them that there are."""
    sensors = {shape_of(sensor.reads): sensor.id for sensor in hold.sensors}
    found: dict[Shape, Fact] = {}
    for fact in facts:
        id = sensors.get(shape_of(fact))
        said = fact if id is None else Fact(_path(id, fact.span), None, False, fact.span)
        found.setdefault(shape_of(said), said)
    return tuple(found.values())


def all_together(hold: Hold, facts: Sequence[Fact], span: Span) -> Iterator[Syntax]:
    """Every device in its locking state, nothing half-way, nobody inside: of each sort all, where there are several."""
    devices = {device.id for device in hold.devices}
    locking = [fact for fact in facts if fact.subject.parts[0] in devices]
    parts: list[tuple[Syntax, ...]] = [as_read(hold, locking)]
    for state in ("crossed", "inside"):
        found = as_read(hold, [fact for fact in facts if fact.state == state])
        parts.append(tuple(turned(one) for one in found))
    yield from (Chain("and", some, span) for some in parts if len(some) > 1)


def both_ways(facts: Iterable[Syntax]) -> tuple[Syntax, ...]:
    return tuple(one for fact in facts for one in (fact, turned(fact)))


def _rewired(
    compiled: CompiledHold, wire: Wire, syntax: Syntax, likeliness: Likeliness, votes: int, like: Wire | None
) -> Remedy:
    item, id = name_of_wire(compiled, wire.meaning)

    def said() -> tuple[str, str]:
        found, beside = difference_of(wire.syntax, syntax, reads=wire.meaning.subject.sort is Sort.SENSOR)
        if like is not None:
            beside = f"{name_of_wire(compiled, like.meaning)[0]} is '{print_syntax(like.syntax)}'"
        return found, beside

    make = partial(rewired, compiled.hold, wire.meaning, syntax)
    return Remedy(id, item, wire.span, said, likeliness, votes, make, None, (wire, syntax))


def difference_of(old: Syntax, new: Syntax, reads: bool) -> tuple[str, str]:
    """What the old expression says that the new one does not, or lacks; and how the new one would read."""
    if reads:
        return f"reads '{print_syntax(old)}'", f"it would have to read '{print_syntax(new)}'"
    new = _plainer(new)
    before, after = _texts(old), _texts(new)
    has = listed([f"'{text}'" for shape, text in before.items() if shape not in after])
    lacks = listed([f"'{text}'" for shape, text in after.items() if shape not in before])
    would = f"it would be '{print_syntax(new)}'"
    if has and lacks:
        return f"asks for {has}, not for {lacks}", would
    if lacks:
        return f"does not ask for {lacks}", would
    if has:
        return f"asks for {has}", would
    return f"is '{print_syntax(old)}'", would


def _plainer(syntax: Syntax) -> Syntax:
    """The same without the truths in rows of contacts that make no difference there."""
    if not isinstance(syntax, Chain):
        return syntax
    args = tuple(map(_plainer, syntax.args))
    if syntax.operator != "implies":
        idle = syntax.operator == "and"
        args = tuple(one for one in args if not (isinstance(one, Truth) and one.value is idle)) or args[:1]
    return replace(syntax, args=args) if len(args) > 1 else args[0]


def _texts(syntax: Syntax) -> dict[Shape, str]:
    return {shape_of(contact): print_syntax(contact) for _, contact in contacts_in(syntax)}
