"""What a state says about everything that a plan can show."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from interlock.diagnostics.frozen import frozen
from interlock.diagnostics.said import say
from interlock.hold.compile.compiler import CompiledHold
from interlock.hold.floor import Move, Placement
from interlock.hold.kinds import DEVICE_KINDS
from interlock.hold.language.model import Direction
from interlock.hold.origin import Aspect, Condition, Failure, Sort, Subject, crossing, running, units_at_rest
from interlock.kernel.evaluator import State, evaluate
from interlock.kernel.expressions import Expr, Value


@frozen
class Snapshot:
    """One state of a hold.

    `devices` names the state of every device, `doors` the facts that hold of every door, `running` the drives that run
    (bay, direction).  `crossings` has one move for each unit on its way.  `told` are (id, name, state)
    of controls and supplies, the state as it is told, `people` the place of each person, `failures` what has struck, in
    words, and `failed` whose.
    """

    devices: Mapping[str, str]
    doors: Mapping[str, tuple[str, ...]]
    resting: tuple[Placement, ...]
    crossings: tuple[Move, ...]
    running: tuple[tuple[str, Direction], ...]
    told: tuple[tuple[str, str, str], ...]
    people: Mapping[str, str]
    failures: tuple[str, ...]
    failed: frozenset[str]


def take(compiled: CompiledHold, state: State) -> Snapshot:
    """Reads the state; it may hold more variables than the machine, behind those of the machine."""
    machine = compiled.machine
    things = compiled.world.things
    hold = compiled.hold
    value: dict[str, Value] = {variable.name: state[at] for at, variable in enumerate(machine.variables)}

    def first(states: Mapping[str, Expr], names: Sequence[str]) -> str:
        return next((name for name in names if evaluate(machine, states[name], state)), "unknown")

    doors = {}
    for door in hold.doorways:
        facts = [first(things[door.id].states, ("closed", "moving", "open"))]
        locks = (Condition(Subject(Sort.DOOR, door.id), aspect).name for aspect in (Aspect.LATCH, Aspect.LOCK))
        facts += [str(value[name]) for name in locks if name in value]
        doors[door.id] = tuple(facts)
    crossings: dict[str, Move] = {}
    for move in compiled.floor.moves:
        if crossing(move).items() <= value.items():
            crossings.setdefault(move.passage, move)
    runs = tuple(
        (cell, direction)
        for cell in compiled.floor.bays
        for direction in Direction
        if (name := running(cell, direction).name) in machine.definitions
        and evaluate(machine, machine.definitions[name], state)
    )
    told = []
    for control in hold.controls:
        states = things[control.id].states
        word = control.behaviour.word(first(states, [name for name in states if name != "held"]))
        told.append((control.id, control.name, word))
    told += [(supply.id, supply.name, say(first(things[supply.id].states, ("on", "off")))) for supply in hold.supplies]
    memories = compiled.origins.variables.values()
    struck = [memory for memory in memories if isinstance(memory, Failure) and value[memory.name] is True]
    return Snapshot(
        {d.id: first(things[d.id].states, DEVICE_KINDS[d.kind].states) for d in hold.devices},
        doors,
        units_at_rest(compiled.floor, machine, state),
        tuple(crossings.values()),
        runs,
        tuple(told),
        {p.id: str(value[Condition(Subject(Sort.PERSON, p.id), Aspect.PLACE).name]) for p in hold.people},
        tuple(compiled.glossary.values[failure.name, True] for failure in struck),
        frozenset(failure.subject.id for failure in struck),
    )
