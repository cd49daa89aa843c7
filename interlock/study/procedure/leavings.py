"""How the hold is left otherwise than it was found, where the goal does not speak of it."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import partial
from itertools import pairwise

from interlock.hold.compile.compiler import CompiledHold
from interlock.hold.origin import Condition, Sort
from interlock.kernel.evaluator import State
from interlock.kernel.expressions import Expr, Value
from interlock.kernel.machine import support_of
from interlock.study.procedure.interleavings import InterleavingSearch, Way

_TOLD = frozenset({Sort.DOOR, Sort.PERSON, Sort.DEVICE, Sort.SUPPLY})


@dataclass(frozen=True, slots=True)
class Leaving:
    """Something that was one way at the start and may be another at the end; `action` (from 1) is what last made it so.

    `grave`: somebody can come to harm by it: power on, a lever held, a door open, a person inside.
    """

    what: str
    action: int | None
    grave: bool


def leavings_of(search: InterleavingSearch, states: int) -> tuple[Leaving, ...]:
    """One for each thing, power circuits first; `states` are the places that the procedure reaches rightly."""
    graph = search.graph
    ends = [node for node in range(states) if search.point[node] == graph.starts[-1] and not search.edges[node]]
    if not ends:
        return ()
    compiled = graph.bound.compiled
    spoken = support_of(graph.machine, graph.bound.goal)
    found: dict[str, Leaving] = {}
    told: set[str] = set()
    for circuit, on in _power(search, ends):
        way = search.way_to(search.first, frozenset(node for node in ends if search.holds(search.state(node), on)))
        action, changed = _made(search, way, partial(_comes_about, search, on))
        if not _is_asked_for(search, way, changed):
            told |= changed
            found[circuit] = Leaving(f"{circuit} was off at the start and is on at the end", action, True)
    for at, variable in enumerate(graph.machine.variables):
        memory = compiled.origins.variables.get(variable.name)
        if not isinstance(memory, Condition) or variable.name in spoken | told or memory.subject.id in found:
            continue
        first = {search.state(node)[at] for node in search.first}
        other = next((node for node in ends if search.state(node)[at] not in first), None)
        if other is not None and (memory.subject.sort in _TOLD or memory.subject.sort.is_control):
            now = search.state(other)[at]
            said = (compiled.glossary.values.get((variable.name, value), "") for value in (now, min(first, key=str)))
            action, _ = _made(search, search.way_to(search.first, frozenset([other])), partial(_differ, at))
            text = "{} at the end; at the start: {}".format(*said)
            found[memory.subject.id] = Leaving(text, action, _is_grave(compiled, memory, now))
    return tuple(sorted(found.values(), key=lambda one: not one.grave))


def _power(search: InterleavingSearch, ends: Sequence[int]) -> Iterator[tuple[str, Expr]]:
    """Power circuits, each with its being on, that are off at the start and may be on at the end."""
    compiled = search.graph.bound.compiled
    for circuit in compiled.hold.circuits:
        states = compiled.world.things[circuit.id].states
        if circuit.use != "power" or "on" not in states:
            continue
        on = states["on"]
        off = not any(search.holds(search.state(node), on) for node in search.first)
        if off and any(search.holds(search.state(node), on) for node in ends):
            yield circuit.name, on


def _is_asked_for(search: InterleavingSearch, way: Way, changed: set[str]) -> bool:
    """The goal would be missed at the end of the way, were these variables there as they were at its start.

    That the goal speaks of a bay that a powered device helps to secure does not ask for the power.
    """
    start, end = (search.state(node) for node, _ in (way[0], way[-1]))
    variables = search.graph.machine.variables
    as_found = tuple(
        was if variable.name in changed else now for variable, was, now in zip(variables, start, end, strict=True)
    )
    return not search.holds(as_found, search.graph.bound.goal)


def _comes_about(search: InterleavingSearch, expr: Expr, old: State, new: State) -> bool:
    return search.holds(new, expr) and not search.holds(old, expr)


def _differ(at: int, old: State, new: State) -> bool:
    return old[at] != new[at]


def _made(search: InterleavingSearch, way: Way, makes: Callable[[State, State], bool]) -> tuple[int | None, set[str]]:
    """The action (from 1) with or after which a step last did that on the way, and the variables that it changed."""
    action: int | None = None
    changed: set[str] = set()
    doing: int | None = None
    for (before, _), (after, what) in pairwise(way):
        if what is not None and what >= 0:
            doing = search.graph.moves[what].action + 1
        old, new = search.state(before), search.state(after)
        if makes(old, new):
            action = doing
            variables = search.graph.machine.variables
            changed = {v.name for v, was, now in zip(variables, old, new, strict=True) if was != now}
    return action, changed


def _is_grave(compiled: CompiledHold, memory: Condition, now: Value) -> bool:
    """A lever held, a supply on, a door not as it was, a person inside."""
    subject = memory.subject
    if subject.sort is Sort.PERSON:
        return any(place.id == now and place.bay is not None for place in compiled.hold.places)
    return subject.sort.is_held or subject.sort is Sort.DOOR or (subject.sort is Sort.SUPPLY and now == "on")
