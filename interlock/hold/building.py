"""The things of a hold: their memory, their states, what the crew can do to them.

Everything is named by the description's path: variable `device.M3L.position`, signal `bay.3L.aft.restrained`.
Expressions of the description are only promised here (`Builder.promise`) and lowered once every name is known.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace

from interlock.hold.components import Component, compose
from interlock.hold.kinds import (
    BY_ITSELF,
    DEVICE_KINDS,
    DOOR_KINDS,
    RELAY,
    SUPPLY,
    Kind,
    control_kind,
    latch_kind,
    lock_kind,
)
from interlock.hold.layout import Cell, Floor, Placement, lain_on_by
from interlock.hold.lowering import Lowering, Thing, World
from interlock.hold.model import Control, Device, Direction, DoorStep, Doorway, Hold
from interlock.hold.settling import Draft
from interlock.hold.syntax import Syntax, Truth
from interlock.kernel.expressions import FALSE, TRUE, Const, Expr, Is, Ref, Value, conj, disj, neg, one_of
from interlock.kernel.machine import Actor, Variable

EMPTY = "empty"
NOBODY = "none"


class Builder:
    """Collects variables, signals, drafts and things; `building`, `motion` and the compiler fill it."""

    def __init__(self, hold: Hold, floor: Floor) -> None:
        self.hold = hold
        self.floor = floor
        self.world = World()
        self.lowering = Lowering(self.world)
        self.variables: dict[str, Variable] = {}
        self.signals: dict[str, Expr] = {}
        self.promised: dict[str, Syntax] = {}
        self.phrases: dict[str, tuple[str, str]] = {}
        self.values: dict[tuple[str, Value], str] = {}
        self.drafts: list[Draft] = []
        self.urgent: set[str] = set()
        self.start: Expr = TRUE
        self.sets: dict[str, list[str]] = {}
        self.units = {unit.id: unit for unit in hold.units}
        self.components: dict[str, Component] = {}
        self.crossings = _crossing_parts(floor)
        self.holdings = _holding_parts(floor)
        self.hand_work: Expr = TRUE

    def define(self, name: str, definition: Expr) -> None:
        """Gives a signal its meaning."""
        self.signals[name] = definition

    def signal(self, name: str, definition: Expr, yes: str, no: str) -> Expr:
        """A named expression with its two sentences; atoms and constants stay what they are."""
        if isinstance(definition, Const | Is):
            return definition
        self.define(name, definition)
        self.phrases[name] = (yes, no)
        return Ref(name)

    def promise(self, name: str, syntax: Syntax, yes: str, no: str) -> Expr:
        """A signal whose definition is lowered later."""
        if isinstance(syntax, Truth):
            return TRUE if syntax.value else FALSE
        self.promised[name] = syntax
        self.signals[name] = FALSE
        self.phrases[name] = (yes, no)
        return Ref(name)

    def remember(
        self, name: str, values: tuple[Value, ...], starts: Iterable[Value], says: Mapping[Value, str]
    ) -> None:
        """A variable with a sentence for each value."""
        self.variables[name] = Variable(name, values, tuple(starts))
        self.values.update({(name, value): text for value, text in says.items()})

    def draft(
        self, name: str, actor: Actor, guard: Expr, updates: Mapping[str, Value], text: str, *tags: tuple[Thing, str]
    ) -> None:
        """A rule before settling; `tags` say which verb it is of which thing.  A guard that is false adds nothing."""
        if guard == FALSE:
            return
        self.drafts.append(Draft(name, actor, guard, dict(updates), text))
        for thing, verb in tags:
            thing.verbs.setdefault(verb, []).append(name)

    def thing(self, id: str, sort: str, phrase: str) -> Thing:
        """A new thing that expressions can name."""
        made = Thing(id, sort, phrase)
        self.world.things[id] = made
        return made

    def holds(self, placement: Placement) -> Expr:
        """A unit stands there; one part in its cell says it all."""
        return Is(f"bay.{placement.cells[0]}.holds", placement.parts[0])

    def occupied(self, cell: str) -> Expr:
        """Some unit or part of one stands in the cell."""
        if cell not in self.holdings:
            return FALSE
        return neg(Is(f"bay.{cell}.holds", EMPTY))

    def crossed(self, face: str) -> Expr:
        """A unit is on its way over the face."""
        if face not in self.crossings:
            return FALSE
        return neg(Is(f"face.{face}.crossing", NOBODY))

    def covered(self, face: str) -> Expr:
        """A unit is over the face, on its way or at rest."""
        return Ref(f"face.{face}.covered") if f"face.{face}.covered" in self.signals else self.crossed(face)

    def reach(self, id: str) -> Expr:
        """Somebody can reach the thing; true where nobody's reach is declared for it."""
        places = {place.id for place in self.hold.places if id in place.reaches}
        if not places or not self.hold.people:
            return TRUE
        return disj(
            *(
                one_of(f"person.{person.id}.at", [place for place in person.places if place in places])
                for person in self.hold.people
            )
        )

    def bay_phrase(self, cell: str) -> str:
        """How a sentence names a cell."""
        found = self.floor.cells[cell]
        if found.door is None:
            return f"bay {cell}"
        return f"the loader at {self.world.things[found.door].phrase}"


def _crossing_parts(floor: Floor) -> dict[str, tuple[str, ...]]:
    parts: dict[str, dict[str, None]] = {}
    for move in floor.moves:
        for face, part in move.crossed:
            parts.setdefault(face, {})[part] = None
    return {face: tuple(sorted(found)) for face, found in sorted(parts.items())}


def _holding_parts(floor: Floor) -> dict[str, tuple[str, ...]]:
    parts: dict[str, dict[str, None]] = {}
    for placement in floor.placements:
        for cell, part in zip(placement.cells, placement.parts, strict=True):
            parts.setdefault(cell, {})[part] = None
    return {cell: tuple(sorted(parts[cell])) for cell in floor.cells if cell in parts}


def build(builder: Builder, situation: str | None) -> None:
    """All things of the hold but the motion of units and what depends on it."""
    hold = builder.hold
    if situation is not None:
        chosen = {entry.id: entry for entry in hold.situations}[situation]
        for id, state, _ in chosen.sets:
            builder.sets.setdefault(id, []).append(state)
    builder.hand_work = builder.promise(
        "hold.hand_work",
        hold.layout.hand_work,
        "hand-worked devices in the hold can be reached",
        "hand-worked devices in the hold cannot be reached",
    )
    for door in hold.doorways:
        builder.thing(door.id, "door", door.name)
    _cells(builder)
    _faces(builder)
    for control in hold.controls:
        _control(builder, control)
    for device in hold.devices:
        _device(builder, device)
    for door in hold.doorways:
        _door(builder, door)
    _electrics(builder)
    _people(builder)


def _starts(builder: Builder, id: str, starts: tuple[str, ...], states: tuple[str, ...]) -> tuple[str, ...]:
    """The start states among `states`: those of the chosen situation, else those given, else the first."""
    told = tuple(state for state in builder.sets.get(id, ()) if state in states)
    return told or tuple(state for state in starts if state in states) or states[:1]


def _usual_starts(builder: Builder, door: Doorway) -> tuple[str, ...]:
    """What holds of a door at the start, less what the chosen situation rules out without saying so.

    A door that a situation starts off closed is not latched, one that it starts unlatched not locked.
    """
    told = builder.sets.get(door.id, [])
    gone: set[str] = set()
    if told and "closed" not in told and ("open" in told or "moving" in told):
        gone = {"latched", "locked"}
    elif "unlatched" in told and "latched" not in told:
        gone = {"locked"}
    return tuple(state for state in door.starts if state not in gone)


def _cells(builder: Builder) -> None:
    floor = builder.floor
    standing: dict[str, str] = {}
    for cell in floor.bays:
        for kind in builder.sets.get(cell, ()):
            for placement in floor.placements:
                if placement.kind == kind and placement.cells[0] == cell:
                    standing.update(zip(placement.cells, placement.parts, strict=True))
    for cell, parts in builder.holdings.items():
        phrase = builder.bay_phrase(cell)
        says: dict[Value, str] = {EMPTY: f"{phrase} is empty" if cell in floor.bays else f"{phrase} holds nothing"}
        says.update({part: f"{phrase} holds {_part_phrase(builder, part)}" for part in parts})
        builder.remember(f"bay.{cell}.holds", (EMPTY, *parts), (standing.get(cell, EMPTY),), says)
    for cell in builder.holdings:
        if cell not in floor.bays:
            outside = builder.thing(cell, "loader place", builder.bay_phrase(cell))
            outside.states["occupied"] = builder.occupied(cell)
            outside.states["empty"] = neg(builder.occupied(cell))
    for cell in floor.bays:
        thing = builder.thing(cell, "bay", f"bay {cell}")
        thing.states["occupied"] = builder.occupied(cell)
        thing.states["empty"] = neg(builder.occupied(cell))
        for unit in builder.hold.units:
            parts = tuple(p for p in builder.holdings.get(cell, ()) if _kind_of(builder, p) == unit.id)
            thing.states[unit.id] = one_of(f"bay.{cell}.holds", parts)


def _kind_of(builder: Builder, part: str) -> str:
    return next(
        unit for unit in sorted(builder.units, key=len, reverse=True) if part == unit or part.startswith(unit + "_")
    )


def _part_phrase(builder: Builder, part: str) -> str:
    unit = builder.units[_kind_of(builder, part)]
    rest = part.removeprefix(unit.id).strip("_").replace("_", " ")
    return f"the {rest} part of a {unit.name}" if rest else f"a {unit.name}"


def face_phrase(builder: Builder, face: str) -> str:
    """How a sentence names a face: its sill, its devices, or the border between its cells."""
    sides = builder.floor.sides_of_face(face)
    doors = [cell.door for cell in (builder.floor.cells[name] for name, _ in sides) if cell.door]
    if doors and len(sides) == 2 and len(doors) == 1:
        return f"the sill of {builder.world.things[doors[0]].phrase}"
    devices = [device.name for device in builder.hold.devices if face in faces_of(builder, device)]
    if devices:
        return " and ".join(devices)
    if len(doors) == 2:
        return builder.bay_phrase(sides[0][0])
    if len(sides) == 2:
        return f"the line between {builder.bay_phrase(sides[0][0])} and {builder.bay_phrase(sides[1][0])}"
    return f"the {sides[0][1]} edge of {builder.bay_phrase(sides[0][0])}"


def _faces(builder: Builder) -> None:
    floor = builder.floor
    for face, parts in builder.crossings.items():
        where = face_phrase(builder, face)
        says: dict[Value, str] = {NOBODY: f"nothing is on its way over {where}"}
        says.update({part: f"{_part_phrase(builder, part)} is on its way over {where}" for part in parts})
        builder.remember(f"face.{face}.crossing", (NOBODY, *parts), (NOBODY,), says)
    covers: dict[str, list[Expr]] = {}
    for placement in floor.placements:
        for face in sorted(lain_on_by(floor, placement)):
            covers.setdefault(face, []).append(builder.holds(placement))
    for move in floor.moves:
        for face in move.lain_on:
            first, part = move.crossed[0]
            covers.setdefault(face, []).append(Is(f"face.{first}.crossing", part))
    for face in sorted({*builder.crossings, *covers}):
        expr = disj(builder.crossed(face), *covers.get(face, ()))
        where = face_phrase(builder, face)
        builder.define(f"face.{face}.covered", expr)
        builder.phrases[f"face.{face}.covered"] = (f"a unit is over {where}", f"no unit is over {where}")


def faces_of(builder: Builder, device: Device) -> tuple[str, ...]:
    return tuple(dict.fromkeys(builder.floor.face(side.bay, side.direction) for side in device.on))


def _act(
    builder: Builder, thing: Thing, path: str, kind: Kind, component: Component, reach: Expr, plant: Expr = TRUE
) -> None:
    """The drafts of one component: crew steps need `reach`, others `plant`."""
    for action in component.actions:
        trigger = kind.triggers[action.trigger]
        crew = trigger.actor is Actor.CREW
        guard = conj(action.guard, reach if crew else plant)
        name = f"{path}.{action.trigger}"
        if sum(a.trigger == action.trigger for a in component.actions) > 1:
            name += f".{action.source}.{action.dest}"
        text = trigger.order.format(name=thing.phrase)
        if action.trigger == BY_ITSELF:
            text = f"{thing.phrase} goes to {action.dest.replace('_', ' ')} by itself"
        tags = [(thing, action.trigger)]
        if "_" in action.trigger and action.trigger != BY_ITSELF:
            tags.append((thing, action.trigger.split("_")[0]))
        builder.draft(name, trigger.actor, guard, dict(action.updates), text, *tags)


def _states(builder: Builder, thing: Thing, path: str, component: Component) -> None:
    for state, expr in component.states.items():
        word = state.replace("_", " ")
        thing.states[state] = builder.signal(
            f"{path}.{state}", expr, f"{thing.phrase} is {word}", f"{thing.phrase} is not {word}"
        )
    if component.variable is not None:
        says: dict[Value, str] = {
            value: f"{thing.phrase} is {_class_phrase(component, value)}" for value in component.values
        }
        builder.remember(component.variable, component.values, component.starts, says)


def _class_phrase(component: Component, value: str) -> str:
    return value.replace("_", " ")


def _control(builder: Builder, control: Control) -> None:
    thing = builder.thing(control.id, "lever" if control.kind == "lever" else "control", control.name)
    kind = control_kind(control.kind, control.positions or ("off", "on"))
    levers = [c for c in builder.hold.controls if c.behind == control.id and c.kind == "lever"]
    meaning: dict[str, Expr] = {
        "in_use": disj(*(neg(Is(f"control.{c.id}.position", "neutral")) for c in levers if c.fixed is None)),
        "covered": FALSE,
    }
    if control.kind == "self-resetting handle":
        faces = [f for d in builder.hold.devices if d.handle == control.id for f in faces_of(builder, d)]
        covered = disj(*(builder.covered(face) for face in dict.fromkeys(faces)))
        meaning["covered"] = builder.signal(
            f"control.{control.id}.covered",
            covered,
            f"a unit is over the locks of {control.name}",
            f"no unit is over the locks of {control.name}",
        )
    path = f"control.{control.id}"
    starts = _starts(builder, control.id, control.starts, kind.states)
    component = compose(f"{path}.position", kind, meaning, starts, False, control.fixed)
    _states(builder, thing, path, component)
    panel = {c.id: c for c in builder.hold.controls}.get(control.behind or "")
    behind: Expr = TRUE
    if panel is not None:
        behind = (
            Is(f"control.{panel.id}.position", "open")
            if panel.fixed is None
            else (TRUE if panel.fixed == "open" else FALSE)
        )
    failed = _failure(builder, thing, "stuck", f"{control.name} sticks")
    builder.urgent.update(_own_drafts(path, component))
    reachable: Expr = TRUE
    if control.reachable is not None:
        reachable = builder.promise(
            f"{path}.reachable",
            control.reachable,
            f"{control.name} can be reached",
            f"{control.name} cannot be reached",
        )
    kept = conj(behind, reachable, builder.reach(control.id), neg(failed))
    if control.kind == "lever":
        # letting go needs no reach: the spring does it
        component_release = [a for a in component.actions if a.trigger == "release"]
        held = Component(
            component.variable,
            component.values,
            component.starts,
            component.states,
            tuple(a for a in component.actions if a.trigger != "release"),
        )
        freed = Component(
            component.variable, component.values, component.starts, component.states, tuple(component_release)
        )
        _act(builder, thing, path, kind, held, kept)
        _act(builder, thing, path, kind, freed, neg(failed))
        thing.states["held"] = neg(thing.states["neutral"])
    else:
        _act(builder, thing, path, kind, component, kept, neg(failed))
    builder.components[control.id] = component


def _own_drafts(path: str, component: Component) -> list[str]:
    """The names of what a component with memory does by itself, as `_act` gives them."""
    own = [action for action in component.actions if action.trigger == BY_ITSELF]
    if len(own) == 1:
        return [f"{path}.{BY_ITSELF}"]
    return [f"{path}.{BY_ITSELF}.{action.source}.{action.dest}" for action in own]


def _fails(builder: Builder, id: str, mode: str) -> bool:
    return any(failure.of == id and failure.mode == mode for failure in builder.hold.failures)


def _failure(builder: Builder, thing: Thing, mode: str, text: str) -> Expr:
    """The memory of a declared failure: it may strike, once and for good; `false` where it is not declared."""
    if not _fails(builder, thing.id, mode):
        return FALSE
    name = f"failure.{thing.id}.{mode}"
    builder.remember(name, (False, True), (False,), {True: text, False: f"{thing.phrase} works"})
    struck = Is(name, True)
    builder.draft(name, Actor.FAILURE, neg(struck), {name: True}, text, (thing, f"fail_{mode}"), (thing, "fail"))
    return struck


def _device(builder: Builder, device: Device) -> None:
    thing = builder.thing(device.id, "device", device.name)
    kind = DEVICE_KINDS[device.kind]
    path = f"device.{device.id}"
    faces = faces_of(builder, device)
    covered = disj(*(builder.covered(face) for face in faces))
    meaning: dict[str, Expr] = {
        "covered": covered
        if len(faces) == 1
        else builder.signal(
            f"{path}.covered", covered, f"a unit is over {device.name}", f"no unit is over {device.name}"
        )
    }
    if device.circuit is not None:
        meaning["energised"] = builder.promise(
            f"{path}.energised", device.circuit, f"{device.name} is energised", f"{device.name} is not energised"
        )
    if device.handle is not None and device.handle in builder.components:
        handle = builder.components[device.handle]
        meaning["handle_pulled"] = neg(handle.states.get("normal", TRUE))
    # where these are missing or wrong the checks say so; the rest of the description is still read
    meaning.setdefault("energised", FALSE)
    meaning.setdefault("handle_pulled", FALSE)
    # a spring that can stick must remember where it stuck; while it works it settles at once all the same
    sticks = _fails(builder, device.id, "stuck")
    starts = _starts(builder, device.id, device.starts, kind.states)
    component = compose(f"{path}.position", kind, meaning, starts, device.lags or sticks, device.fixed)
    if not device.lags:
        builder.urgent.update(_own_drafts(path, component))
    _states(builder, thing, path, component)
    failed = _failure(builder, thing, "stuck", f"{device.name} sticks where it is")
    _act(
        builder,
        thing,
        path,
        kind,
        component,
        conj(builder.hand_work, builder.reach(device.id), neg(failed)),
        neg(failed),
    )
    states = thing.states
    standing = builder.signal(
        f"{path}.standing",
        disj(*(states[state] for state in kind.standing)),
        f"{device.name} stands above the floor",
        f"{device.name} is down",
    )
    if kind.standing == ("raised",):
        standing = states["raised"]
    states["standing"] = standing
    states["locking"] = states.get(device.locking, FALSE)
    states["covered"] = covered
    states["movable"] = TRUE if len(kind.states) > 1 and device.fixed is None else FALSE
    states["hand_worked"] = TRUE if any(t.actor is Actor.CREW for t in kind.triggers.values()) else FALSE
    if device.deferred is not None:
        states["within_limit"] = builder.promise(
            f"{path}.within_limit",
            device.deferred.limit,
            f"the limit for deferred {device.name} is kept",
            f"the limit for deferred {device.name} is not kept",
        )
    states["deferred"] = TRUE if device.deferred is not None else FALSE
    builder.components[device.id] = component


def _door(builder: Builder, door: Doorway) -> None:
    thing = builder.world.things[door.id]
    path = f"door.{door.id}"
    opens = builder.promise(
        f"{path}.opens", door.opens, f"{door.name} is free to open", f"{door.name} is not free to open"
    )
    closes = builder.promise(
        f"{path}.closes", door.closes, f"{door.name} is free to close", f"{door.name} is not free to close"
    )
    if door.moved_by == "power":
        for name, towards in ((f"{path}.opens", "open"), (f"{path}.closes", "closed")):
            if name in builder.phrases:
                builder.phrases[name] = (
                    f"the drive of {door.name} runs towards {towards}",
                    f"the drive of {door.name} does not run towards {towards}",
                )
    latched: Expr = FALSE
    shut = Is(f"{path}.position", "closed")
    if door.latch is not None and door.unlatch is not None:
        latched = Is(f"{path}.latch", "latched")
    reach = builder.reach(door.id)
    position = DOOR_KINDS[door.moved_by]
    meaning = {"drive_opens": opens, "drive_closes": closes, "latched": latched}
    usual = _usual_starts(builder, door)
    starts = _starts(builder, door.id, usual, position.states)
    component = compose(f"{path}.position", position, meaning, starts, False, None)
    _states(builder, thing, path, component)
    _act(builder, thing, path, position, component, reach)
    for word in ("start_opening", "finish_opening", "start_closing", "finish_closing"):
        for name in thing.verbs.get(word, ()):
            thing.verbs.setdefault("move", []).append(name)
    if door.latch is not None and door.unlatch is not None:
        kind = latch_kind(door.latch.by, door.unlatch.by)
        meaning = {
            "shut": shut,
            "latching_possible": _door_step(builder, door, "latching", door.latch),
            "unlatching_possible": _door_step(builder, door, "unlatching", door.unlatch),
        }
        starts = _starts(builder, door.id, usual, kind.states)
        component = compose(f"{path}.latch", kind, meaning, starts, False, None)
        _states(builder, thing, f"{path}.latch", component)
        _act(builder, thing, f"{path}.latch", kind, component, reach)
    if door.lock is not None and door.unlock is not None:
        kind = lock_kind(door.lock.by, door.unlock.by)
        meaning = {
            "locking_possible": _door_step(builder, door, "locking", door.lock),
            "unlocking_possible": _door_step(builder, door, "unlocking", door.unlock),
        }
        starts = _starts(builder, door.id, usual, kind.states)
        component = compose(f"{path}.lock", kind, meaning, starts, False, None)
        _states(builder, thing, f"{path}.lock", component)
        _act(builder, thing, f"{path}.lock", kind, component, reach)
    states = thing.states
    opening = conj(opens, neg(states["open"]))
    closing = conj(closes, neg(states["closed"]))
    if door.moved_by == "hand":
        opening = closing = states["moving"]
    states["driven_open"] = builder.signal(
        f"{path}.driven_open", opening, f"{door.name} is being driven open", f"{door.name} is not being driven open"
    )
    states["driven_closed"] = builder.signal(
        f"{path}.driven_closed",
        closing,
        f"{door.name} is being driven closed",
        f"{door.name} is not being driven closed",
    )
    states["driven"] = builder.signal(
        f"{path}.driven",
        disj(states["driven_open"], states["driven_closed"]),
        f"{door.name} is being driven",
        f"{door.name} is not being driven",
    )
    sill = [builder.floor.face(bay, door.side) for bay in door.bays if bay in builder.floor.cells]
    over = disj(*(builder.covered(face) for face in sill))
    covered = builder.signal(
        f"{path}.sill_covered",
        over,
        f"a unit is over the sill of {door.name}",
        f"no unit is over the sill of {door.name}",
    )
    states["sill_covered"], states["sill_clear"] = covered, neg(covered)
    devices = {device.id: device for device in builder.hold.devices}
    on_sill = [d for d in devices if set(faces_of(builder, devices[d])) & set(sill)]
    thing.parts["sill_devices"] = tuple(builder.world.things[d] for d in on_sill)
    blocked = []
    for id, state in door.path:
        if id in builder.world.things and state in builder.world.things[id].states:
            blocked.append(builder.world.things[id].states[state])
    states["path_blocked"] = builder.signal(
        f"{path}.path_blocked",
        disj(*blocked),
        f"something stands in the way of {door.name}",
        f"nothing stands in the way of {door.name}",
    )
    states["path_clear"] = neg(states["path_blocked"])
    thing.parts["bays"] = tuple(builder.world.things[bay] for bay in door.bays if bay in builder.world.things)


def _door_step(builder: Builder, door: Doorway, word: str, step: DoorStep) -> Expr:
    return builder.promise(
        f"door.{door.id}.{word}_possible",
        step.when,
        f"{word} of {door.name} is possible",
        f"{word} of {door.name} is not possible",
    )


def _electrics(builder: Builder) -> None:
    hold = builder.hold
    for supply in hold.supplies:
        thing = builder.thing(supply.id, "supply", supply.name)
        path = f"supply.{supply.id}"
        starts = _starts(builder, supply.id, supply.starts, SUPPLY.states)
        steady = not supply.may_be_lost
        component = compose(
            f"{path}.state", SUPPLY, {}, starts, False, starts[0] if steady and not starts[1:] else None
        )
        if steady:
            component = replace(component, actions=())
        _states(builder, thing, path, component)
        _act(builder, thing, path, SUPPLY, component, TRUE)
    for sensor in hold.sensors:
        thing = builder.thing(sensor.id, "sensor", sensor.name)
        path = f"sensor.{sensor.id}"
        read = builder.promise(f"{path}.read", sensor.reads, f"{sensor.name} sees it", f"{sensor.name} does not see it")
        true = _failure(builder, thing, "stuck_true", f"{sensor.name} sticks at true")
        false = _failure(builder, thing, "stuck_false", f"{sensor.name} sticks at false")
        inverted = _failure(builder, thing, "inverted", f"{sensor.name} reads the opposite")
        honest = read if inverted == FALSE else disj(conj(read, neg(inverted)), conj(neg(read), inverted))
        reading = conj(disj(honest, true), neg(false))
        _truth(builder, thing, path, reading, f"{sensor.name} reports true", f"{sensor.name} reports false")
    for relay in hold.relays:
        thing = builder.thing(relay.id, "relay", relay.name)
        path = f"relay.{relay.id}"
        meaning = {
            "sets": builder.promise(
                f"{path}.sets", relay.sets, f"{relay.name} is made to set", f"nothing sets {relay.name}"
            ),
            "drops": builder.promise(
                f"{path}.drops", relay.drops, f"{relay.name} is made to drop", f"nothing drops {relay.name}"
            ),
        }
        starts = _starts(builder, relay.id, relay.starts, RELAY.states)
        component = compose(f"{path}.state", RELAY, meaning, starts, False, None)
        _states(builder, thing, path, component)
        _act(builder, thing, path, RELAY, component, TRUE)
        builder.urgent.update(_own_drafts(path, component))
        thing.truth = thing.states["set"]
        thing.states["on"], thing.states["off"] = thing.states["set"], thing.states["dropped"]
    for circuit in hold.circuits:
        thing = builder.thing(circuit.id, "circuit", circuit.name)
        name = f"circuit.{circuit.id}"
        expr = builder.promise(name, circuit.definition, f"{circuit.name} is on", f"{circuit.name} is off")
        _truth(builder, thing, name, expr, f"{circuit.name} is on", f"{circuit.name} is off")


def _truth(builder: Builder, thing: Thing, path: str, expr: Expr, yes: str, no: str) -> None:
    thing.truth = expr if isinstance(expr, Ref) and expr.signal == path else builder.signal(path, expr, yes, no)
    thing.states["on"], thing.states["off"] = thing.truth, neg(thing.truth)


def _people(builder: Builder) -> None:
    places = {place.id: place for place in builder.hold.places}
    for person in builder.hold.people:
        thing = builder.thing(person.id, "person", person.name)
        variable = f"person.{person.id}.at"
        says: dict[Value, str] = {p: f"{person.name} is {places[p].name}" for p in person.places}
        starts = _starts(builder, person.id, person.starts, person.places)
        builder.remember(variable, person.places, starts, says)
        moves = builder.promise(
            f"person.{person.id}.moves",
            person.moves,
            f"{person.name} can come and go",
            f"{person.name} cannot come and go",
        )
        for place in person.places:
            thing.states[place] = Is(variable, place)
        inside = [p for p in person.places if places[p].bay is not None]
        thing.states["inside"] = one_of(variable, inside)
        for source in person.places:
            for dest in person.places:
                if source == dest:
                    continue
                bay = places[dest].bay
                free = TRUE if bay is None else neg(builder.occupied(bay))
                builder.draft(
                    f"person.{person.id}.go.{source}.{dest}",
                    Actor.CREW,
                    conj(Is(variable, source), moves, free),
                    {variable: dest},
                    f"{person.name} goes, and is then {places[dest].name}",
                    (thing, "go"),
                    (thing, f"go_{dest}"),
                )
    for cell in builder.floor.bays:
        manned = [
            one_of(f"person.{person.id}.at", [p for p in person.places if places[p].bay == cell])
            for person in builder.hold.people
        ]
        builder.world.things[cell].states["manned"] = disj(*manned)


def side_thing(builder: Builder, cell: Cell, direction: Direction) -> Thing:
    """The thing that `3L.aft` names; made without states."""
    bay = builder.world.things[cell.id]
    side = Thing(f"{cell.id}.{direction}", "side of a bay", f"the {direction} side of bay {cell.id}")
    bay.parts[direction.value] = side
    face = builder.floor.face(cell.id, direction)
    side.parts["devices"] = tuple(
        builder.world.things[device.id] for device in builder.hold.devices if face in faces_of(builder, device)
    )
    other = builder.floor.neighbour(cell.id, direction)
    if other in builder.world.things:
        side.parts["beyond"] = builder.world.things[other]
    return side
