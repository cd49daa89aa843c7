"""Plans in which somebody must act while the equipment still moves: the last resort, and marked as such."""

from __future__ import annotations

from collections.abc import Container, Iterator, Mapping, Sequence, Set

from interlock.kernel.evaluator import State
from interlock.kernel.expressions import Expr, Value, conj
from interlock.kernel.machine import Actor
from interlock.prove.engine import Clock
from interlock.prove.search.best_first import best_first
from interlock.study.checklist.operating import Deed, Execution, Operation, levers_neutral
from interlock.study.checklist.planning import MOST_EXPANDED, aim_at, moving


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
    return None if found is None else _cut(operation, first, found)


def _cut(operation: Operation, start: int, numbers: Sequence[int]) -> tuple[Execution, ...]:
    rules = operation.machine.rules
    packed = [start]
    for number in numbers:
        packed.append(operation.after(packed[-1], number))
    states = [operation.packing.unpack(one) for one in packed]
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
