"""A walk through a hold as it is told: where it stands, what is possible, what is broken."""

from __future__ import annotations

from collections.abc import Iterator

from interlock.diagnostics.frozen import frozen
from interlock.hold.compile.compiler import CompiledHold
from interlock.hold.language.model import Hold
from interlock.kernel.evaluator import State, evaluate
from interlock.report.views.facts import Reason, Step, as_reasons, step_facts
from interlock.report.views.rows import Row
from interlock.report.views.snapshot import Snapshot, take
from interlock.report.views.tones import Tone
from interlock.report.views.wording import ACTORS, listed, sentence, shortened
from interlock.study.walk import Walk, broken_now, choices_of, last_step, start_differences

MOST_LISTED = 12
"""Names in one line of the state."""


@frozen
class ChoiceView:
    """A step that is possible now; `number`, from 1, is what it is chosen by."""

    number: int
    actor: str
    text: str


@frozen
class BrokenView:
    """A requirement that the present state breaks; `steps` are possible although it forbids them."""

    id: str
    text: str
    because: tuple[Reason, ...]
    steps: tuple[str, ...]


@frozen
class WalkView:
    """What is told at one point of a walk.

    `starts` says for each way to start what is not so in all of them; none where there is one way.  `snapshot` is for
    the picture of the floor, `state` says all else.  `step` is the last one, None at the start.
    """

    title: str
    starts: tuple[str, ...]
    compiled: CompiledHold
    snapshot: Snapshot
    state: tuple[Row, ...]
    choices: tuple[ChoiceView, ...]
    step: Step | None
    broken: tuple[BrokenView, ...]


def walk_view(walk: Walk) -> WalkView:
    """What is told of the walk where it stands."""
    compiled, step = walk.compiled, last_step(walk)
    snapshot = take(compiled, walk.state)
    starts = ["; ".join(texts) for texts in start_differences(walk)] if len(walk.starts) > 1 else []
    choices = enumerate(choices_of(walk), 1)
    broken = [
        BrokenView(one.instance.requirement.id, sentence(one.instance.text), as_reasons(one.because), one.steps)
        for one in broken_now(walk)
    ]
    return WalkView(
        compiled.hold.title,
        tuple(starts),
        compiled,
        snapshot,
        tuple(_state(compiled, walk.state, snapshot)),
        tuple(ChoiceView(number, ACTORS[one.actor], one.text) for number, one in choices),
        None if step is None else step_facts(step),
        tuple(broken),
    )


def _state(compiled: CompiledHold, state: State, snapshot: Snapshot) -> Iterator[Row]:
    """Doors, controls, supplies, devices, circuits, people, failures, and of units what the picture cannot show."""
    hold = compiled.hold
    names = {unit.id: unit.name for unit in hold.units}
    for placement in snapshot.resting:
        if not compiled.floor.is_inside(placement):
            yield Row("on the loader:", f"{names[placement.kind]} at {', '.join(placement.cells)}")
    for move in snapshot.crossings:
        between = f"between {'+'.join(move.source.cells)} and {'+'.join(move.target.cells)}"
        yield Row("partly across:", f"{names[move.source.kind]} {between}")
    for door in hold.doorways:
        yield Row(f"{door.name}:", listed(snapshot.doors[door.id]))
    for _, name, now in snapshot.told:
        yield Row(f"{name}:", now.replace("_", " "))
    yield from _devices(hold, snapshot)
    yield Row("circuits and relays on:", shortened(_circuits_on(compiled, state), MOST_LISTED) or "none")
    running = [f"{bay} {direction}" for bay, direction in snapshot.running]
    yield Row("drives running:", shortened(running, MOST_LISTED) or "none")
    places = {place.id: place.name for place in hold.places}
    for person in hold.people:
        yield Row(f"{person.name}:", places[snapshot.people[person.id]])
    for failure in snapshot.failures:
        yield Row("failed:", failure, Tone.BAD)


def _devices(hold: Hold, snapshot: Snapshot) -> Iterator[Row]:
    """Ids by position; what never moves is left out."""
    by_state: dict[str, list[str]] = {}
    for device in hold.devices:
        if not device.is_structure and device.fixed is None:
            by_state.setdefault(snapshot.devices[device.id], []).append(device.id)
    for state, ids in sorted(by_state.items(), key=lambda entry: entry[0]):
        yield Row(f"{state.replace('_', ' ')}:", ", ".join(ids))


def _circuits_on(compiled: CompiledHold, state: State) -> list[str]:
    hold = compiled.hold
    named = [(one.id, one.name) for one in hold.circuits] + [(one.id, one.name) for one in hold.relays]
    truths = [(name, compiled.world.things[id].truth) for id, name in named]
    return [name for name, truth in truths if truth is not None and evaluate(compiled.machine, truth, state)]
