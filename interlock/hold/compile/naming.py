"""Everything in a hold by name: the stages that name it, one after the other, and what comes of them."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from graphlib import CycleError, TopologicalSorter
from types import MappingProxyType

from interlock.diagnostics.frozen import frozen
from interlock.diagnostics.spans import Diagnostic, Span
from interlock.hold.compile.contacts import failing_contacts
from interlock.hold.compile.described import Described
from interlock.hold.compile.electrics import electrics, people
from interlock.hold.compile.lowering import Lowering
from interlock.hold.compile.motion import loading, motion
from interlock.hold.compile.restraint import pressing, restraint
from interlock.hold.compile.symbols import NOTHING, Defined, Symbols
from interlock.hold.compile.things import controls, devices, doors, floor_things
from interlock.hold.compile.world import Thing, World
from interlock.hold.compile.zones import stations, zone_facts, zones
from interlock.hold.language.model import Hold
from interlock.hold.language.readable import Unread
from interlock.hold.origin import Sort
from interlock.kernel.expressions import TRUE, Expr, signals_of

STAGES: tuple[Callable[[Described, Symbols], Symbols], ...] = (
    floor_things,
    controls,
    devices,
    doors,
    electrics,
    people,
    stations,
    zones,
    restraint,
    pressing,
    loading,
    motion,
    zone_facts,
)
"""What names everything in a hold; each is told what those before it have named."""


@frozen
class NamedHold:
    """A description in which everything has its name and its definition."""

    described: Described
    symbols: Symbols
    world: World
    definitions: Mapping[str, Expr]
    faults: tuple[Diagnostic, ...]


def name_hold(described: Described, unread: Unread | None = None) -> NamedHold:
    """Names everything and defines it, without a word about what is `unread`.

    Raises UnsettledKind for a faulty declaration of a kind.
    """
    symbols = NOTHING
    for stage in STAGES:
        symbols = symbols.joined(stage(described, symbols))
    world = _world(described, symbols, unread)
    contacts = failing_contacts(described.hold, world, symbols)
    if contacts.symbols.acts:
        symbols = symbols.joined(contacts.symbols)
        world = _world(described, symbols, unread)
    lowering = Lowering(world)
    definitions: dict[str, Expr] = {}
    for name, one in symbols.signals.items():
        lowering.owner = one.meaning
        definitions[name] = (
            one.definition if isinstance(one, Defined) else one.definition(lowering.expression(one.syntax))
        )
    definitions.update(contacts.definitions)
    faults = (*lowering.faults, *contacts.faults, *_circular(described.hold, symbols, definitions))
    return NamedHold(described, symbols, world, MappingProxyType(definitions), faults)


def _world(described: Described, symbols: Symbols, unread: Unread | None) -> World:
    """All things with all that can be done to them, and the groups."""
    verbs: dict[str, dict[str, tuple[str, ...]]] = {}
    for act in symbols.acts:
        for id, verb in act.verbs:
            of_thing = verbs.setdefault(id, {})
            of_thing[verb] = (*of_thing.get(verb, ()), act.deed.name)
    things: dict[str, Thing] = {}
    sides: dict[str, Thing] = {}
    for id, thing in symbols.things.items():
        behind_a_dot = thing.sort in (Sort.SIDE_OF_BAY, Sort.DIRECTION_OF_BAY, Sort.DIRECTION_OF_ZONE)
        (sides if behind_a_dot else things)[id] = replace(thing, verbs={**thing.verbs, **verbs.get(id, {})})
    removed = {one.object: one.span for one in described.hold.changes if one.verb == "remove"}
    groups = {id: tuple(things[one] for one in ids if one in things) for id, ids in _groups(described, things)}
    return World(
        MappingProxyType(things), MappingProxyType(sides), MappingProxyType(groups), MappingProxyType(removed), unread
    )


def _groups(described: Described, things: Mapping[str, Thing]) -> Iterator[tuple[str, Sequence[str]]]:
    hold = described.hold
    yield "bays", described.floor.bays
    yield "units", [u.id for u in hold.units]
    yield "devices", [d.id for d in hold.devices]
    yield "movable_devices", [d.id for d in hold.devices if things[d.id].states["movable"] == TRUE]
    yield "deferred_devices", [d.id for d in hold.devices if d.deferred is not None]
    yield "doors", [d.id for d in hold.doorways]
    yield "doors_with_latch", [d.id for d in hold.doorways if d.latch and d.unlatch]
    yield "doors_with_lock", [d.id for d in hold.doorways if d.lock and d.unlock]
    yield "powered_doors", [d.id for d in hold.doorways if d.moved_by == "power"]
    yield "zones", [z.id for z in hold.zones]
    yield "contested_zones", [z.id for z in hold.zones if len({command.station for command in z.commands}) > 1]
    yield "stations", [s.id for s in hold.stations]
    yield "controls", [c.id for c in hold.controls]
    yield "levers", [c.id for c in hold.controls if c.kind == "lever"]
    yield "supplies", [s.id for s in hold.supplies]
    yield "sensors", [s.id for s in hold.sensors]
    yield "circuits", [c.id for c in hold.circuits]
    yield "indications", [c.id for c in hold.circuits if c.use == "indication"]
    yield "relays", [r.id for r in hold.relays]
    yield "people", [p.id for p in hold.people]
    for group in hold.groups:
        yield group.id, group.members


def _circular(hold: Hold, symbols: Symbols, definitions: Mapping[str, Expr]) -> Iterator[Diagnostic]:
    uses = {name: sorted(signals_of(expr)) for name, expr in definitions.items()}
    try:
        TopologicalSorter(uses).prepare()
        return
    except CycleError as error:
        circle = list(reversed(error.args[1][1:]))  # each is used by the one behind it; the first is the last again
    start = circle.index(min(circle))
    subjects = [symbols.signals[name].meaning.subject for name in circle[start:] + circle[:start]]
    names = list(dict.fromkeys(subject.id for subject in subjects))
    spans = {circuit.id: circuit.span for circuit in hold.circuits}
    spans |= {sensor.id: sensor.span for sensor in hold.sensors} | {device.id: device.span for device in hold.devices}
    span: Span = next((spans[name] for name in names if name in spans), hold.span)
    yield Diagnostic(
        "circular-circuit",
        span,
        "these define one another in a circle: " + " -> ".join([*names, names[0]]),
        "a definition that does not come back to itself; write a relay where memory is meant",
    )
