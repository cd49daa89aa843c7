"""What the search says of slips, counted a second time from the state machine that the procedure means."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from time import monotonic

from interlock.confirm.consequences import MOST_PLACES, Consequences, Track, Watched, count_consequences
from interlock.kernel.claims import AnyClaim, Disputed
from interlock.kernel.expressions import Expr, Value, conj, neg
from interlock.kernel.machine import Machine, Requirement, allowed_by, question_of
from interlock.prove.engine import Clock
from interlock.study.procedure.graph import AT, GONE, ProcedureGraph, move_name, procedure_machine

NAME = "procedure"


@dataclass(frozen=True, slots=True)
class SecondCount:
    """How far the second count went: `together` slips (0: nothing was counted, and `why`), in so many `states`.

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
    together: int,
    effects: Mapping[str, frozenset[str]],
    fewest: Mapping[str, int],
    places: int,
    clock: Clock,
) -> tuple[SecondCount, tuple[Disputed, ...]]:
    """Compares what is said of each slip that can be made, and of the fewest slips that break each requirement.

    `track` is that of the procedure with up to `together` slips; `places` is how many the search went through: where
    they are too many nothing is counted.
    """
    if places > MOST_PLACES:
        return SecondCount(0, 0, f"more than {MOST_PLACES:,} places"), ()
    left = clock.seconds_left()
    # a place is counted once for each number of slips before it
    most = 4 * MOST_PLACES
    counted = count_consequences(track, most, None if left is None else monotonic() + left)
    if counted.stopped:
        return SecondCount(0, counted.states, counted.stopped), ()
    wrong = tuple(_differences(counted, effects, fewest))
    return SecondCount(together, counted.states, "", not wrong), wrong


def track_of(graph: ProcedureGraph, together: int, machine: Machine | None = None) -> Track:
    """The state machine of the procedure with what the second count watches: every requirement, every end.

    `machine` is that of `procedure_machine(graph, lost=False, slips=together)`, where it has been made before.
    """
    machine = machine or procedure_machine(graph, lost=False, slips=together)
    departures = {
        move_name(graph, place, made): graph.slips[move.slip].id
        for place, move in enumerate(graph.moves)
        if move.slip is not None
        for made in range(together)
    }
    ends: dict[Value, Expr | None] = {point.name: None for point in graph.points if point.stopped}
    ends[GONE] = None
    ends[graph.points[graph.starts[-1]].name] = graph.bound.goal
    return Track(machine, AT, departures, {one.id: _watched(machine, one) for one in machine.requirements}, ends)


def _watched(machine: Machine, requirement: Requirement) -> Watched:
    if requirement.kind.is_about_steps:
        return Watched(conj(requirement.situation, neg(allowed_by(requirement))), requirement.steps)
    return Watched(question_of(machine, requirement).target, None)


def _differences(
    counted: Consequences, effects: Mapping[str, frozenset[str]], fewest: Mapping[str, int]
) -> list[Disputed]:
    found = []
    for slip in sorted(effects.keys() | counted.of.keys()):
        said, seen = effects.get(slip, frozenset()), counted.of.get(slip, frozenset())
        if said != seen or (slip in effects) != (slip in counted.of):
            words = f"a second count finds {_listed(seen)} to come of it, the search {_listed(said)}"
            found.append(Disputed(slip, Effects(slip, NAME, said), words))
    for id in sorted(fewest.keys() | counted.fewest.keys()):
        if fewest.get(id) != counted.fewest.get(id):
            words = f"a second count breaks it with {counted.fewest.get(id)} slips, the search with {fewest.get(id)}"
            found.append(Disputed(id, Effects(id, NAME, frozenset()), words))
    return found


def _listed(found: frozenset[str]) -> str:
    return ", ".join(sorted(found)) or "nothing"
