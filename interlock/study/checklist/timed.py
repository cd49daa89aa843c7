"""Plans in which somebody must act while the equipment still moves: the last resort, and marked as such."""

from __future__ import annotations

from collections.abc import Mapping
from heapq import heappop, heappush

from interlock.kernel.evaluator import State
from interlock.kernel.expressions import Expr, Value, conj
from interlock.kernel.machine import Actor, Machine
from interlock.prove.engine import Clock
from interlock.prove.search.delete_relaxation import DeleteRelaxation
from interlock.study.checklist.operating import Deed, Execution, Operation, levers_neutral
from interlock.study.checklist.planning import NEVER, moving

MOST_EXPANDED = 3_000


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
    machine, packing = operation.machine, operation.packing
    free = moving(operation, kept, barred)
    wanted = conj(goal, *levers_neutral(operation))
    meets = operation.test_of(wanted)
    relaxed = DeleteRelaxation(
        Machine(machine.variables, machine.signals, tuple(machine.rules[at] for at in free), (), machine.start),
        [wanted],
    )
    places = [{value: at for at, value in enumerate(v.domain)} for v in machine.variables]
    allowed = set(free)
    first = packing.pack(start)
    parents: dict[int, tuple[int, int] | None] = {first: None}
    helping: list[tuple[int, int, int]] = []
    others = [(0, 0, first)]
    order = 1
    expanded = 0
    while (helping or others) and expanded < MOST_EXPANDED and not clock.is_over():
        expanded += 1
        queue = helping if helping and (expanded % 4 or not others) else others
        _, _, packed = heappop(queue)
        values = [known[value] for known, value in zip(places, packing.unpack(packed), strict=True)]
        guess, firing = relaxed.estimate(values, relaxed.targets[0])
        if guess >= NEVER:
            continue
        first_rules = {free[at] for at in firing}
        for number, after in operation.steps(packed):
            if number not in allowed or after in parents or operation.breaks(packed, number, after):
                continue
            parents[after] = packed, number
            if meets(after) and operation.is_at_rest(after):
                return _cut(operation, parents, after)
            heappush(helping if number in first_rules else others, (guess, order, after))
            order += 1
    return None


def _cut(operation: Operation, parents: Mapping[int, tuple[int, int] | None], end: int) -> tuple[Execution, ...]:
    numbers: list[int] = []
    packed = [end]
    while (step := parents[packed[-1]]) is not None:
        packed.append(step[0])
        numbers.append(step[1])
    numbers.reverse()
    states = [operation.packing.unpack(one) for one in reversed(packed)]
    rules = operation.machine.rules
    begins = [at for at, number in enumerate(numbers) if rules[number].actor is Actor.CREW]
    if not begins or begins[0] > 0:
        begins.insert(0, 0)
    executions = []
    for at, begin in enumerate(begins):
        stop = begins[at + 1] if at + 1 < len(begins) else len(numbers)
        by_crew = rules[numbers[begin]].actor is Actor.CREW
        deed = Deed((operation.heads[numbers[begin]],) if by_crew else ())
        names = tuple(rules[number].name for number in numbers[begin:stop])
        executions.append(Execution(deed, names, tuple(states[begin : stop + 1]), (stop - begin,)))
    return tuple(executions)
