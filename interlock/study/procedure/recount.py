"""What the search says of slips and failures, counted a second time from the state machine that the procedure means."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from time import monotonic
from typing import TypeAlias

from interlock.confirm.consequences import MOST_PLACES, Consequences, Track, Watched, count_consequences
from interlock.kernel.claims import AnyClaim, Disputed
from interlock.kernel.expressions import Expr, Value, conj, neg
from interlock.kernel.machine import Machine, Requirement, allowed_by, question_of
from interlock.prove.engine import Clock
from interlock.study.procedure.graph import AT, GONE, ProcedureGraph, move_name, procedure_machine, strikes

NAME = "procedure"
MOST_TOLD = 3
"""Choices that are named where search and second count differ."""

Leading: TypeAlias = Mapping[str, frozenset[tuple[str, ...]]]
"""Per requirement the smallest choices of departures, each sorted, that break it; the empty one: it breaks as it is."""


@dataclass(frozen=True, slots=True)
class SecondCount:
    """How far the second count went: `together` slips and failures (0: nothing was counted, and `why`), in so many
    `states`.

    `agreed`: it found what the search had found.
    """

    together: int
    states: int
    why: str
    agreed: bool = False


@dataclass(frozen=True, slots=True)
class Effects(AnyClaim):
    """Claim: this is all that can come of the slip `question`."""

    found: frozenset[str]


def recount(
    track: Track,
    effects: Mapping[str, frozenset[str]],
    leading: Leading,
    places: int,
    clock: Clock,
    about: frozenset[str] = frozenset(),
) -> tuple[SecondCount, tuple[Disputed, ...]]:
    """Compares what is said of each of these departures, and of the smallest choices of them that lead to a hazard.

    `track` is that of the procedure; where some departures are named it is only asked `about` these, alone or in
    choices that they are part of, and about what breaks as it is.  `places` is how many the search went through: where
    they are too many nothing is counted.
    """
    if places > MOST_PLACES:
        return SecondCount(0, 0, f"more than {MOST_PLACES:,} points in the procedure"), ()
    left = clock.seconds_left()
    counted = count_consequences(track, MOST_PLACES, None if left is None else monotonic() + left)
    if counted.stopped:
        return SecondCount(0, counted.states, counted.stopped), ()
    if about:
        counted = _only(counted, about)
    wrong = tuple(_differences(counted, effects, leading))
    return SecondCount(track.together, counted.states, "", not wrong), wrong


def track_of(graph: ProcedureGraph, together: int, *, failing: bool = False) -> Track:
    """The state machine of the procedure with what the second count watches: every requirement, every end.

    Its departures are the slips, by their ids, and where it is `failing` declared failures, by their names.
    """
    machine = procedure_machine(graph, lost=False, slips=1, failing=failing, counted=False)
    departures = {
        move_name(graph, place, 0): graph.slips[move.slip].id
        for place, move in enumerate(graph.moves)
        if move.slip is not None
    }
    if failing:
        departures |= {rule.name: name for rule, name in strikes(graph.machine).items()}
    ends: dict[Value, Expr | None] = {point.name: None for point in graph.points if point.stopped}
    ends[GONE] = None
    ends[graph.points[graph.starts[-1]].name] = graph.bound.goal
    watched = {one.id: _watched(machine, one) for one in machine.requirements}
    return Track(machine, AT, departures, watched, ends, together)


def _watched(machine: Machine, requirement: Requirement) -> Watched:
    if requirement.kind.is_about_steps:
        return Watched(conj(requirement.situation, neg(allowed_by(requirement))), requirement.steps)
    return Watched(question_of(machine, requirement).target, None)


def _only(counted: Consequences, about: frozenset[str]) -> Consequences:
    """What was counted of these departures, and of none."""
    of = {label: found for label, found in counted.of.items() if label in about}
    leading = {
        id: frozenset(one for one in some if not one or not about.isdisjoint(one))
        for id, some in counted.leading.items()
    }
    return replace(counted, of=of, leading={id: some for id, some in leading.items() if some})


def _differences(counted: Consequences, effects: Mapping[str, frozenset[str]], leading: Leading) -> Iterator[Disputed]:
    for slip in sorted(effects.keys() | counted.of.keys()):
        said, seen = effects.get(slip, frozenset()), counted.of.get(slip, frozenset())
        if said != seen or (slip in effects) != (slip in counted.of):
            words = f"a second count finds {_listed(seen)} to come of it, the search {_listed(said)}"
            yield Disputed(slip, Effects(slip, NAME, said), words)
    for id in sorted(leading.keys() | counted.leading.keys()):
        differ = leading.get(id, frozenset()) ^ counted.leading.get(id, frozenset())
        if differ:
            words = _listed(" with ".join(labels) or "nothing amiss" for labels in sorted(differ)[:MOST_TOLD])
            words = f"only one of search and second count finds it broken by: {words}"
            yield Disputed(id, Effects(id, NAME, frozenset()), words)


def _listed(found: Iterable[str]) -> str:
    return ", ".join(sorted(found)) or "nothing"
