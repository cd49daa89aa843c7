"""Where there is no checklist for a goal: a goal near to it for which there is one, found by planning it."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from heapq import heappop, heappush
from itertools import islice
from typing import TypeAlias

from interlock.hold.compile.compiler import CompiledHold
from interlock.hold.floor import Placement
from interlock.kernel.evaluator import State
from interlock.study.checklist.goals import ALL, Aim, Goal, GoalFault, Load, Unload, placements_in, ways_on

MOST_TRIED = 8
"""Goals that are planned in search of one; each can take a second."""
MOST_PLACES = 3
"""Other places that are tried for one unit."""

Plans: TypeAlias = Callable[[Goal, State], State | None]
"""The state at the end of a plan for the goal from the state; None where no plan was found."""


@dataclass(frozen=True, slots=True)
class Nearest:
    """Goals, one after another, for each of which a plan was found in the place of the one that was asked for.

    `in_the_way` are units that have to move although nobody asked for them; `left_out` are the units asked for that
    are not loaded where they were asked for.
    """

    goals: tuple[Goal, ...]
    in_the_way: tuple[Placement, ...]
    left_out: tuple[Placement, ...]


def find_nearest(compiled: CompiledHold, goal: Goal, aim: Aim, start: State, plans: Plans) -> Nearest | None:
    """The first of the nearest goals that can be planned; fewest other units to move come first."""
    aboard = placements_in(compiled, start)
    for near in islice(_candidates(compiled, goal, aim, aboard), MOST_TRIED):
        state: State | None = start
        for one in near.goals:
            try:
                state = None if state is None else plans(one, state)
            except GoalFault:
                state = None
        if state is not None:
            return near
    return None


def _candidates(compiled: CompiledHold, goal: Goal, aim: Aim, aboard: Sequence[Placement]) -> Iterator[Nearest]:
    if isinstance(goal, Unload) and aim.what == "unload" and ALL not in goal.bays:
        asked = [unit for unit in aboard if set(goal.bays) & set(unit.cells)]
        way = [unit for unit in blockers(compiled, aim.units[0], aboard) if unit not in asked]
        # those nearest the way out may do; failing that, all of them
        for last in (*range(1, min(MOST_PLACES, len(way))), *([len(way)] if way else [])):
            yield Nearest((Unload((*goal.bays, *(unit.cells[0] for unit in way[:last]))),), tuple(way[:last]), ())
        return
    if not isinstance(goal, Load):
        return
    wanted = _wanted(compiled, goal, aboard)
    units = list(aim.units) if aim.what == "load" else list(reversed(wanted))
    for unit in aim.units if aim.what == "load" else ():
        standing = blockers(compiled, unit, aboard)
        if standing:
            out = Unload(tuple(one.cells[0] for one in standing))
            yield Nearest((out, _load_of([*wanted, *standing])), standing, ())
    for unit in units:
        rest = [one for one in wanted if one != unit]
        for other in _beside(compiled, unit, [*aboard, *rest])[:MOST_PLACES]:
            yield Nearest((_load_of([*rest, other]),), (), (unit,))
        if rest:
            yield Nearest((_load_of(rest),), (), (unit,))


def _load_of(units: Iterable[Placement]) -> Load:
    return Load(tuple((unit.cells[0], unit.kind) for unit in units))


def _wanted(compiled: CompiledHold, goal: Load, aboard: Sequence[Placement]) -> list[Placement]:
    """The units that the goal asks for, as far as they can be told from each other."""
    taken = {cell for unit in aboard for cell in unit.cells}
    found: list[Placement] = []
    for bay, kind in goal.wanted:
        for unit in compiled.floor.placements:
            if (
                unit.kind == kind
                and compiled.floor.is_inside(unit)
                and bay in (ALL, unit.cells[0])
                and not taken & set(unit.cells)
            ):
                found.append(unit)
                taken |= set(unit.cells)
                if bay != ALL:
                    break
    return found


def _beside(compiled: CompiledHold, unit: Placement, taken: Sequence[Placement]) -> list[Placement]:
    """Other places for a unit of this kind, nearest first."""
    floor = compiled.floor
    here = floor.cells[unit.cells[0]]
    used = {cell for one in taken for cell in one.cells}
    found = []
    for other in floor.placements:
        if other.kind == unit.kind and other != unit and floor.is_inside(other) and not used & set(other.cells):
            there = floor.cells[other.cells[0]]
            found.append((abs(there.row - here.row) + abs(there.lane - here.lane), floor.bays.index(there.id), other))
    return [other for _, _, other in sorted(found, key=lambda entry: entry[:2])]


def blockers(compiled: CompiledHold, unit: Placement, aboard: Sequence[Placement]) -> tuple[Placement, ...]:
    """The units that stand on a way between the unit's place and a loader, of all ways the one with the fewest.

    Nearest the loader first.
    """
    others = [one for one in aboard if one != unit]
    ways = ways_on(compiled.floor)
    ends = {placement for _, placement in compiled.floor.entries}
    best: dict[Placement, int] = {unit: 0}
    queue: list[tuple[int, int, int, Placement, tuple[Placement, ...]]] = [(0, 0, 0, unit, ())]
    order = 0
    while queue:
        met, steps, _, here, way = heappop(queue)
        if here in ends:
            return tuple(reversed(way))
        if met > best[here]:
            continue
        for after in ways.get(here, ()):
            hit = [one for one in others if set(one.cells) & set(after.cells) and one not in way]
            number = met + len(hit)
            if number < best.get(after, number + 1):
                best[after] = number
                order += 1
                heappush(queue, (number, steps + 1, order, after, (*way, *hit)))
    return ()
