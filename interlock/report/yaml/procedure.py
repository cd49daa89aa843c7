"""A checklist as a procedure file, in the language that `interlock audit` reads."""

from __future__ import annotations

from collections.abc import Iterator

from interlock.hold.compile.compiler import CompiledHold
from interlock.hold.kinds import PRESSED, Verb
from interlock.hold.origin import Arrive, Bring, Condition, Deed, Depart, Go, Means, Sort, Subject, TakeAway, Work
from interlock.hold.sill_places import bays_beside, place_at_sill
from interlock.kernel.evaluator import State
from interlock.report.languages import in_yaml
from interlock.report.views.checklist_checks import checks_of, holds_unit
from interlock.report.views.checklist_words import goal_words, leg_title
from interlock.report.views.instructions import InstructionWriter
from interlock.report.yaml.cautions import caution_comments
from interlock.study.checklist.goals import Reach
from interlock.study.checklist.making import Checklist, Leg
from interlock.study.checklist.operating import Execution


def checklist_procedure(checklist: Checklist, hold: str) -> str:
    """The file's text; `hold` is what it calls the file of the description.  Free orders become one order."""
    writer = InstructionWriter(checklist.compiled)
    lines = [
        *caution_comments(),
        "interlock: 1",
        f"procedure: {in_yaml(goal_words(checklist.compiled, checklist.goal))}",
        f"hold: {in_yaml(hold)}",
    ]
    starts = list(_starts(writer, checklist))
    if starts:
        lines += ["start:", *(f"  {id}: {in_yaml(state)}" for id, state in starts)]
    lines.append(f"goal: {in_yaml(_goal(writer, checklist))}")
    lines.append("steps:")
    for leg, following in checklist.in_turn:
        actions = leg_actions(writer, leg, following)
        if actions:
            lines += [f"  - group: {in_yaml(leg_title(writer, leg))}", "    steps:"]
            lines += [f"      - {in_yaml(action)}" for _, action in actions]
    return "\n".join(lines) + "\n"


def leg_actions(writer: InstructionWriter, leg: Leg, following: Leg | None) -> tuple[tuple[int | None, str], ...]:
    """The actions of a leg, each with the number of its step; the checks behind them have none.

    Every check that is printed is one of them, and every one of them is printed.
    """
    found: list[tuple[int | None, str]] = []
    held: Subject | None = None
    for step in leg.steps:
        done = writer.done(step.execution.deed) if step.execution.deed.heads else None
        actions = list(_actions(writer, step.execution))
        worked = done if isinstance(done, Work) else None
        if worked is not None and worked.trigger.verb is Verb.RELEASE and worked.subject == held:
            # a lever that is held until something is so is let go then
            actions = actions[1:]
        held = worked.subject if worked is not None and _held_until(writer, worked, step.execution) else None
        found += [(step.number, action) for action in actions]
    return (*found, *((None, f"check {check.fact}") for check in checks_of(writer, leg, following)))


def steps_of_actions(checklist: Checklist) -> tuple[int | None, ...]:
    """For every action of the file the number of its step; None for the checks at the end of a leg."""
    writer = InstructionWriter(checklist.compiled)
    return tuple(step for leg, following in checklist.in_turn for step, _ in leg_actions(writer, leg, following))


def _starts(writer: InstructionWriter, checklist: Checklist) -> Iterator[tuple[str, str]]:
    """What differs from the usual start, or is left open by it."""
    compiled, start = checklist.compiled, checklist.start
    for supply in compiled.hold.supplies:
        # what is off at first comes on before the crew begins, where it does so by itself
        word = "on" if writer.so(supply.id, ("on",), start) else "off"
        if supply.starts != (word,):
            yield supply.id, word
    for placement in writer.resting(start):
        if compiled.floor.is_inside(placement):
            yield placement.cells[0], placement.kind
    for variable, value in zip(compiled.machine.variables, start, strict=False):
        memory = compiled.origins.variables.get(variable.name)
        if isinstance(memory, Condition) and memory.subject.sort is not Sort.SUPPLY and value not in variable.init:
            yield memory.subject.id, str(value)


def _goal(writer: InstructionWriter, checklist: Checklist) -> str:
    if isinstance(checklist.goal, Reach):
        return checklist.goal.text
    end = checklist.legs[-1].end
    inside = [unit for unit in writer.resting(end) if writer.compiled.floor.is_inside(unit)]
    facts = [holds_unit(unit) for unit in inside]
    facts += [f"{cell} is secured" for unit in inside for cell in unit.cells]
    if not facts:
        # what was taken out does not stay at the sill either
        facts = [f"{cell} is empty" for cell in checklist.compiled.floor.cells]
    return " and ".join([*facts, *_doors(checklist.compiled), *_tidy(writer, end)])


def _tidy(writer: InstructionWriter, end: State) -> Iterator[str]:
    """Power circuits that are off at the end, controls and people that are back where they start."""
    hold, things = writer.compiled.hold, writer.compiled.world.things
    for circuit in hold.circuits:
        if circuit.use == "power" and writer.so(circuit.id, ("off",), end):
            yield f"{circuit.id} is off"
    starts = [(control.id, control.starts or tuple(things[control.id].states)[:1]) for control in hold.controls]
    starts += [(person.id, person.starts) for person in hold.people]
    for id, usual in starts:
        if len(usual) == 1 and writer.so(id, usual, end):
            yield f"{id} is {usual[0]}"


def _doors(compiled: CompiledHold) -> list[str]:
    return [
        f"{door.id} is {word}"
        for door in compiled.hold.doorways
        for word in ("closed", "latched", "locked")
        if word in compiled.world.things[door.id].states
    ]


def _beside(compiled: CompiledHold, done: Deed) -> str:
    """Where at a sill of several bays the loader works."""
    place = place_at_sill(compiled.floor, done)
    if place is None:
        return ""
    doors = {compiled.floor.cells[cell].door for cell in place.cells}
    several = any(door.id in doors and len(door.bays) > 1 for door in compiled.hold.doorways)
    return f" beside {bays_beside(compiled.floor, place)[0]}" if several else ""


def _until(writer: InstructionWriter, before: State, after: State) -> list[str]:
    """What has become of units, doors and supplies, as expressions; units on the loader by the place that they take."""
    old = writer.resting(before)
    compiled = writer.compiled
    found = []
    for placement in writer.resting(after):
        if placement not in old:
            if compiled.floor.is_inside(placement):
                found.append(holds_unit(placement))
            else:
                # a unit that lies over the sill takes a place on the loader too
                found += [f"{cell} is occupied" for cell in placement.cells]
    for door in compiled.hold.doorways:
        new = writer.so(door.id, ("closed", "open", "latched", "unlatched"), after, before)
        found += [f"{door.id} is {word}" for word in new]
    for supply in compiled.hold.supplies:
        found += [f"{supply.id} is {word}" for word in writer.so(supply.id, ("on", "off"), after, before)]
    return found


def _on_the_way(writer: InstructionWriter, before: State, after: State) -> list[str]:
    """What a unit has begun to cross: a sill, or else a device that says when it is covered."""
    hold = writer.compiled.hold
    for id in (*(door.id for door in hold.doorways), *(device.id for device in hold.devices)):
        for word in writer.so(id, ("sill_covered", "covered"), after, before):
            return [f"{id} is {word}"]
    return []


def _actions(writer: InstructionWriter, execution: Execution) -> Iterator[str]:
    yield from _done(writer, execution)
    deeds = (writer.compiled.origins.deeds[head] for head in execution.deed.heads)
    held = any(isinstance(done, Work) and done.trigger.verb is Verb.HOLD for done in deeds)
    if len(execution.rules) > len(execution.deed.heads) > 0 and not held:
        # people wait for the end of what their action sets going
        until = _until(writer, execution.before, execution.after)
        if until:
            yield "wait until " + " and ".join(until)


def _done(writer: InstructionWriter, execution: Execution) -> Iterator[str]:
    if not execution.deed.heads:
        yield "wait until " + " and ".join(_until(writer, execution.before, execution.after) or ["true"])
        return
    done = writer.done(execution.deed)
    match done:
        case Depart() | Arrive():
            yield from _carried(writer, done, execution)
        case Bring(door, placement):
            yield f"bring {placement.kind} to {door}{_beside(writer.compiled, done)}"
        case TakeAway(door):
            yield f"take away from {door}{_beside(writer.compiled, done)}"
        case Go(person, _, place):
            yield f"go {person} to {place}"
        case Work():
            yield from _worked(writer, done, execution)


def _worked(writer: InstructionWriter, done: Work, execution: Execution) -> Iterator[str]:
    id, verb, to = done.subject.id, done.trigger.verb, done.trigger.to
    if verb is Verb.HOLD:
        until = _held_until(writer, done, execution)
        yield (f"press {id}" if to == PRESSED else f"hold {id} to {to}") + (f" until {until}" if until else "")
        if not until and len(execution.deed.heads) == 2:
            yield f"release {id}"
    elif verb is Verb.SET:
        yield f"set {id} to {to}"
    elif verb in (Verb.START, Verb.FINISH):
        yield f"{'open' if to == 'opening' else 'close'} {id}"
    else:
        yield f"{verb} {to} {id}" if to else f"{verb} {id}"


def _held_until(writer: InstructionWriter, done: Work, execution: Execution) -> str:
    """What a lever is held for; empty where nothing shows it, or where no lever is held."""
    if done.trigger.verb is not Verb.HOLD:
        return ""
    held = execution.states[execution.halves[0]]
    return " and ".join(_until(writer, execution.before, held) or _on_the_way(writer, execution.before, held))


def _carried(writer: InstructionWriter, done: Depart | Arrive, execution: Execution) -> Iterator[str]:
    compiled, move = writer.compiled, done.move
    there = [p for p in writer.resting(execution.after) if p not in writer.resting(execution.before)]
    # of a long unit what it comes to lie on: most of the rest it lay on before
    come_to = [[*(cell for cell in p.cells if cell not in move.source.cells), *p.cells] for p in (move.target, *there)]
    until = " or ".join(dict.fromkeys(f"{cells[0]} is occupied" for cells in come_to))
    if done.means is Means.PUSH:
        yield f"push {move.direction} from {move.source.cells[0]} until {until}"
        return
    door = next(d for d in compiled.hold.doorways if d.id in move.doors)
    place = f"{door.id}{_beside(compiled, done)}"
    yield f"run loader {'out' if move.direction == door.side else 'in'} at {place} until {until}"
