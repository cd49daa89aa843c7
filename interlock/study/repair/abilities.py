"""What a hold is for, whether a requirement asks for it or not: what a change takes of that must be told.

A kind of unit carried in a bay, secured behind shut doors; a door open; a unit driven by a zone each way.  Of what can
be done on runs that break nothing it is found out with each change whether it still can.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from interlock.confirm.confirm import confirm
from interlock.hold.compile.compiler import CompiledHold
from interlock.hold.language.directions import DIRECTIONS
from interlock.kernel.claims import Fails, Holds, Limits, Trace, silent
from interlock.kernel.expressions import conj, disj, neg
from interlock.kernel.machine import Machine, Question, with_monitors
from interlock.prove.decide import decide
from interlock.prove.engine import clock_of
from interlock.prove.search.guided import GuidedSearch
from interlock.study.causes.trials import MOST_EXPANDED, Bench, Model, run_again

SECONDS = 30.0
"""How long is looked for a way with a change, or for the proof that there is none, for all together."""


@dataclass(frozen=True, slots=True)
class Cost:
    """What a change takes away: `lost` is proved to be out of reach with it; of the `unknown` neither was shown.

    `is_all`: some unit could be carried somewhere, and with the change none can anywhere.
    """

    lost: tuple[str, ...] = ()
    unknown: tuple[str, ...] = ()
    is_all: bool = False

    @property
    def is_none(self) -> bool:
        """Everything can still be done."""
        return not (self.lost or self.unknown)


def abilities_of(compiled: CompiledHold) -> Mapping[str, Question]:
    """What could be done in a hold, by a few words that say it."""
    return {one.id: one for one in (*_carrying(compiled), *_opening(compiled), *_driving(compiled))}


def _carrying(compiled: CompiledHold) -> Iterator[Question]:
    hold, world = compiled.hold, compiled.world
    shut = conj(*(world.things[door.id].states["closed"] for door in hold.doorways))
    for bay in compiled.floor.bays:
        states = world.things[bay].states
        for unit in hold.units:
            if unit.id in states:
                target = conj(states[unit.id], states["secured"], shut)
                yield Question(f"{unit.name} carried in {bay}", target, expects_run=True)


def _opening(compiled: CompiledHold) -> Iterator[Question]:
    for door in compiled.hold.doorways:
        yield Question(f"{door.name} open", compiled.world.things[door.id].states["open"], expects_run=True)


def _driving(compiled: CompiledHold) -> Iterator[Question]:
    sides, things = compiled.world.sides, compiled.world.things
    for zone in compiled.hold.zones:
        for way in DIRECTIONS:
            running = sides.get(f"{things[zone.id].parts.get(way)}")
            if running is not None:
                driven = disj(*(sides[f"{things[bay].parts[way]}"].states["driven"] for bay in zone.bays))
                target = conj(running.states["running"], driven)
                yield Question(f"{zone.name} driving a unit {way}", target, expects_run=True)


class Abilities:
    """What can be done in the hold as it is, by runs on which nothing breaks (`runs`)."""

    def __init__(self, bench: Bench, limits: Limits) -> None:
        self._limits = limits
        compiled = bench.verification.compiled
        machine = bench.model.machine
        questions = abilities_of(compiled)
        sound = neg(disj(*(bench.model.questions[id].target for id in bench.bad)))
        rules = tuple(replace(rule, guard=conj(rule.guard, sound)) for rule in machine.rules)
        asked = [replace(one, target=conj(one.target, sound)) for one in questions.values()]
        search = GuidedSearch(replace(machine, rules=rules), asked, limits, clock_of(limits))
        search.run(range(len(asked)), MOST_EXPANDED, silent)
        self.runs: Mapping[str, Trace] = {one.id: found for one in asked if (found := search.found.get(one.id))}
        self.questions = {id: questions[id] for id in self.runs}
        self._model = Model(compiled, machine, self.questions)
        self._carried = {one.id for one in _carrying(compiled)} & set(self.runs)

    def cost(self, compiled: CompiledHold) -> Cost:
        """What of it can no longer be done in that hold."""
        machine = with_monitors(compiled.machine)
        there = abilities_of(compiled)
        model = Model(compiled, machine, there)
        gone = [id for id in self.runs if id not in there]
        asked = [
            there[id] for id, run in self.runs.items() if id in there and run_again(model, self._model, run, id) is None
        ]
        lost, unknown = self._decided(machine, asked) if asked else ((), ())
        lost = (*gone, *lost)
        return Cost(lost, unknown, bool(self._carried) and self._carried <= {*lost})

    def _decided(self, machine: Machine, asked: Sequence[Question]) -> tuple[tuple[str, ...], tuple[str, ...]]:
        left = self._limits.seconds
        limits = replace(self._limits, seconds=SECONDS if left is None else min(SECONDS, left))
        claims = decide(machine, asked, limits)
        found = confirm(machine, asked, claims, limits.seconds)
        lost = tuple(one.question for one in found if isinstance(one, Holds))
        unknown = tuple(one.question for one in found if not isinstance(one, Holds | Fails))
        return lost, unknown
