"""The things of a hold: their memory, their states, what the crew can do to them.

Everything is named by the description's path: variable `device.M3L.position`, signal `bay.3L.aft.restrained`.
Expressions of the description are only promised here (`Builder.promise`) and lowered once every name is known.
"""

from __future__ import annotations

from dataclasses import replace

from interlock.hold.compile.builder import (
    Builder,
    add_actions,
    add_states,
    covered,
    face_phrase,
    faces_of,
    fails,
    failure_memory,
    own_drafts,
    part_phrase,
    position,
    start_states,
)
from interlock.hold.compile.components import compose
from interlock.hold.compile.electrics import add_electrics, add_people
from interlock.hold.compile.lowering import Thing
from interlock.hold.floor import Cell, Face, lain_on_by
from interlock.hold.kinds import DEVICE_KINDS, DOOR_KINDS, control_kind, latch_kind, lock_kind
from interlock.hold.language.model import Control, Device, Direction, DoorStep, Doorway
from interlock.hold.origin import (
    EMPTY,
    NOBODY,
    Aspect,
    Condition,
    Crossing,
    Fact,
    Holding,
    Sort,
    Subject,
    standing,
)
from interlock.kernel.expressions import FALSE, TRUE, Expr, Is, Value, conj, disj, neg, one_of


def build(builder: Builder, situation: str | None) -> None:
    """All things of the hold but the motion of units and what depends on it."""
    hold = builder.hold
    if situation is not None:
        chosen = {entry.id: entry for entry in hold.situations}[situation]
        for id, state, _ in chosen.sets:
            builder.sets.setdefault(id, []).append(state)
    builder.hand_work = builder.promise(
        Fact(Subject(Sort.HOLD, "hand_work")),
        hold.layout.hand_work,
        "hand-worked devices in the hold can be reached",
        "hand-worked devices in the hold cannot be reached",
    )
    for door in hold.doorways:
        builder.thing(door.id, Sort.DOOR, door.name)
    _cells(builder)
    _faces(builder)
    for control in hold.controls:
        _control(builder, control)
    for device in hold.devices:
        _device(builder, device)
    for door in hold.doorways:
        _door(builder, door)
    add_electrics(builder)
    add_people(builder)


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
    at_start: dict[str, Value] = {}
    for cell in floor.bays:
        for kind in builder.sets.get(cell, ()):
            for placement in floor.placements:
                if placement.kind == kind and placement.cells[0] == cell:
                    at_start.update(standing(placement))
    for cell, parts in builder.holdings.items():
        phrase = builder.bay_phrase(cell)
        says: dict[Value, str] = {EMPTY: f"{phrase} is empty" if cell in floor.bays else f"{phrase} holds nothing"}
        says.update({part: f"{phrase} holds {part_phrase(builder, part)}" for part in parts})
        memory = Holding(cell)
        builder.remember(memory, (EMPTY, *parts), (at_start.get(memory.name, EMPTY),), says)
    for cell in builder.holdings:
        if cell not in floor.bays:
            outside = builder.thing(cell, Sort.LOADER_PLACE, builder.bay_phrase(cell))
            outside.states["occupied"] = builder.occupied(cell)
            outside.states["empty"] = neg(builder.occupied(cell))
    kinds = {unit.id: builder.thing(unit.id, Sort.KIND_OF_UNIT, unit.name) for unit in builder.hold.units}
    for cell in floor.bays:
        thing = builder.thing(cell, Sort.BAY, f"bay {cell}")
        # motion adds its rules; where nothing moves a unit there are none, but they can be asked for
        thing.verbs.update({"enter": [], "leave": []})
        thing.states["occupied"] = builder.occupied(cell)
        thing.states["empty"] = neg(builder.occupied(cell))
        for unit in builder.hold.units:
            parts = tuple(p for p in builder.holdings.get(cell, ()) if floor.parts[p].unit == unit.id)
            thing.states[unit.id] = one_of(Holding(cell).name, parts)
        thing.parts["kinds"] = tuple(kinds[id] for id in kinds if thing.states[id] != FALSE)
    for id in kinds:
        bays = [builder.world.things[cell] for cell in floor.bays]
        kinds[id].parts["bays"] = tuple(bay for bay in bays if bay.states[id] != FALSE)


def _faces(builder: Builder) -> None:
    floor = builder.floor
    for face, parts in builder.crossings.items():
        where = face_phrase(builder, face)
        says: dict[Value, str] = {NOBODY: f"nothing is on its way over {where}"}
        says.update({part: f"{part_phrase(builder, part)} is on its way over {where}" for part in parts})
        builder.remember(Crossing(face), (NOBODY, *parts), (NOBODY,), says)
    covers: dict[Face, list[Expr]] = {}
    for placement in floor.placements:
        for face in sorted(lain_on_by(floor, placement)):
            covers.setdefault(face, []).append(builder.holds(placement))
    for move in floor.moves:
        for face in move.lain_on:
            first, part = move.crossed[0]
            covers.setdefault(face, []).append(Is(Crossing(first).name, part))
    for face in sorted({*builder.crossings, *covers}):
        expr = disj(builder.crossed(face), *covers.get(face, ()))
        where = face_phrase(builder, face)
        builder.define(covered(face), expr, f"a unit is over {where}", f"no unit is over {where}")


def _control(builder: Builder, control: Control) -> None:
    sort = Sort.LEVER if control.kind == "lever" else Sort.CONTROL
    thing = builder.thing(control.id, sort, control.name)
    of = position(sort, control.id)
    kind = control_kind(control.kind, control.positions or ("off", "on"))
    levers = [c for c in builder.hold.controls if c.behind == control.id and c.kind == "lever"]
    meaning: dict[str, Expr] = {
        "in_use": disj(*(neg(Is(position(Sort.LEVER, c.id).name, "neutral")) for c in levers if c.fixed is None)),
        "covered": FALSE,
    }
    if control.kind == "self-resetting handle":
        faces = [f for d in builder.hold.devices if d.handle == control.id for f in faces_of(builder, d)]
        over = disj(*(builder.covered(face) for face in dict.fromkeys(faces)))
        meaning["covered"] = builder.signal(
            Fact(of.subject, "covered"),
            over,
            f"a unit is over the locks of {control.name}",
            f"no unit is over the locks of {control.name}",
        )
    starts = start_states(builder, control.id, control.starts, kind.states)
    component = compose(of.name, kind, meaning, starts, False, control.fixed)
    add_states(builder, thing, of, component)
    panel = {c.id: c for c in builder.hold.controls}.get(control.behind or "")
    behind: Expr = TRUE
    if panel is not None:
        behind = (
            Is(position(Sort.CONTROL, panel.id).name, "open")
            if panel.fixed is None
            else (TRUE if panel.fixed == "open" else FALSE)
        )
    failed = failure_memory(builder, thing, "stuck", f"{control.name} sticks")
    builder.urgent.update(own_drafts(of, component))
    reachable: Expr = TRUE
    if control.reachable is not None:
        reachable = builder.promise(
            Fact(of.subject, "reachable"),
            control.reachable,
            f"{control.name} can be reached",
            f"{control.name} cannot be reached",
        )
    kept = conj(behind, reachable, builder.reach(control.id), neg(failed))
    if control.kind == "lever":
        # letting go needs no reach: the spring does it
        release = tuple(action for action in component.actions if action.trigger == "release")
        freed = replace(component, actions=release)
        held = replace(component, actions=tuple(action for action in component.actions if action not in release))
        add_actions(builder, thing, of, kind, held, kept)
        add_actions(builder, thing, of, kind, freed, neg(failed))
        thing.states["held"] = neg(thing.states["neutral"])
    else:
        add_actions(builder, thing, of, kind, component, kept, neg(failed))
    builder.components[control.id] = component


def _device(builder: Builder, device: Device) -> None:
    thing = builder.thing(device.id, Sort.DEVICE, device.name)
    kind = DEVICE_KINDS[device.kind]
    of = position(Sort.DEVICE, device.id)
    faces = faces_of(builder, device)
    over = disj(*(builder.covered(face) for face in faces))
    meaning: dict[str, Expr] = {
        "covered": over
        if len(faces) == 1
        else builder.signal(
            Fact(of.subject, "covered"), over, f"a unit is over {device.name}", f"no unit is over {device.name}"
        )
    }
    if device.circuit is not None:
        meaning["energised"] = builder.promise(
            Fact(of.subject, "energised"),
            device.circuit,
            f"{device.name} is energised",
            f"{device.name} is not energised",
        )
    if device.handle is not None and device.handle in builder.components:
        handle = builder.components[device.handle]
        meaning["handle_pulled"] = neg(handle.states.get("normal", TRUE))
    # where these are missing or wrong the checks say so; the rest of the description is still read
    meaning.setdefault("energised", FALSE)
    meaning.setdefault("handle_pulled", FALSE)
    # a spring that can stick must remember where it stuck; while it works it settles at once all the same
    sticks = fails(builder, device.id, "stuck")
    starts = start_states(builder, device.id, device.starts, kind.states)
    component = compose(of.name, kind, meaning, starts, device.lags or sticks, device.fixed)
    if not device.lags:
        builder.urgent.update(own_drafts(of, component))
    add_states(builder, thing, of, component)
    failed = failure_memory(builder, thing, "stuck", f"{device.name} sticks where it is")
    add_actions(
        builder,
        thing,
        of,
        kind,
        component,
        conj(builder.hand_work, builder.reach(device.id), neg(failed)),
        neg(failed),
    )
    states = thing.states
    stands = builder.signal(
        Fact(of.subject, "standing"),
        disj(*(states[state] for state in kind.standing)),
        f"{device.name} stands above the floor",
        f"{device.name} is down",
    )
    if kind.standing == ("raised",):
        stands = states["raised"]
    states["standing"] = stands
    states["locking"] = states.get(device.locking, FALSE)
    states["covered"] = over
    states["movable"] = TRUE if len(kind.states) > 1 and device.fixed is None else FALSE
    states["hand_worked"] = TRUE if kind.is_hand_worked else FALSE
    if device.deferred is not None:
        states["within_limit"] = builder.promise(
            Fact(of.subject, "within_limit"),
            device.deferred.limit,
            f"the limit for deferred {device.name} is kept",
            f"the limit for deferred {device.name} is not kept",
        )
    states["deferred"] = TRUE if device.deferred is not None else FALSE
    builder.components[device.id] = component


def _door(builder: Builder, door: Doorway) -> None:
    thing = builder.world.things[door.id]
    subject = Subject(Sort.DOOR, door.id)
    opens = builder.promise(
        Fact(subject, "opens"), door.opens, f"{door.name} is free to open", f"{door.name} is not free to open"
    )
    closes = builder.promise(
        Fact(subject, "closes"), door.closes, f"{door.name} is free to close", f"{door.name} is not free to close"
    )
    if door.moved_by == "power":
        for name, towards in ((Fact(subject, "opens").name, "open"), (Fact(subject, "closes").name, "closed")):
            if name in builder.phrases:
                builder.phrases[name] = (
                    f"the drive of {door.name} runs towards {towards}",
                    f"the drive of {door.name} does not run towards {towards}",
                )
    where, latch, lock = (Condition(subject, aspect) for aspect in (Aspect.POSITION, Aspect.LATCH, Aspect.LOCK))
    latched: Expr = FALSE
    shut = Is(where.name, "closed")
    if door.latch is not None and door.unlatch is not None:
        latched = Is(latch.name, "latched")
    reach = builder.reach(door.id)
    kind = DOOR_KINDS[door.moved_by]
    meaning = {"drive_opens": opens, "drive_closes": closes, "latched": latched}
    usual = _usual_starts(builder, door)
    starts = start_states(builder, door.id, usual, kind.states)
    component = compose(where.name, kind, meaning, starts, False, None)
    add_states(builder, thing, where, component)
    add_actions(builder, thing, where, kind, component, reach)
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
        starts = start_states(builder, door.id, usual, kind.states)
        component = compose(latch.name, kind, meaning, starts, False, None)
        add_states(builder, thing, latch, component)
        add_actions(builder, thing, latch, kind, component, reach)
    if door.lock is not None and door.unlock is not None:
        kind = lock_kind(door.lock.by, door.unlock.by)
        meaning = {
            "locking_possible": _door_step(builder, door, "locking", door.lock),
            "unlocking_possible": _door_step(builder, door, "unlocking", door.unlock),
        }
        starts = start_states(builder, door.id, usual, kind.states)
        component = compose(lock.name, kind, meaning, starts, False, None)
        add_states(builder, thing, lock, component)
        add_actions(builder, thing, lock, kind, component, reach)
    states = thing.states
    opening = conj(opens, neg(states["open"]))
    closing = conj(closes, neg(states["closed"]))
    if door.moved_by == "hand":
        opening = closing = states["moving"]
    states["driven_open"] = builder.signal(
        Fact(subject, "driven_open"),
        opening,
        f"{door.name} is being driven open",
        f"{door.name} is not being driven open",
    )
    states["driven_closed"] = builder.signal(
        Fact(subject, "driven_closed"),
        closing,
        f"{door.name} is being driven closed",
        f"{door.name} is not being driven closed",
    )
    states["driven"] = builder.signal(
        Fact(subject, "driven"),
        disj(states["driven_open"], states["driven_closed"]),
        f"{door.name} is being driven",
        f"{door.name} is not being driven",
    )
    sill = [builder.floor.face(bay, door.side) for bay in door.bays if bay in builder.floor.cells]
    over = disj(*(builder.covered(face) for face in sill))
    blocking = builder.signal(
        Fact(subject, "sill_covered"),
        over,
        f"a unit is over the sill of {door.name}",
        f"no unit is over the sill of {door.name}",
    )
    states["sill_covered"], states["sill_clear"] = blocking, neg(blocking)
    devices = {device.id: device for device in builder.hold.devices}
    on_sill = [d for d in devices if set(faces_of(builder, devices[d])) & set(sill)]
    thing.parts["sill_devices"] = tuple(builder.world.things[d] for d in on_sill)
    blocked = []
    for obstacle in door.path:
        device_states = builder.world.things[obstacle.device].states if obstacle.device in builder.world.things else {}
        if obstacle.state in device_states:
            blocked.append(device_states[obstacle.state])
    states["path_blocked"] = builder.signal(
        Fact(subject, "path_blocked"),
        disj(*blocked),
        f"something stands in the way of {door.name}",
        f"nothing stands in the way of {door.name}",
    )
    states["path_clear"] = neg(states["path_blocked"])
    thing.parts["bays"] = tuple(builder.world.things[bay] for bay in door.bays if bay in builder.world.things)


def _door_step(builder: Builder, door: Doorway, word: str, step: DoorStep) -> Expr:
    return builder.promise(
        Fact(Subject(Sort.DOOR, door.id), f"{word}_possible"),
        step.when,
        f"{word} of {door.name} is possible",
        f"{word} of {door.name} is not possible",
    )


def side_thing(builder: Builder, cell: Cell, direction: Direction) -> Thing:
    """The thing that `3L.aft` names; made without states."""
    bay = builder.world.things[cell.id]
    side = Thing(f"{cell.id}.{direction}", Sort.SIDE_OF_BAY, f"the {direction} side of bay {cell.id}")
    bay.parts[direction.value] = side
    face = builder.floor.face(cell.id, direction)
    side.parts["devices"] = tuple(builder.world.things[device.id] for device in builder.devices_on.get(face, ()))
    other = builder.floor.neighbour(cell.id, direction)
    if other in builder.world.things:
        side.parts["beyond"] = builder.world.things[other]
    return side
