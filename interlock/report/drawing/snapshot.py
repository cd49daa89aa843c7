"""What a state says about everything that a plan can show."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from interlock.hold.compile.compiler import CompiledHold
from interlock.hold.floor import Move, Placement
from interlock.hold.kinds import DEVICE_KINDS
from interlock.hold.language.model import Direction
from interlock.kernel.evaluator import State, evaluate
from interlock.kernel.expressions import Expr, Value
from interlock.kernel.machine import Machine, Signal


@dataclass(frozen=True, slots=True)
class Snapshot:
    """One state of a hold.

    `devices` names the state of every device, `doors` the facts that hold of every door, `running` the drives that run
    (bay, direction).  `crossings` has one move for each unit that is half-way.  `told` are (id, name, state) of
    controls and supplies, `people` the place of each person, `failures` what has struck, in words, and `failed` whose.
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
    # the machine drops signals that no rule needs, a drawing needs them
    signals = tuple(Signal(name, definition) for name, definition in compiled.definitions.items())
    machine = Machine(compiled.machine.variables, signals, ())
    things = compiled.world.things
    hold = compiled.hold
    value: dict[str, Value] = {variable.name: state[at] for at, variable in enumerate(machine.variables)}

    def first(states: Mapping[str, Expr], names: Sequence[str]) -> str:
        return next((name for name in names if evaluate(machine, states[name], state)), "unknown")

    doors = {}
    for door in hold.doorways:
        facts = [first(things[door.id].states, ("closed", "moving", "open"))]
        facts += [str(value[name]) for part in ("latch", "lock") if (name := f"door.{door.id}.{part}") in value]
        doors[door.id] = tuple(facts)
    resting = tuple(
        placement
        for placement in compiled.floor.placements
        if all(value.get(f"bay.{c}.holds") == p for c, p in zip(placement.cells, placement.parts, strict=True))
    )
    crossings: dict[str, Move] = {}
    for move in compiled.floor.moves:
        if all(value.get(f"face.{face}.crossing") == part for face, part in move.crossed):
            crossings.setdefault(move.passage, move)
    running = tuple(
        (cell, direction)
        for cell in compiled.floor.bays
        for direction in Direction
        if (name := f"drive.{cell}.{direction}") in machine.definitions
        and evaluate(machine, machine.definitions[name], state)
    )
    told = []
    for control in hold.controls:
        states = things[control.id].states
        told.append((control.id, control.name, first(states, [name for name in states if name != "held"])))
    told += [(supply.id, supply.name, first(things[supply.id].states, ("on", "off"))) for supply in hold.supplies]
    struck = [name for name in value if name.startswith("failure.") and value[name] is True]
    return Snapshot(
        {d.id: first(things[d.id].states, DEVICE_KINDS[d.kind].states) for d in hold.devices},
        doors,
        resting,
        tuple(crossings.values()),
        running,
        tuple(told),
        {person.id: str(value[f"person.{person.id}.at"]) for person in hold.people},
        tuple(compiled.glossary.values[name, True] for name in struck),
        frozenset(name.split(".")[1] for name in struck),
    )
