"""Which steps of a leg may be exchanged: every order that is called free has been worked through."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from interlock.kernel.evaluator import State
from interlock.prove.engine import Clock, OutOfTime
from interlock.study.checklist.operating import Execution, Operation, Refusal
from interlock.study.checklist.partial_orders import MOST_DOWNSETS, available, count_orders, predecessors_of, reduced

MOST_LOOKED_AT = 4_000
"""Sets of first steps that are worked through for one leg."""


@dataclass(frozen=True, slots=True)
class Freedom:
    """The partial order of a leg's steps, places counting from 0.

    `pairs` are the (earlier, later) pairs that do not follow from others.  Each order that they allow, of which there
    are `count`, is possible, breaks nothing and ends in the same state: all were worked through.  `count` is None
    where there were too many sets of first steps to look at, or no time; the order written is then the only one
    spoken for.
    """

    size: int
    pairs: tuple[tuple[int, int], ...]
    count: int | None

    @property
    def before(self) -> tuple[int, ...]:
        """Per place the mask of all places that must come before it."""
        return predecessors_of(self.size, self.pairs)


def freedom_of(
    operation: Operation,
    start: State,
    executions: Sequence[Execution],
    timed: bool,
    clock: Clock,
    fixed: frozenset[tuple[int, int]] = frozenset(),
) -> Freedom:
    """The partial order of the courses' deeds from the start; pairs that are `fixed` are not exchanged at all.

    Begins with the pairs that cannot be exchanged when all that need not lie between them is moved away; then works
    through every set of first steps, and puts in a further pair wherever an order fails or ends elsewhere.
    """
    size = len(executions)
    in_a_row = tuple((at, at + 1) for at in range(size - 1))
    if timed:
        return Freedom(size, in_a_row, None)
    try:
        pairs = _cannot_be_exchanged(operation, start, executions, clock, fixed)
        while True:
            before = predecessors_of(size, pairs)
            if count_orders(before, min(MOST_LOOKED_AT, MOST_DOWNSETS)) is None:
                return Freedom(size, in_a_row, None)
            missing = _first_failure(operation, start, executions, before, clock)
            if missing is None:
                return Freedom(size, reduced(size, pairs), count_orders(before))
            pairs.add(missing)
    except OutOfTime:
        return Freedom(size, in_a_row, None)


def _cannot_be_exchanged(
    operation: Operation,
    start: State,
    executions: Sequence[Execution],
    clock: Clock,
    fixed: frozenset[tuple[int, int]],
) -> set[tuple[int, int]]:
    size = len(executions)
    pairs: set[tuple[int, int]] = set(fixed)
    end = executions[-1].after if executions else start
    for later in range(size):
        for earlier in reversed(range(later)):
            before = predecessors_of(size, pairs)
            if before[later] >> earlier & 1:
                continue
            # the later one moves up to just before the earlier one, with what it needs itself
            needed = [at for at in range(earlier + 1, later) if before[later] >> at & 1]
            if any(before[at] >> earlier & 1 for at in needed):
                continue
            clock.check()
            rest = [at for at in range(earlier, size) if at != later and at not in needed]
            if _end(operation, start, executions, [*range(earlier), *needed, later, *rest]) != end:
                pairs.add((earlier, later))
    return pairs


def _end(operation: Operation, start: State, executions: Sequence[Execution], order: Sequence[int]) -> State | None:
    packed = operation.packing.pack(start)
    for at in order:
        after = operation.outcome(packed, executions[at].deed)
        if isinstance(after, Refusal):
            return None
        packed = after
    return operation.packing.unpack(packed)


def _first_failure(
    operation: Operation, start: State, executions: Sequence[Execution], before: Sequence[int], clock: Clock
) -> tuple[int, int] | None:
    """A pair that must be kept in order although `before` leaves it free; None where every allowed order does.

    Of two ways to the same set of first steps that end in different states, the one that departs from the written
    order is held to be the wrong one.
    """
    reached: dict[int, int] = {0: operation.packing.pack(start)}
    for _ in executions:
        larger: dict[int, int] = {}
        written: dict[int, int] = {}
        for done, state in reached.items():
            clock.check()
            for place in available(before, done):
                after = operation.outcome(state, executions[place].deed)
                together = done | 1 << place
                # the last step of the set in the written order leads to it in the way that is least out of order
                rank = place
                if isinstance(after, Refusal):
                    return _pair_to_add(before, done, place)
                if together not in larger:
                    larger[together], written[together] = after, rank
                elif larger[together] != after:
                    return _pair_to_add(before, together & ~(1 << min(place, written[together])), place)
        reached = larger
    return None


def _pair_to_add(before: Sequence[int], done: int, place: int) -> tuple[int, int]:
    """The nearest earlier place that is still to come must come first; failing that, a later one was done too soon."""
    waiting = [at for at in range(place) if not done >> at & 1 and not before[place] >> at & 1]
    if waiting:
        return waiting[-1], place
    early = [at for at in range(len(before)) if at > place and done >> at & 1 and not before[at] >> place & 1]
    return place, early[0]
