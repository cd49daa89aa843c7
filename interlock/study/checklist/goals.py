"""What a checklist is to bring about, cut into parts of one unit each: far bays are filled first and emptied last."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import combinations
from typing import TypeAlias

from interlock.diagnostics.nearest import nearest_name
from interlock.hold.compile.compiler import CompiledHold
from interlock.hold.floor import Floor, Placement
from interlock.hold.origin import EMPTY, NOBODY, Bring, Crossing, Holding, standing, units_at_rest
from interlock.kernel.evaluator import State, evaluate
from interlock.kernel.expressions import Expr, Is, Value, conj, disj

ALL = "all"


class GoalFault(ValueError):
    """What is asked for makes no sense for this hold; the message is for whoever asked."""


@dataclass(frozen=True, slots=True)
class Load:
    """Bring units aboard: (bay or `all`, kind) pairs, then shut the hold."""

    wanted: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class Unload:
    """Take units out of these bays, or out of `all`, then shut the hold."""

    bays: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Reach:
    """Bring about what an expression says, as it is written."""

    text: str
    expression: Expr


Goal: TypeAlias = Load | Unload | Reach
Distances: TypeAlias = Mapping[Placement, tuple[int, str]]
"""Per place how many moves it is from a loader, and by which door."""


@dataclass(frozen=True, slots=True)
class Aim:
    """The goal of one leg.

    `what` is open, load, unload, shut or reach; `units` the placements that a load or unload is about; `doors` the
    doors that an open or shut is about.  `goals` are tried in this order: the later ask for less of what is only tidy.
    `kept` are the units that stay where they are throughout.  `via` is brought about first, where it is given: the
    way there would otherwise be lost on a search that only sees what has to be so at the end.  `barred` rules play no
    part.
    """

    what: str
    goals: tuple[Expr, ...]
    units: tuple[Placement, ...] = ()
    doors: tuple[str, ...] = ()
    text: str = ""
    kept: tuple[Placement, ...] = ()
    via: Expr | None = None
    barred: frozenset[str] = frozenset()

    @property
    def standing(self) -> Mapping[str, Value]:
        """The variables, with their values, that say that the kept units stay where they are."""
        return _places(self.kept)

    def loosened(self, compiled: CompiledHold) -> Mapping[str, Value]:
        """The same without the units near the one that the leg is about: these may have to move with it and back."""
        rows = {compiled.floor.cells[cell].row for unit in self.units for cell in unit.cells}
        if not rows:
            return self.standing
        near = range(min(rows) - 1, max(rows) + 2)
        return _places([u for u in self.kept if not any(compiled.floor.cells[cell].row in near for cell in u.cells)])


def _places(units: Iterable[Placement]) -> Mapping[str, Value]:
    return {name: part for unit in units for name, part in standing(unit).items()}


def aims_of(compiled: CompiledHold, goal: Goal, start: State) -> tuple[Aim, ...]:
    """The legs that lead to the goal from the start.  Raises GoalFault."""
    if isinstance(goal, Reach):
        return (Aim("reach", (goal.expression,), text=goal.text),)
    aboard = placements_in(compiled, start)
    distances = _distances(compiled)
    legs: Iterator[Aim]
    match goal:
        case Load():
            units = _units_to_load(compiled, goal, aboard, distances)
            units.sort(key=lambda unit: (-distances[unit][0], _place_of(compiled, unit)))
            legs = _loading(compiled, aboard, units)
            there = [*aboard, *units]
        case Unload():
            units = _units_to_unload(compiled, goal, aboard)
            units.sort(key=lambda unit: (distances[unit][0], _place_of(compiled, unit)))
            legs = _unloading(compiled, aboard, units)
            there = [unit for unit in aboard if unit not in units]
    return (_opening(compiled, aboard, units, distances), *legs, _shutting(compiled, there, start))


def placements_in(compiled: CompiledHold, state: State) -> tuple[Placement, ...]:
    """The units at rest in bays, in the order of the floor."""
    return tuple(filter(compiled.floor.is_inside, units_at_rest(compiled.floor, compiled.machine, state)))


def _place_of(compiled: CompiledHold, placement: Placement) -> int:
    return compiled.floor.bays.index(placement.cells[0])


def _distances(compiled: CompiledHold) -> Distances:
    """(moves from the loader, door) of every placement that some unit can come to, devices left aside."""
    ways = ways_on(compiled.floor)
    found: dict[Placement, tuple[int, str]] = {place: (0, door) for door, place in compiled.floor.entries}
    pending = deque(found)
    while pending:
        here = pending.popleft()
        for after in ways.get(here, ()):
            if after not in found:
                found[after] = found[here][0] + 1, found[here][1]
                pending.append(after)
    return found


def ways_on(floor: Floor) -> Mapping[Placement, Sequence[Placement]]:
    """Where a unit can go from each place that it can leave, in the order of the moves."""
    ways: dict[Placement, list[Placement]] = {}
    for move in floor.moves:
        ways.setdefault(move.source, []).append(move.target)
    return ways


def _units_to_load(
    compiled: CompiledHold, goal: Load, aboard: Sequence[Placement], distances: Distances
) -> list[Placement]:
    kinds = [unit.id for unit in compiled.hold.units]
    taken = {cell for placement in aboard for cell in placement.cells}
    chosen: list[Placement] = []
    for bay, kind in goal.wanted:
        if kind not in kinds:
            raise GoalFault(f"there is no kind of unit {kind!r}; {_known(kind, kinds)}")
        inside = [
            p for p in compiled.floor.placements if p.kind == kind and compiled.floor.is_inside(p) and p in distances
        ]
        if bay == ALL:
            for placement in sorted(inside, key=lambda p: _place_of(compiled, p)):
                if not taken & set(placement.cells):
                    chosen.append(placement)
                    taken |= set(placement.cells)
            continue
        if bay not in compiled.floor.bays:
            raise GoalFault(f"there is no bay {bay!r}; {_known(bay, compiled.floor.bays)}")
        here = [p for p in inside if p.cells[0] == bay] or [p for p in inside if bay in p.cells]
        if not here:
            raise GoalFault(_does_not_fit(compiled, bay, kind, distances))
        if taken & set(here[0].cells):
            raise GoalFault(_is_taken(bay, kind, here[0], [*aboard, *chosen]))
        chosen.append(here[0])
        taken |= set(here[0].cells)
    if not chosen:
        raise GoalFault("there is nothing to load: every bay is taken already")
    return chosen


def _known(word: str, names: Sequence[str]) -> str:
    near = nearest_name(word, names)
    return f"there is: {', '.join(names)}" if near is None else f"did you mean {near!r}?"


def _does_not_fit(compiled: CompiledHold, bay: str, kind: str, distances: Distances) -> str:
    """Where units of this kind can stand, and what the bay can take."""
    can = [p for p in compiled.floor.placements if compiled.floor.is_inside(p) and p in distances]
    places = ["+".join(p.cells) for p in can if p.kind == kind]
    kinds = list(dict.fromkeys(p.kind for p in can if bay in p.cells))
    return (
        f"a unit of kind {kind} cannot stand in bay {bay}, or nothing can bring it there; such units can stand in: "
        f"{', '.join(places) or 'no bay'}; bay {bay} can take: {', '.join(kinds) or 'nothing'}"
    )


def _is_taken(bay: str, kind: str, wanted: Placement, others: Sequence[Placement]) -> str:
    other = next(p for p in others if set(p.cells) & set(wanted.cells))
    what = "bay " + bay if len(wanted.cells) == 1 else f"a unit of kind {kind} takes {' and '.join(wanted.cells)}: one"
    return f"{what} is taken already, by the unit of kind {other.kind} in {' and '.join(other.cells)}"


def _units_to_unload(compiled: CompiledHold, goal: Unload, aboard: Sequence[Placement]) -> list[Placement]:
    if ALL in goal.bays:
        chosen = list(aboard)
    else:
        chosen = []
        for bay in goal.bays:
            if bay not in compiled.floor.bays:
                raise GoalFault(f"there is no bay {bay!r}; {_known(bay, compiled.floor.bays)}")
            here = [p for p in aboard if bay in p.cells]
            if not here:
                raise GoalFault(f"bay {bay} is empty at the start")
            chosen += [p for p in here if p not in chosen]
    if not chosen:
        raise GoalFault("there is nothing to unload: every bay is empty at the start")
    return chosen


def _loading(compiled: CompiledHold, aboard: Sequence[Placement], units: Sequence[Placement]) -> Iterator[Aim]:
    there = list(aboard)
    for unit in units:
        before = tuple(there)
        there.append(unit)
        aboard_now = _aboard_exactly(compiled, there)
        goals = (
            conj(*aboard_now, *_secured(compiled, there)),
            conj(*aboard_now, *_secured(compiled, [unit])),
            conj(*aboard_now),
        )
        yield Aim("load", goals, (unit,), kept=before)


def _unloading(compiled: CompiledHold, aboard: Sequence[Placement], units: Sequence[Placement]) -> Iterator[Aim]:
    there = list(aboard)
    # nothing new comes while something is to go
    brought = frozenset(name for name, deed in compiled.origins.deeds.items() if isinstance(deed, Bring))
    for unit in units:
        there.remove(unit)
        aboard_now = _aboard_exactly(compiled, there)
        goals = (conj(*aboard_now, *_secured(compiled, there)), conj(*aboard_now))
        via = _on_loader(compiled, (unit,), there)
        yield Aim("unload", goals, (unit,), kept=tuple(there), via=via, barred=brought)


def joined(compiled: CompiledHold, first: Aim, second: Aim) -> Aim:
    """One leg in the place of two that unload: the doorway may be such that only both units can go together."""
    units = (*first.units, *second.units)
    return replace(second, units=units, via=_on_loader(compiled, units, second.kept))


def _on_loader(compiled: CompiledHold, units: Sequence[Placement], there: Sequence[Placement]) -> Expr | None:
    """As many units stand on the loader, and all that stay stand where they stand; None if the loader is too small."""
    entries = [place for _, place in compiled.floor.entries if place.kind == units[0].kind]
    ways = combinations(entries, len(units))
    apart = [way for way in ways if len({c for place in way for c in place.cells}) == sum(len(p.cells) for p in way)]
    if not apart or any(unit.kind != units[0].kind for unit in units):
        return None
    return conj(disj(*(conj(*_stand(way)) for way in apart)), *_stand(there))


def _stand(units: Iterable[Placement]) -> list[Expr]:
    return [Is(name, part) for name, part in _places(units).items()]


def _aboard_exactly(compiled: CompiledHold, units: Sequence[Placement]) -> list[Expr]:
    """These units stand where they stand; every other bay, and the loader, holds nothing; nothing is half-way."""
    memories = compiled.origins.variables
    taken = {cell for unit in units for cell in unit.cells}
    others = [name for cell in compiled.floor.cells if cell not in taken and (name := Holding(cell).name) in memories]
    faces = [name for name, memory in memories.items() if isinstance(memory, Crossing)]
    return [*_stand(units), *(Is(name, EMPTY) for name in others), *(Is(name, NOBODY) for name in faces)]


def _secured(compiled: CompiledHold, units: Iterable[Placement]) -> list[Expr]:
    return [compiled.world.things[cell].states["secured"] for unit in units for cell in unit.cells]


def _opening(
    compiled: CompiledHold,
    aboard: Sequence[Placement],
    units: Sequence[Placement],
    distances: Distances,
) -> Aim:
    used = {distances[unit][1] for unit in units if unit in distances}
    doors = tuple(door.id for door in compiled.hold.doorways if door.id in used)
    opened = conj(*(compiled.world.things[door].states["open"] for door in doors))
    secured = conj(opened, *_secured(compiled, aboard))
    return Aim("open", (secured, opened), doors=doors, kept=tuple(aboard))


def powered(compiled: CompiledHold) -> list[Expr]:
    """That each power circuit is on."""
    states = (compiled.world.things[one.id].states for one in compiled.hold.circuits if one.use == "power")
    return [those["on"] for those in states if "on" in those]


def _shutting(compiled: CompiledHold, there: Sequence[Placement], start: State) -> Aim:
    """All power off; where that cannot be, since some is always on, what was off at the start."""
    hold, things = compiled.hold, compiled.world.things
    load = [*_aboard_exactly(compiled, there), *_secured(compiled, there)]
    shut: list[Expr] = []
    for door in hold.doorways:
        states = things[door.id].states
        shut += [states[word] for word in ("closed", "latched", "locked") if word in states]
    power = [
        things[circuit.id].states["off"]
        for circuit in hold.circuits
        if circuit.use == "power" and "off" in things[circuit.id].states
    ]
    as_found = [off for off in power if evaluate(compiled.machine, off, start)]
    tidy: list[Expr] = []
    for control in hold.controls:
        states = things[control.id].states
        starts = control.starts or tuple(states)[:1]
        if len(starts) == 1 and starts[0] in states:
            tidy.append(states[starts[0]])
    tidy += [things[p.id].states[p.starts[0]] for p in hold.people if len(p.starts) == 1]
    safe = conj(*load, *shut)
    ends = ((*power, *tidy), power, (*as_found, *tidy), as_found, ())
    goals = tuple(dict.fromkeys(conj(safe, *end) for end in ends))
    return Aim("shut", goals, doors=tuple(door.id for door in hold.doorways), kept=tuple(there), via=safe)
