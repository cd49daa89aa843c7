"""What if everybody is called away, or the power is lost, between two actions or in the middle of one?

Levers that were held spring back, the equipment goes on by itself, and nobody does anything.  Afterwards the procedure
is taken up again with the action that was not finished; where that does not lead to the goal, another way is sought.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from interlock.hold.origin import NOBODY, Condition, Crossing, Memory, Sort
from interlock.kernel.evaluator import State
from interlock.study.procedure.graph import ProcedureGraph
from interlock.study.procedure.interleavings import InterleavingSearch
from interlock.study.procedure.rescue import Rescue, find_rescue

MOST_RESCUES = 12
"""Ways out that are looked for in one audit; each can cost seconds."""


class Resumption(StrEnum):
    """How the work can go on afterwards."""

    GO_ON = "go on with the action that was not finished"
    OTHERWISE = "another way, shown"
    NOT_FOUND = "no way was found"
    NOT_SOUGHT = "not looked for"


@dataclass(frozen=True, slots=True)
class Interruption:
    """Everybody gone before action `before` (from 1; one more than there are: after the end), or in the middle of it.

    `at_risk` are the requirements that can then be broken with supplies steady, `at_risk_lost` those that can be broken
    only where power goes (and perhaps comes) as well.  `left` says how the hold may be left.  `rescue` is the other way
    where the work cannot simply go on.
    """

    before: int
    midway: bool
    at_risk: tuple[str, ...]
    at_risk_lost: tuple[str, ...]
    left: tuple[str, ...]
    resumption: Resumption
    rescue: Rescue | None


def interruptions_of(
    search: InterleavingSearch, losing: InterleavingSearch, states: int, with_loss: int
) -> tuple[tuple[Interruption, ...], int]:
    """One for every place of the procedure that is reached, in order; and how many places `losing` then has.

    `states` and `with_loss` are how many places each graph had from the procedure alone.
    """
    graph = search.graph
    ended = graph.starts[-1]
    places = [at for at, point in enumerate(graph.points) if not point.ends or at == ended]
    for node in range(with_loss):
        if losing.point[node] in places:
            losing.node(graph.gone, losing.hold[node])
    losing.explore()
    total = len(losing.edges)
    interrupted: dict[int, list[int]] = {}
    for node in range(states):
        if search.point[node] in places:
            interrupted.setdefault(search.point[node], []).append(search.node(graph.gone, search.hold[node]))
    search.explore()
    found: list[Interruption] = []
    ways: dict[State, Rescue] = {}
    sought = 0
    for point in sorted(interrupted, key=lambda at: (graph.points[at].action, graph.points[at].under_way)):
        nodes = interrupted[point]
        at_risk = search.hazards_in(search.outcome_of(nodes))
        lost_nodes = [losing.node(graph.gone, search.hold[node]) for node in nodes]
        lost = tuple(id for id in losing.hazards_in(losing.outcome_of(lost_nodes)) if id not in at_risk)
        action = graph.points[point].action
        after = _afterwards(search, losing, nodes, lost_nodes)
        resumption, rescue = Resumption.GO_ON, None
        failing = _first_failing(search, graph, action, after)
        if failing is not None:
            resumption = Resumption.NOT_SOUGHT
            if sought < MOST_RESCUES:
                sought += 1
                rescue = find_rescue(search, failing, graph.bound.goal, ways)
                resumption = Resumption.NOT_FOUND if rescue is None else Resumption.OTHERWISE
        midway = graph.points[point].under_way
        found.append(Interruption(action + 1, midway, at_risk, lost, _left(search, after), resumption, rescue))
    return tuple(found), total


def _afterwards(
    search: InterleavingSearch, losing: InterleavingSearch, nodes: Sequence[int], lost_nodes: Sequence[int]
) -> tuple[int, ...]:
    """The places in which people can find the hold when they come back: at rest, with the supplies as they were.

    Places in which the equipment still moves are left out, and so are those in which a lever has not sprung back.
    """
    graph = search.graph
    memories = graph.bound.compiled.origins.variables
    supplies = [at for at, v in enumerate(graph.machine.variables) if _is_supply(memories.get(v.name))]

    def supplied(state: Sequence[object]) -> tuple[object, ...]:
        return tuple(state[at] for at in supplies)

    found: dict[int, None] = {}
    for node in search.closure(nodes):
        if not search.edges[node]:
            found[node] = None
    wanted = {supplied(search.state(node)) for node in nodes}
    for node in losing.closure(lost_nodes):
        at_rest = all(losing.plant[-1 - what].name in graph.lost for _, what in losing.edges[node] if what < 0)
        if at_rest and all(what < 0 for _, what in losing.edges[node]) and supplied(losing.state(node)) in wanted:
            found[search.node(graph.gone, losing.hold[node])] = None
    search.explore()
    return tuple(found)


def _is_supply(memory: Memory | None) -> bool:
    return isinstance(memory, Condition) and memory.subject.sort is Sort.SUPPLY


def _first_failing(search: InterleavingSearch, graph: ProcedureGraph, action: int, after: Sequence[int]) -> int | None:
    """A place from which going on with the action does not surely lead to the goal, or breaks a requirement."""
    resumed = [(node, search.node(graph.starts[action], search.hold[node])) for node in after]
    search.explore()
    return next((node for node, again in resumed if search.outcomes[again] != search.good), None)


def _left(search: InterleavingSearch, after: Sequence[int]) -> tuple[str, ...]:
    """What somebody should know who finds the hold so: units half-way or not secured, doors not shut."""
    graph = search.graph
    things = graph.bound.compiled.world.things
    memories = graph.bound.compiled.origins.variables
    hold = graph.bound.compiled.hold
    told: dict[str, None] = {}
    for node in after:
        state = search.state(node)
        for bay in graph.bound.compiled.floor.bays:
            is_so = things[bay].states
            if search.holds(state, is_so["occupied"]) and not search.holds(state, is_so["secured"]):
                told[f"the unit in bay {bay} is not secured"] = None
        for variable, value in zip(graph.machine.variables, state, strict=True):
            if isinstance(memories.get(variable.name), Crossing) and value != NOBODY:
                told[graph.bound.compiled.glossary.values[variable.name, value]] = None
        for door in hold.doorways:
            is_so = things[door.id].states
            shut = (word for word in ("closed", "latched", "locked") if word in is_so)
            missing = next((word for word in shut if not search.holds(state, is_so[word])), None)
            if missing is not None:
                told[f"{door.name} is not {missing}"] = None
    return tuple(told)
