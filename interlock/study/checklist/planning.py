"""Finding deeds that lead from one state to a goal, and making such plans shorter.

The search is the engines' own (`interlock.prove.search.best_first`), over the states in which the hold is at rest.
"""

from __future__ import annotations

from collections.abc import Container, Iterator, Mapping, Set
from types import MappingProxyType

from interlock.kernel.evaluator import State
from interlock.kernel.expressions import Expr, Is, Value, conj
from interlock.prove.engine import Clock
from interlock.prove.search.best_first import best_first, without_spare
from interlock.prove.search.delete_relaxation import DeleteRelaxation, RelaxedGoal
from interlock.study.checklist.operating import Deed, Execution, Operation, Refusal

MOST_EXPANDED = 3_000
"""States at rest that are looked beyond in one search."""
TOGETHER = 2
"""So many deeds at once are left out of a plan to see whether it does without them."""


def plan_deeds(
    operation: Operation,
    start: State,
    goal: Expr,
    clock: Clock,
    kept: Mapping[str, Value] = MappingProxyType({}),
    barred: frozenset[str] = frozenset(),
    halves: bool = False,
    most: int = MOST_EXPANDED,
) -> tuple[Deed, ...] | None:
    """Deeds from a state at rest to one that satisfies the goal; None where the search finds none.

    `kept` are values, true at the start, that no rule may change on the way: without them the search would take
    units that stand where they belong for those that are still to come.  Rules with a head in `barred` are left
    out.  The same call gives the same plan, unless the clock cuts it short.
    """
    meets = operation.test_of(goal)
    first = operation.packing.pack(start)
    if meets(first):
        return ()
    stays = operation.test_of(conj(*(Is(name, value) for name, value in kept.items())))

    def successors(state: int, helping: Set[int], met: Container[int]) -> Iterator[tuple[Deed, int, bool]]:
        wanted = {operation.heads[rule] for rule in helping}
        for deed in operation.choices(state, halves):
            if barred.isdisjoint(deed.heads):
                after = operation.outcome(state, deed)
                if not isinstance(after, Refusal) and after not in met and stays(after):
                    yield deed, after, deed.heads[0] in wanted

    aim = aim_at(operation, goal, moving(operation, kept, barred))
    found = best_first(operation.packing, first, aim, successors, lambda _, __, after: meets(after), most, clock)
    return None if found is None else tuple(found)


def perform_all(operation: Operation, start: State, deeds: tuple[Deed, ...]) -> tuple[Execution, ...] | None:
    """What each deed leads to, one after the other; None where one of them does not do."""
    state = start
    executions = []
    for deed in deeds:
        execution = operation.perform(state, deed)
        if isinstance(execution, Refusal):
            return None
        executions.append(execution)
        state = execution.after
    return tuple(executions)


def shorten(operation: Operation, start: State, deeds: tuple[Deed, ...], goal: Expr, clock: Clock) -> tuple[Deed, ...]:
    """The plan without deeds, or pairs of deeds, that it reaches the goal without; never longer.

    When the clock is over the rest stays in.
    """
    meets = operation.test_of(goal)
    first = operation.packing.pack(start)

    def does(kept: tuple[Deed, ...]) -> bool:
        if clock.is_over():
            return False
        state = first
        for deed in kept:
            after = operation.outcome(state, deed)
            if isinstance(after, Refusal):
                return False
            state = after
        return meets(state)

    return without_spare(deeds, does, TOGETHER)


def moving(operation: Operation, kept: Mapping[str, Value], barred: frozenset[str]) -> list[int]:
    """The places of the rules that leave the kept values alone and are not barred."""
    return [
        at
        for at, rule in enumerate(operation.machine.rules)
        if operation.heads[at] not in barred and all(kept.get(name, value) == value for name, value in rule.update)
    ]


def aim_at(operation: Operation, goal: Expr, rules: list[int]) -> RelaxedGoal:
    """The goal, to be reached by these rules alone."""
    relaxation = DeleteRelaxation(operation.machine, [goal], rules)
    return RelaxedGoal(relaxation, relaxation.targets[0])
