"""Finding deeds that lead from one state to a goal, and making such plans shorter.

Best-first search over the states in which the hold is at rest, guided by the size of a plan for the relaxed machine,
in which a variable keeps every value that it once had (`interlock.prove.search.guided` gives the references).
"""

from __future__ import annotations

from collections.abc import Mapping
from heapq import heappop, heappush
from itertools import combinations
from types import MappingProxyType

from interlock.kernel.evaluator import State
from interlock.kernel.expressions import Expr, Is, Value, conj
from interlock.kernel.machine import Machine
from interlock.prove.engine import Clock
from interlock.prove.search.delete_relaxation import DeleteRelaxation
from interlock.study.checklist.operating import Deed, Execution, Operation, Refusal

MOST_EXPANDED = 3_000
"""States at rest that are looked beyond in one search."""
NEVER = 1 << 40
"""An estimate from here on means: out of reach."""


class Planner:
    """Searches in one operation."""

    def __init__(self, operation: Operation) -> None:
        self.operation = operation
        self._places = [{value: at for at, value in enumerate(v.domain)} for v in operation.machine.variables]

    def plan(
        self,
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
        operation = self.operation
        meets = operation.test_of(goal)
        first = operation.packing.pack(start)
        if meets(first):
            return ()
        stays = operation.test_of(conj(*(Is(name, value) for name, value in kept.items())))
        free = moving(operation, kept, barred)
        machine = operation.machine
        rules = tuple(machine.rules[at] for at in free)
        relaxed = DeleteRelaxation(Machine(machine.variables, machine.signals, rules, (), machine.start), [goal])
        node = relaxed.targets[0]
        parents: dict[int, tuple[int, Deed] | None] = {first: None}
        helping: list[tuple[int, int, int]] = []
        others: list[tuple[int, int, int]] = [(0, 0, first)]
        order = 1
        expanded = turns = 0
        while (helping or others) and expanded < most and not clock.is_over():
            turns += 1
            queue = helping if helping and (turns % 4 or not others) else others
            _, _, packed = heappop(queue)
            expanded += 1
            values = operation.packing.unpack(packed)
            guess, firing = relaxed.estimate(
                [places[value] for places, value in zip(self._places, values, strict=True)], node
            )
            if guess >= NEVER:
                continue
            wanted = {operation.heads[free[rule]] for rule in firing}
            for deed in operation.choices(packed, halves):
                if not barred.isdisjoint(deed.heads):
                    continue
                after = operation.outcome(packed, deed)
                if isinstance(after, Refusal) or after in parents or not stays(after):
                    continue
                parents[after] = packed, deed
                if meets(after):
                    return _back(parents, after)
                heappush(helping if deed.heads[0] in wanted else others, (guess, order, after))
                order += 1
        return None

    def replay(self, start: State, deeds: tuple[Deed, ...]) -> tuple[Execution, ...] | None:
        """What each deed leads to, one after the other; None where one of them does not do."""
        state = start
        executions = []
        for deed in deeds:
            execution = self.operation.perform(state, deed)
            if isinstance(execution, Refusal):
                return None
            executions.append(execution)
            state = execution.after
        return tuple(executions)

    def shorten(self, start: State, deeds: tuple[Deed, ...], goal: Expr) -> tuple[Deed, ...]:
        """The plan without deeds, or pairs of deeds, that it reaches the goal without; never longer."""
        meets = self.operation.test_of(goal)
        first = self.operation.packing.pack(start)

        def does(kept: tuple[Deed, ...]) -> bool:
            state = first
            for deed in kept:
                after = self.operation.outcome(state, deed)
                if isinstance(after, Refusal):
                    return False
                state = after
            return meets(state)

        again = True
        while again:
            again = False
            for gone in (1, 2):
                for places in combinations(reversed(range(len(deeds))), gone):
                    kept = tuple(deed for at, deed in enumerate(deeds) if at not in places)
                    if does(kept):
                        deeds, again = kept, True
                        break
                if again:
                    break
        return deeds


def moving(operation: Operation, kept: Mapping[str, Value], barred: frozenset[str]) -> list[int]:
    """The places of the rules that leave the kept values alone and are not barred."""
    return [
        at
        for at, rule in enumerate(operation.machine.rules)
        if operation.heads[at] not in barred and all(kept.get(name, value) == value for name, value in rule.update)
    ]


def _back(parents: Mapping[int, tuple[int, Deed] | None], packed: int) -> tuple[Deed, ...]:
    deeds: list[Deed] = []
    while (step := parents[packed]) is not None:
        packed, deed = step
        deeds.append(deed)
    return tuple(reversed(deeds))
