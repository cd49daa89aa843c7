"""Plans in which somebody must act while the equipment still moves: the last resort, and marked as such.

The search takes one step after the other, whoever takes it, so its runs hold levers on while other things are done.
What is told is the same run in the order of a careful crew: what can be done with the equipment at rest is planned so,
the equipment does all that it can before anybody acts, and a lever is let go as soon as nothing that follows needs it.
"""

from __future__ import annotations

from collections.abc import Callable, Container, Iterator, Mapping, Sequence, Set
from functools import cache

from interlock.hold.floor import Placement
from interlock.hold.origin import standing, units_at_rest
from interlock.kernel.evaluator import State
from interlock.kernel.expressions import Expr, Is, Value, conj
from interlock.kernel.machine import Actor
from interlock.prove.engine import Clock
from interlock.prove.search.best_first import best_first, without_spare
from interlock.study.checklist.operating import Deed, Execution, Operation, levers_neutral
from interlock.study.checklist.planning import MOST_EXPANDED, aim_at, moving, perform_all, plan_deeds

AT_ONCE = 2
"""So many steps at once are left out of a run to see whether it does without them: a lever is held, and let go."""
CALM = 100
"""States at rest that are looked beyond for one part of a run that may need no timing."""


def plan_timed(
    operation: Operation,
    start: State,
    goal: Expr,
    clock: Clock,
    kept: Mapping[str, Value],
    barred: frozenset[str],
) -> tuple[Execution, ...] | None:
    """A run to the goal that breaks no requirement, cut before each step of the crew; None where none was found.

    At its end all levers are let go and the equipment is at rest.
    """
    found = _run_to(operation, start, goal, clock, kept, barred)
    if found is None:
        return None
    calm = _calmly(operation, start, found, clock, kept, barred)
    rest = _run_to(operation, calm[-1].after, goal, clock, kept, barred) if calm else None
    if rest is None:
        calm, rest = (), found
    return (*calm, *_calm_again(operation, rest, goal, clock, kept, barred))


def _run_to(
    operation: Operation, start: State, goal: Expr, clock: Clock, kept: Mapping[str, Value], barred: frozenset[str]
) -> tuple[Execution, ...] | None:
    allowed = moving(operation, kept, barred)
    usable = frozenset(allowed)
    wanted = conj(goal, *levers_neutral(operation))
    meets = operation.test_of(wanted)

    def successors(state: int, helping: Set[int], met: Container[int]) -> Iterator[tuple[int, int, bool]]:
        for rule, after in operation.steps(state):
            if rule in usable and after not in met and not operation.breaks(state, rule, after):
                yield rule, after, rule in helping

    def is_goal(_: int, __: int, after: int) -> bool:
        return meets(after) and operation.is_at_rest(after)

    first = operation.packing.pack(start)
    aim = aim_at(operation, wanted, allowed)
    found = best_first(operation.packing, first, aim, successors, is_goal, MOST_EXPANDED, clock)
    if found is None:
        return None

    @cache
    def sound(state: int) -> Mapping[int, int]:
        return {rule: after for rule, after in operation.steps(state) if not operation.breaks(state, rule, after)}

    def does(numbers: tuple[int, ...]) -> bool:
        state = first
        for number in numbers:
            if number not in sound(state):
                return False
            state = sound(state)[number]
        return not clock.is_over() and meets(state) and operation.is_at_rest(state)

    orderly = _in_order(operation, without_spare(tuple(found), does, AT_ONCE), does)
    return _cut(operation, first, orderly)


def _calmly(
    operation: Operation,
    start: State,
    run: Sequence[Execution],
    clock: Clock,
    kept: Mapping[str, Value],
    barred: frozenset[str],
) -> tuple[Execution, ...]:
    """Deeds from rest to rest that bring units as far as possible along the run; none where it cannot be begun so."""
    compiled = operation.compiled
    before = units_at_rest(compiled.floor, operation.machine, start)
    states = dict.fromkeys(execution.after for execution in run[:-1])
    seen: dict[tuple[Placement, ...], None] = dict.fromkeys(
        units_at_rest(compiled.floor, operation.machine, state) for state in states
    )
    for units in reversed(seen):
        if clock.is_over() or units == before:
            return ()
        there = conj(*(Is(name, part) for unit in units for name, part in standing(unit).items()))
        deeds = plan_deeds(operation, start, there, clock, kept, barred, most=CALM)
        executions = None if deeds is None else perform_all(operation, start, deeds)
        if executions:
            return executions
    return ()


def _calm_again(
    operation: Operation,
    run: tuple[Execution, ...],
    goal: Expr,
    clock: Clock,
    kept: Mapping[str, Value],
    barred: frozenset[str],
) -> tuple[Execution, ...]:
    """The run, with deeds from rest to rest from the first moment on at which these lead to the goal."""
    free = operation.test_of(conj(*levers_neutral(operation)))
    for at, execution in enumerate(run[:-1], 1):
        packed = operation.packing.pack(execution.after)
        if free(packed) and operation.is_at_rest(packed) and not clock.is_over():
            deeds = plan_deeds(operation, execution.after, goal, clock, kept, barred, most=CALM)
            executions = None if deeds is None else perform_all(operation, execution.after, deeds)
            if executions is not None:
                return (*run[:at], *executions)
    return run


def _in_order(
    operation: Operation, numbers: tuple[int, ...], does: Callable[[tuple[int, ...]], bool]
) -> tuple[int, ...]:
    """The same steps: the equipment acts before people where it can, and what is held is let go before others act."""
    by_crew = {number: operation.machine.rules[number].actor is Actor.CREW for number in numbers}
    run = list(numbers)
    for at in range(len(run)):
        if not by_crew[run[at]]:
            _move(run, at, [place for place in range(at) if by_crew[run[place]]], does)
    for at in range(len(run)):
        if operation.ends_a_deed(run[at]):
            _move(run, at, [place for place in range(at) if by_crew[run[place]]], does)
    return tuple(run)


def _move(run: list[int], at: int, places: Sequence[int], does: Callable[[tuple[int, ...]], bool]) -> None:
    """Puts the step that stands there into the first of the places in which the run still does."""
    for place in places:
        moved = (*run[:place], run[at], *run[place:at], *run[at + 1 :])
        if does(moved):
            run[:] = moved
            return


def _cut(operation: Operation, start: int, numbers: Sequence[int]) -> tuple[Execution, ...]:
    """The run in parts, each begun by a step of the crew; what ends a deed belongs to it where nobody acts between."""
    rules = operation.machine.rules
    packed = [start]
    for number in numbers:
        packed.append(operation.after(packed[-1], number))
    states = [operation.packing.unpack(one) for one in packed]
    begins = [at for at, number in enumerate(numbers) if rules[number].actor is Actor.CREW]
    if not begins or begins[0] > 0:
        begins.insert(0, 0)
    executions = []
    while begins:
        at, *begins = begins
        heads: tuple[str, ...] = ()
        if rules[numbers[at]].actor is Actor.CREW:
            heads = (operation.heads[numbers[at]],)
        halves = []
        if heads and begins and operation.follower(heads[0]) == operation.heads[numbers[begins[0]]]:
            heads += (operation.heads[numbers[begins[0]]],)
            halves.append(begins.pop(0) - at)
        stop = begins[0] if begins else len(numbers)
        names = tuple(rules[number].name for number in numbers[at:stop])
        executions.append(Execution(Deed(heads), names, tuple(states[at : stop + 1]), (*halves, stop - at)))
    return tuple(executions)
