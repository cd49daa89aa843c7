"""What people could keep so that it is safe to go: each as what it forbids."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

from interlock.hold.compile.compiler import CompiledHold
from interlock.hold.kinds import DEVICE_KINDS, Working
from interlock.hold.language.syntax import Chain, Fact, Negation, Quantified, Syntax
from interlock.hold.origin import Aspect, Bring, Condition, Depart, Sort, Work
from interlock.kernel.expressions import FALSE, Expr, conj, neg
from interlock.kernel.limiting import Forbidding
from interlock.kernel.machine import Actor


class Kept(StrEnum):
    """What sort of limitation it is, the mildest first."""

    NOT_CARRIED = "kind of unit not carried there"
    EMPTY = "position kept empty"
    CHECKED = "device made sure of before a door is shut"
    KEPT_SO = "device kept in one state"
    NOT_WORKED = "device not worked"
    CONTROL_UNUSED = "control not used"
    ZONE_UNUSED = "drive zone not used"
    STATION_UNUSED = "station not used"
    DOOR_UNUSED = "doorway not used"


MILD = (Kept.NOT_CARRIED, Kept.EMPTY)
"""What only bears on where units are when a door is shut; all else is tried where that does not suffice."""

_MOMENTS = {Kept.KEPT_SO: "before anything is brought in or driven"} | dict.fromkeys(
    (Kept.NOT_CARRIED, Kept.EMPTY, Kept.CHECKED), "before a door is shut"
)


@dataclass(frozen=True, slots=True)
class Limitation:
    """Something that people keep: `order` tells them to, `of` is what it is about, something of the `thing`.

    `condition` is the same as the description language says it, for limits that speak of what is so when the doors are
    shut.
    """

    kept: Kept
    of: str
    order: str
    forbidding: tuple[Forbidding, ...]
    thing: str
    condition: str | None = None

    @property
    def moment(self) -> str:
        """When people see to it."""
        return _MOMENTS.get(self.kept, "at all times")

    @property
    def name(self) -> str:
        """Of its choice, unique in the hold."""
        return self.forbidding[0].name


def limitations_of(
    compiled: CompiledHold, inoperative: Sequence[str], sorts: Sequence[Kept] = tuple(Kept)
) -> tuple[Limitation, ...]:
    """All of these sorts that could be kept in a hold, the mildest first; nothing is asked of what is inoperative."""
    found = tuple(one for one in _limitations(compiled, frozenset(inoperative)) if one.kept in sorts)
    order = list(Kept)
    return tuple(sorted(found, key=lambda one: order.index(one.kept)))


def can_be_kept(limitations: Sequence[Limitation]) -> bool:
    """Whether nobody is told to keep one device in two ways.

    Of a smallest set that does, one is against the other: nothing could be brought or driven, and in no way at all.
    """
    kept = [one.thing for one in limitations if one.kept in (Kept.KEPT_SO, Kept.NOT_WORKED)]
    return len(kept) == len(set(kept))


def _limitations(compiled: CompiledHold, inoperative: frozenset[str]) -> Iterator[Limitation]:
    hold, world, origins = compiled.hold, compiled.world, compiled.origins
    shutting = frozenset(
        rule
        for rule, origin in origins.rules.items()
        if isinstance(origin.deed, Work)
        and origin.deed.of.subject.sort is Sort.DOOR
        and origin.deed.of.aspect is Aspect.POSITION
        and origin.deed.dest == "closed"
    )
    names = {unit.id: unit.name for unit in hold.units}
    for bay in compiled.floor.bays if shutting else ():
        states = world.things[bay].states
        # a unit that stopped half-way is in no bay yet, and no position that it reaches into is empty
        crossed = [world.sides[side].states["crossed"] for side in world.things[bay].parts["sides"]]
        empty = conj(states["empty"], *map(neg, crossed))
        order = f"keep bay {bay} empty when a door is shut, with nothing partly in it"
        condition = f"{bay} is empty and (every s in {bay}.sides: not s is crossed)"
        yield _limit(Kept.EMPTY, bay, order, shutting, empty, condition)
        kinds = [kind for kind in names if kind in states]
        for kind in kinds if len(kinds) > 1 else ():
            yield _limit(
                Kept.NOT_CARRIED,
                f"{bay}.{kind}",
                f"carry no {names[kind]} in bay {bay}: none is there when a door is shut",
                shutting,
                neg(states[kind]),
                f"not {bay} is {kind}",
            )
    works = {thing.id: _crew_work(compiled, thing.id) for thing in (*hold.devices, *hold.controls)}
    held = [one for one in hold.controls if one.is_held and one.fixed is None]
    for device in hold.devices:
        if device.locking is not None and device.fixed is None and device.id not in inoperative and shutting:
            so = world.things[device.id].states[device.locking]
            order = f"make sure that {device.name} is {device.locking} before a door is shut"
            condition = f"{device.id} is {device.locking}"
            yield _limit(Kept.CHECKED, device.id, order, shutting, so, condition)
    begins = frozenset(rule for rule, origin in origins.rules.items() if isinstance(origin.deed, Bring))
    begins |= {rule for control in held for rule, dest in works[control.id].items() if dest != "neutral"}
    for device in hold.devices:
        by_hand = DEVICE_KINDS[device.kind].working is Working.HAND
        for state in DEVICE_KINDS[device.kind].states if by_hand else ():
            if device.fixed is not None or device.id in inoperative:
                continue
            order = f"put {device.name} in the state {state} before a unit comes or is driven, and leave it so"
            leaving = frozenset(rule for rule, dest in works[device.id].items() if dest != state)
            kept = _limit(Kept.KEPT_SO, f"{device.id}.{state}", order, leaving, FALSE, thing=device.id)
            there = Forbidding(kept.name, begins, world.things[device.id].states[state])
            yield replace(kept, forbidding=(*kept.forbidding, there))
    for zone in hold.zones if len(hold.zones) > 1 else ():
        asked = {fact for command in zone.commands for _, when in command.runs for fact in _facts(when)}
        used = frozenset(
            rule for control in held for rule, dest in works[control.id].items() if (control.id, dest) in asked
        )
        if used:
            yield _limit(Kept.ZONE_UNUSED, zone.id, f"do not command the drives of {zone.name}", used, FALSE)
    for station in hold.stations if len(hold.stations) > 1 else ():
        others = {id for other in hold.stations if other is not station for id in other.controls}
        used = frozenset(rule for id in station.controls if id not in others for rule in works[id])
        if used:
            yield _limit(Kept.STATION_UNUSED, station.id, f"use no control at {station.name}", used, FALSE)
    for door in hold.doorways if len(hold.doorways) > 1 else ():
        used = frozenset(
            rule
            for rule, origin in origins.rules.items()
            if (isinstance(origin.deed, Bring) and origin.deed.door == door.id)
            or (isinstance(origin.deed, Depart) and door.id in origin.deed.move.doors)
            or _leaves_closed(origin.deed, door.id)
        )
        yield _limit(Kept.DOOR_UNUSED, door.id, f"do not use {door.name}", used, FALSE)
    for control in hold.controls:
        if control.is_held and control.fixed is None and control.id not in inoperative:
            used = frozenset(works[control.id])
            yield _limit(Kept.CONTROL_UNUSED, control.id, f"do not use {control.name}", used, FALSE)
    for device in hold.devices:
        by_hand = DEVICE_KINDS[device.kind].working is Working.HAND
        if by_hand and device.fixed is None and device.id not in inoperative:
            worked = frozenset(works[device.id])
            yield _limit(Kept.NOT_WORKED, device.id, f"do not work {device.name}: leave it as it is", worked, FALSE)


def _leaves_closed(deed: object, door: str) -> bool:
    return (
        isinstance(deed, Work)
        and deed.of == Condition(deed.of.subject, Aspect.POSITION)
        and deed.of.subject.id == door
        and deed.source == "closed"
    )


def _crew_work(compiled: CompiledHold, id: str) -> Mapping[str, str]:
    """The steps by which the crew works a thing, each with the state that it brings about."""
    machine, origins = compiled.machine, compiled.origins
    return {
        rule.name: deed.dest
        for rule in machine.rules
        if rule.actor is Actor.CREW
        and isinstance(deed := origins.deed_of(rule.name), Work)
        and deed.of.subject.id == id
    }


def _facts(syntax: Syntax) -> Iterator[tuple[str, str]]:
    """What an expression says to be in which state."""
    match syntax:
        case Fact(subject, str(state)):
            yield subject.parts[0], state
        case Negation(arg):
            yield from _facts(arg)
        case Chain(_, args):
            for arg in args:
                yield from _facts(arg)
        case Quantified(_, _, _, body):
            yield from _facts(body)


def _limit(
    kept: Kept,
    of: str,
    order: str,
    rules: frozenset[str],
    unless: Expr,
    condition: str | None = None,
    thing: str | None = None,
) -> Limitation:
    forbidding = (Forbidding(f"kept.{kept.name.lower()}.{of}", rules, unless),)
    return Limitation(kept, of, order, forbidding, of if thing is None else thing, condition)
