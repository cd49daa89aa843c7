"""A walk through a hold as text: the state in trade words, the possible steps, what is broken."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from interlock.hold.compile.compiler import CompiledHold
from interlock.hold.language.model import Hold
from interlock.hold.tell import ToldStep
from interlock.kernel.evaluator import State, evaluate
from interlock.report.drawing.snapshot import Snapshot, take
from interlock.report.text.floor import floor_lines
from interlock.report.text.lines import BLANK, Line, Tone, flow, heading, labelled
from interlock.report.text.runs import after_lines, reason_lines
from interlock.report.views.facts import as_reasons
from interlock.report.views.wording import ACTORS, listed, sentence, shortened
from interlock.study.walk import Broken, Choice, Walk, start_differences

MOST_LISTED = 12
"""Names in one line of the state."""


def opening_lines(walk: Walk) -> Iterator[Line]:
    """What is being walked, and in which ways it can start."""
    yield from flow(walk.compiled.hold.title, tone=Tone.HEAD)
    if len(walk.starts) > 1:
        yield from flow(f"It can start in {len(walk.starts)} ways:", 2)
        for number, texts in enumerate(start_differences(walk), 1):
            yield from flow(f"start {number}: {'; '.join(texts)}", 4, 9)


def state_lines(compiled: CompiledHold, state: State) -> Iterator[Line]:
    """One state: the floor, doors, controls, supplies, devices, circuits, people, failures."""
    snapshot = take(compiled, state)
    hold = compiled.hold
    yield from heading("State")
    yield from floor_lines(compiled, snapshot)
    yield BLANK
    yield from _units(compiled, snapshot)
    for door in hold.doorways:
        yield from labelled(f"{door.name}:", listed(snapshot.doors[door.id]), 2)
    for _, name, now in snapshot.told:
        yield from labelled(f"{name}:", now.replace("_", " "), 2)
    yield from _devices(hold, snapshot)
    on = _circuits_on(compiled, state)
    yield from labelled("circuits and relays on:", shortened(on, MOST_LISTED) or "none", 2)
    running = [f"{bay} {direction}" for bay, direction in snapshot.running]
    yield from labelled("drives running:", shortened(running, MOST_LISTED) or "none", 2)
    places = {place.id: place.name for place in hold.places}
    for person in hold.people:
        yield from labelled(f"{person.name}:", places[snapshot.people[person.id]], 2)
    for failure in snapshot.failures:
        yield from labelled("failed:", failure, 2, Tone.BAD)


def _units(compiled: CompiledHold, snapshot: Snapshot) -> Iterator[Line]:
    """What the picture cannot show: units on the loader, and between which places a unit is."""
    names = {unit.id: unit.name for unit in compiled.hold.units}
    for placement in snapshot.resting:
        if not compiled.floor.is_inside(placement):
            yield from labelled("on the loader:", f"{names[placement.kind]} at {', '.join(placement.cells)}", 2)
    for move in snapshot.crossings:
        between = f"between {'+'.join(move.source.cells)} and {'+'.join(move.target.cells)}"
        yield from labelled("half-way:", f"{names[move.source.kind]} {between}", 2)


def _devices(hold: Hold, snapshot: Snapshot) -> Iterator[Line]:
    """Ids by position; what never moves is left out."""
    by_state: dict[str, list[str]] = {}
    for device in hold.devices:
        if not device.is_structure and device.fixed is None:
            by_state.setdefault(snapshot.devices[device.id], []).append(device.id)
    for state, ids in sorted(by_state.items(), key=lambda entry: entry[0]):
        yield from labelled(f"{state.replace('_', ' ')}:", ", ".join(ids), 2)


def _circuits_on(compiled: CompiledHold, state: State) -> list[str]:
    hold = compiled.hold
    named = [(one.id, one.name) for one in hold.circuits] + [(one.id, one.name) for one in hold.relays]
    truths = [(name, compiled.world.things[id].truth) for id, name in named]
    return [name for name, truth in truths if truth is not None and evaluate(compiled.machine, truth, state)]


def choice_lines(choices: Sequence[Choice], text: str = "") -> Iterator[Line]:
    """The possible steps with their numbers; with a text, only those that contain it."""
    wanted = text.casefold()
    shown = [(n, c) for n, c in enumerate(choices, 1) if wanted in c.text.casefold()]
    if not shown:
        yield from flow(f"No possible step has '{text}' in it." if text else "No step is possible: a dead end.", 2)
        return
    actor = None
    for number, choice in shown:
        if choice.actor is not actor:
            actor = choice.actor
            yield Line(f"  {ACTORS[actor]}", Tone.HEAD)
        yield from flow(f"{number:>3}. {choice.text}", 2, 5)


def step_lines(step: ToldStep) -> Iterator[Line]:
    """One step and what followed from it."""
    yield from flow(f"step {step.number}, {ACTORS[step.actor]}: {step.text}", 0, 2, Tone.HEAD)
    yield from after_lines(step.responses, step.after, 2)


def broken_lines(broken: Sequence[Broken], why: bool) -> Iterator[Line]:
    """The requirements that the present state breaks; with `why`, what breaks them."""
    for one in broken:
        yield from flow(f"BROKEN NOW: {one.instance.requirement.id}", 0, 2, Tone.BAD)
        yield from flow(sentence(one.instance.text), 2)
        if one.steps:
            yield from labelled("possible now, and must not be:", "; ".join(one.steps), 2, Tone.BAD)
        if why:
            yield from reason_lines(as_reasons(one.because))
    if why and not broken:
        yield from flow("No requirement is broken in this state.", 2)
