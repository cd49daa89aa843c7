"""The things of a hold but those that electricity makes: cells and faces, controls, devices and doors.

Everything is named by the description's path: variable `device.M3L.position`, signal `bay.3L.aft.restrained`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from interlock.diagnostics.said import say, say_both
from interlock.hold.compile.components import compose
from interlock.hold.compile.described import Described, covered, position
from interlock.hold.compile.levers import states_in
from interlock.hold.compile.symbols import Additions, Symbols, promised, told
from interlock.hold.compile.world import Thing
from interlock.hold.kinds import DEVICE_KINDS, DOOR_KINDS, HELD, Kind, Verb, latch_kind, lock_kind
from interlock.hold.language.model import Control, Device, DoorStep, Doorway
from interlock.hold.origin import (
    EMPTY,
    NOBODY,
    Aspect,
    Condition,
    Cover,
    Crossing,
    Fact,
    Fixed,
    Holding,
    Meaning,
    Sort,
    Subject,
    standing,
)
from interlock.kernel.expressions import FALSE, TRUE, Expr, Is, Value, conj, disj, neg, one_of

HAND_WORK = Fact(Subject(Sort.HOLD, "hand_work"))
"""That hand-worked devices can be reached at all."""


def floor_things(described: Described, known: Symbols) -> Symbols:
    """The doors by name, the places on the loader, the kinds of unit, the bays; what crosses which face."""
    made = Additions(described.eased)
    hold = described.hold
    made.promise(
        HAND_WORK,
        hold.layout.hand_work,
        (
            say("hand-worked devices in the hold can be reached"),
            say("hand-worked devices in the hold cannot be reached"),
        ),
    )
    for door in hold.doorways:
        made.name(_door_thing(door))
    for cause in hold.common_causes:
        made.fails(described.may_strike.get(cause.id, ()))
        made.name(Thing(cause.id, Sort.COMMON_CAUSE, cause.name))
    _cells(described, made)
    for face, parts in described.crossings.items():
        where = described.face_phrase(face)
        says: dict[Value, str] = {NOBODY: say("nothing is on its way over {where}", where=where)}
        says.update(
            {
                part: say(
                    "{part_phrase} is on its way over {where}", part_phrase=described.part_phrase(part), where=where
                )
                for part in parts
            }
        )
        made.remember(Crossing(face), (NOBODY, *parts), (NOBODY,), says)
    for face in sorted({*described.crossings, *described.lying}):
        over = disj(described.crossed(face), *described.lying.get(face, ()))
        where = described.face_phrase(face)
        made.define(
            covered(face),
            over,
            (say_both("a unit is over {where}", "no unit is over {where}", where=where)),
        )
    return made.symbols()


def _cells(described: Described, made: Additions) -> None:
    floor = described.floor
    at_start: dict[str, Value] = {}
    for placement in floor.placements:
        if placement.kind in described.told.get(placement.cells[0], ()) and placement.cells[0] in floor.bays:
            at_start.update(standing(placement))
    for cell, parts in described.holdings.items():
        phrase = described.bay_phrase(cell)
        says: dict[Value, str] = {
            EMPTY: say("{phrase} is empty", phrase=phrase)
            if cell in floor.bays
            else say("{phrase} holds nothing", phrase=phrase)
        }
        says.update(
            {
                part: say("{phrase} holds {part_phrase}", phrase=phrase, part_phrase=described.part_phrase(part))
                for part in parts
            }
        )
        memory = Holding(cell)
        made.remember(memory, (EMPTY, *parts), (at_start.get(memory.name, EMPTY),), says)
    for cell in described.holdings:
        if cell not in floor.bays:
            made.name(Thing(cell, Sort.LOADER_PLACE, described.bay_phrase(cell)), _taken(described, cell))
    kinds = [unit.id for unit in described.hold.units]
    held: dict[str, dict[str, Expr]] = {}
    for cell in floor.bays:
        parts = described.holdings.get(cell, ())
        found = {kind: [part for part in parts if floor.parts[part].unit == kind] for kind in kinds}
        held[cell] = {kind: one_of(Holding(cell).name, tuple(those)) for kind, those in found.items()}
    for unit in described.hold.units:
        bays = tuple(cell for cell in floor.bays if held[cell][unit.id] != FALSE)
        made.name(Thing(unit.id, Sort.KIND_OF_UNIT, unit.name), parts={"bays": bays})
    for cell in floor.bays:
        made.fails(described.may_strike.get(cell, ()))
        made.name(
            Thing(cell, Sort.BAY, say("bay {cell}", cell=cell)),
            {**_taken(described, cell), **held[cell]},
            {"kinds": tuple(kind for kind in kinds if held[cell][kind] != FALSE)},
            # motion adds its rules; where nothing moves a unit there are none, but they can be asked for
            verbs=("enter", "leave"),
        )


def _taken(described: Described, cell: str) -> dict[str, Expr]:
    return {"occupied": described.occupied(cell), "empty": neg(described.occupied(cell))}


def controls(described: Described, known: Symbols) -> Symbols:
    """What hands work to give commands, and the panels before them."""
    made = Additions(described.eased)
    for control in described.hold.controls:
        _control(described, made, control)
    return made.symbols()


def _control(described: Described, made: Additions, control: Control) -> None:
    hold = described.hold
    thing = Thing(control.id, Sort(control.kind) if control.is_held else Sort.CONTROL, control.name)
    of = position(thing.sort, control.id)
    kind = control.behaviour
    held_here = [c for c in hold.controls if c.behind == control.id and c.is_held and c.fixed is None]
    meaning: dict[str, Expr] = {
        "in_use": disj(*(neg(let_go(c)) for c in held_here)),
        "covered": FALSE,
    }
    if control.kind == "self-resetting handle":
        faces = [face for device in hold.devices if device.handle == control.id for face in described.faces_of(device)]
        meaning["covered"] = made.signal(
            Fact(of.subject, "covered"),
            disj(*(described.covered(face) for face in dict.fromkeys(faces))),
            say_both(
                "a unit is over the locks of {control}",
                "no unit is over the locks of {control}",
                control=control.name,
            ),
        )
    starts = described.starts_of(control.id, control.starts, kind.states)
    component = compose(of.name, kind, meaning, starts, False, control.fixed)
    states = made.states(of, control.name, component, kind)
    made.fails(described.may_strike.get(control.id, ()))
    works = neg(described.struck(control.id, "stuck"))
    reachable: Expr = TRUE
    if control.reachable is not None:
        can_be = say_both("{control} can be reached", "{control} cannot be reached", control=control.name)
        reachable = made.promise(Fact(of.subject, "reachable"), control.reachable, can_be)
    kept = conj(_uncovered(described, control), reachable, described.reach(control.id), works)
    if control.is_held:
        # letting go needs no reach: the spring does it
        springs = (Verb.RELEASE, Verb.LET)
        release = tuple(action for action in component.actions if kind.triggers[action.trigger].verb in springs)
        held = tuple(action for action in component.actions if action not in release)
        made.work(thing, of, kind, replace(component, actions=held), kept)
        made.work(thing, of, kind, replace(component, actions=release), works)
        states = _held_states(control, states)
        # where its spring is broken no hand need be on it
        states[HELD] = conj(states[HELD], neg(described.struck(control.id, "spring_broken")))
    else:
        made.work(thing, of, kind, component, kept, works)
    together = described.struck(control.id, "contacts_together")
    away = [state for state in states if state != HELD and not (control.is_held and state == kind.initial)]
    made.name(thing, states, seen={(None, state): disj(states[state], together) for state in away})


def _held_states(control: Control, states: Mapping[str, Expr]) -> dict[str, Expr]:
    """What can be said of a control that springs back: its positions, whether it is pressed, whether it is held."""
    if not control.can_be_pressed:
        return {**states, HELD: neg(states[control.behaviour.initial])}
    said: dict[str, list[Expr]] = {}
    for state in control.behaviour.states:
        for word in states_in(control, state):
            said.setdefault(word, []).append(states[state])
    return {word: disj(*cases) for word, cases in said.items()}


def let_go(control: Control) -> Is:
    """No hand is on a control that springs back."""
    return Is(position(Sort(control.kind), control.id).name, control.behaviour.initial)


def _uncovered(described: Described, control: Control) -> Expr:
    """The panel before the control, if there is one, is open."""
    panel = next((one for one in described.hold.controls if one.id == control.behind), None)
    if panel is None or panel.fixed == "open":
        return TRUE
    cover = Cover(control.id, panel.id)
    if panel.fixed is not None:
        return described.lifted(cover, Fixed(panel.id))
    return disj(Is(position(Sort.CONTROL, panel.id).name, "open"), described.lifted(cover))


def devices(described: Described, known: Symbols) -> Symbols:
    """What stands on faces."""
    made = Additions(described.eased)
    for device in described.hold.devices:
        _device(described, known, made, device)
    return made.symbols()


def _device(described: Described, known: Symbols, made: Additions, device: Device) -> None:
    thing = Thing(device.id, Sort.DEVICE, device.name)
    kind = DEVICE_KINDS[device.kind]
    of = position(Sort.DEVICE, device.id)
    faces = described.faces_of(device)
    over = disj(*(described.covered(face) for face in faces))
    # where these are missing or wrong the checks say so; the rest of the description is still read
    meaning: dict[str, Expr] = {"covered": over, "energised": FALSE, "handle_pulled": FALSE}
    if len(faces) > 1:
        phrases = say_both("a unit is over {device}", "no unit is over {device}", device=device.name)
        meaning["covered"] = made.signal(Fact(of.subject, "covered"), over, phrases)
    if device.circuit is not None:
        meaning["energised"] = made.promise(
            Fact(of.subject, "energised"),
            device.circuit,
            told(device.name, "energised"),
            so=described.struck(device.id, "works_uncommanded"),
            not_so=described.struck(device.id, "rests"),
        )
    if device.handle is not None and device.handle in known.things:
        pulled = neg(known.things[device.handle].states.get("stowed", TRUE))
        broken = disj(*(described.struck(one, "linkage_broken") for one in (device.handle, device.id)))
        stays = described.struck(device.handle, "does_not_return")
        meaning["handle_pulled"] = disj(conj(pulled, neg(broken)), stays)
    # without its spring it is down as it is under a unit
    gives_way = conj(meaning["covered"], neg(described.struck(device.id, "jammed_up")))
    meaning["covered"] = disj(gives_way, described.struck(device.id, "spring_broken"))
    # a spring that can stick must remember where it stuck; while it works it settles at once all the same
    sticks = described.struck(device.id, "stuck")
    starts = described.starts_of(device.id, device.starts, kind.states)
    component = compose(of.name, kind, meaning, starts, device.lags or sticks != FALSE, device.fixed)
    states = made.states(of, device.name, component, kind)
    made.fails(described.may_strike.get(device.id, ()))
    works = neg(sticks)
    possible = promised(HAND_WORK, described.hold.layout.hand_work, described.eased)
    by_hand = conj(possible, described.reach(device.id), works)
    made.work(thing, of, kind, component, by_hand, works, lags=device.lags)
    phrases = say_both("{device} stands above the floor", "{device} is down", device=device.name)
    stands = made.signal(Fact(of.subject, "standing"), disj(*(states[state] for state in kind.standing)), phrases)
    states["standing"] = states["raised"] if kind.standing == ("raised",) else stands
    locking, said = states.get(device.locking, FALSE), _locking_told(device)
    states["locking"] = locking if said is None else made.define(Fact(of.subject, "locking"), locking, said)
    states["covered"] = over
    states["movable"] = TRUE if len(kind.states) > 1 and device.fixed is None else FALSE
    states["hand_worked"] = TRUE if kind.is_hand_worked else FALSE
    if device.deferred is not None:
        limit = say_both(
            "the limit for deferred {device} is kept",
            "the limit for deferred {device} is not kept",
            device=device.name,
        )
        states["within_limit"] = made.promise(Fact(of.subject, "within_limit"), device.deferred.limit, limit)
    states["deferred"] = TRUE if device.deferred is not None else FALSE
    made.name(thing, states)


def _locking_told(device: Device) -> tuple[str, str] | None:
    """How it is said that a device locks or does not, where its state alone would not tell why."""
    kind, name = DEVICE_KINDS[device.kind], device.name
    if len(kind.states) > 1 and device.fixed is not None:
        stays = say("stays {state}", state=kind.said(device.fixed))
        why = say("{name} is fixed and {stays}", name=name, stays=stays)
        if device.deferred is not None:
            why = say(
                "{name} is deferred and {stays} ({why})",
                name=name,
                stays=stays,
                why=device.deferred.because.rstrip("."),
            )
        return say_both("{why}, and locks so", "{why}, and does not lock so", why=why)
    if len(kind.states) > 1 and device.locking not in kind.standing:
        state = kind.said(device.locking)
        return say_both(
            "{name} locks, which it does while {state}",
            "{name} does not lock: it does so only while {state}",
            name=name,
            state=state,
        )
    return None


def doors(described: Described, known: Symbols) -> Symbols:
    """The doors: position, latch and lock are facts apart."""
    made = Additions(described.eased)
    for door in described.hold.doorways:
        _door(described, known, made, door)
    return made.symbols()


def _door_thing(door: Doorway) -> Thing:
    return Thing(door.id, Sort.DOOR, door.name)


def _door(described: Described, known: Symbols, made: Additions, door: Doorway) -> None:
    name, subject = door.name, Subject(Sort.DOOR, door.id)
    opens_told, closes_told = told(name, say("free to open")), told(name, say("free to close"))
    if door.moved_by == "power":
        opens_told, closes_told = _runs(name, "open"), _runs(name, "closed")
    made.fails(described.may_strike.get(door.id, ()))
    loose, dead = described.struck(door.id, "moves_by_itself"), described.struck(door.id, "dead")
    runs_open, runs_closed = (described.struck(door.id, mode) for mode in ("runs_open", "runs_closed"))
    opens = made.promise(Fact(subject, "opens"), door.opens, opens_told, so=disj(loose, runs_open), not_so=dead)
    closes = made.promise(Fact(subject, "closes"), door.closes, closes_told, so=disj(loose, runs_closed), not_so=dead)
    where, latch, lock = (Condition(subject, aspect) for aspect in (Aspect.POSITION, Aspect.LATCH, Aspect.LOCK))
    latched = Is(latch.name, "latched") if door.latch is not None and door.unlatch is not None else FALSE
    holding = conj(latched, neg(described.struck(door.id, "latch_does_not_hold")))
    meaning = {"drive_opens": opens, "drive_closes": closes, "latched": holding}
    states = _door_part(described, made, door, where, DOOR_KINDS[door.moved_by], meaning, ("move",))
    if door.latch is not None and door.unlatch is not None:
        meaning = {
            "shut": Is(where.name, "closed"),
            "latching_possible": _door_step(made, door, "latching", door.latch),
            "unlatching_possible": _door_step(made, door, "unlatching", door.unlatch),
        }
        states |= _door_part(described, made, door, latch, latch_kind(door.latch.by, door.unlatch.by), meaning)
    if door.lock is not None and door.unlock is not None:
        meaning = {
            "locking_possible": _door_step(made, door, "locking", door.lock),
            "unlocking_possible": _door_step(made, door, "unlocking", door.unlock),
        }
        states |= _door_part(described, made, door, lock, lock_kind(door.lock.by, door.unlock.by), meaning)
    by_hand = door.moved_by == "hand"
    opening = states["moving"] if by_hand else conj(opens, neg(states["open"]))
    closing = states["moving"] if by_hand else conj(closes, neg(states["closed"]))
    for state, expr in (("driven_open", opening), ("driven_closed", closing)):
        states[state] = made.signal(Fact(subject, state), expr, told(name, say(f"being {state}".replace("_", " "))))
    driven = disj(states["driven_open"], states["driven_closed"])
    states["driven"] = made.signal(Fact(subject, "driven"), driven, told(name, say("being driven")))
    floor = described.floor
    sill = [face for bay in door.bays if bay in floor.cells for face in floor.faces(bay, door.side)]
    over = disj(*(described.covered(face) for face in sill))
    phrases = say_both("a unit is over the sill of {name}", "no unit is over the sill of {name}", name=name)
    states["sill_covered"] = made.signal(Fact(subject, "sill_covered"), over, phrases)
    states["sill_clear"] = neg(states["sill_covered"])
    path = [(known.things[one.device].states, one.state) for one in door.path if one.device in known.things]
    blocked = disj(*(those[state] for those, state in path if state in those))
    phrases = say_both("something stands in the way of {name}", "nothing stands in the way of {name}", name=name)
    states["path_blocked"] = made.signal(Fact(subject, "path_blocked"), blocked, phrases)
    states["path_clear"] = neg(states["path_blocked"])
    on_sill = tuple(one.id for one in described.hold.devices if set(described.faces_of(one)) & set(sill))
    bays = tuple(bay for bay in door.bays if bay in known.things)
    made.name(
        _door_thing(door), states, {"sill_devices": on_sill, "bays": bays}, seen=_seen_of_lock(described, door, states)
    )


def _seen_of_lock(
    described: Described, door: Doorway, states: Mapping[str, Expr]
) -> dict[tuple[Meaning | None, str], Expr]:
    """A lock that does not hold shows what it should; it does not keep the latch."""
    fails = described.struck(door.id, "lock_does_not_hold")
    if fails == FALSE:
        return {}
    unlatching = Fact(Subject(Sort.DOOR, door.id), "unlatching_possible")
    seen = {"locked": conj(states["locked"], neg(fails)), "unlocked": disj(states["unlocked"], fails)}
    return {(unlatching, state): expr for state, expr in seen.items()}


def _runs(name: str, towards: str) -> tuple[str, str]:
    return say_both(
        "the drive of {name} runs towards {towards}",
        "the drive of {name} does not run towards {towards}",
        name=name,
        towards=say(towards),
    )


def _door_part(
    described: Described,
    made: Additions,
    door: Doorway,
    of: Condition,
    kind: Kind,
    meaning: dict[str, Expr],
    also: tuple[str, ...] = (),
) -> dict[str, Expr]:
    starts = described.starts_of(door.id, _usual_starts(described, door), kind.states)
    component = compose(of.name, kind, meaning, starts, False, None)
    states = made.states(of, door.name, component, kind)
    made.work(_door_thing(door), of, kind, component, described.reach(door.id), also=also)
    return states


def _usual_starts(described: Described, door: Doorway) -> tuple[str, ...]:
    """What holds of a door at the start, less what the chosen situation rules out without saying so.

    A door that a situation starts off closed is not latched, one that it starts unlatched not locked.
    """
    told = described.told.get(door.id, ())
    gone: set[str] = set()
    if told and "closed" not in told and ("open" in told or "moving" in told):
        gone = {"latched", "locked"}
    elif "unlatched" in told and "latched" not in told:
        gone = {"locked"}
    return tuple(state for state in door.starts if state not in gone)


def _door_step(made: Additions, door: Doorway, word: str, step: DoorStep) -> Expr:
    fact = Fact(Subject(Sort.DOOR, door.id), f"{word}_possible")
    return made.promise(fact, step.when, told(say(f"{word} of {{door}}", door=door.name), say("possible")))
