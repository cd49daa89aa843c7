"""Runs to targets under one set of failures, looked for forwards from states that are known to be reached.

Nearly every run is one without a failure to the right place, then the failures strike, then a few steps.  A plan for
the relaxed machine (see `delete_relaxation`) tells what lies on the way: of the states that are known the one is begun
with that is farthest along it, and the rest is planned for.  Where that does not lead to the target within a few states
nothing is said of it.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence

from interlock.kernel.claims import Trace
from interlock.kernel.evaluator import State
from interlock.kernel.expressions import Expr
from interlock.kernel.machine import Machine
from interlock.prove.core.packing import Packing
from interlock.prove.engine import Clock
from interlock.prove.failures.states import Met, extended
from interlock.prove.search.best_first import OpenList, path_to
from interlock.prove.search.delete_relaxation import DeleteRelaxation

MOST_EXPANDED = 20
"""So many states are expanded for a target, and some more for each step that it seems to be away."""
PER_STEP = 2


class Ahead:
    """The relaxed machine with all of its failures, for all sets; targets are named by their places.

    `strikes` has for each failure the rules, by number, by which it strikes, `start` is a state in which runs begin.
    """

    def __init__(
        self,
        machine: Machine,
        targets: Sequence[Expr],
        strikes: Mapping[str, Sequence[int]],
        start: State,
        clock: Clock,
    ) -> None:
        self._machine = machine
        self._clock = clock
        self._relaxation = DeleteRelaxation(machine, targets)
        self._packing = packing = Packing(machine)
        self._writes = [packing.writes(rule) for rule in machine.rules]
        self._strikes = strikes
        self._every_strike = frozenset(rule for rules in strikes.values() for rule in rules)
        self._start = self._at = packing.pack(start)
        self._relaxation.put_all(packing.places(self._start))

    def look(self, asked: Collection[int], own: Collection[str], met: Met, lanes: Collection[int]) -> dict[int, Trace]:
        """Runs in which nothing but these fails: to those of the targets asked for that are found, the nearest first.

        They begin as one to a state that is met: in some of these lanes, or where there are none as a plan begins.
        """
        relaxation = self._relaxation
        banned = self._every_strike.difference(rule for name in own for rule in self._strikes[name])
        left = {place: relaxation.targets[place] for place in asked}
        if not lanes:
            self._put(self._start)
            first = next(iter(left.values()))
            lanes = [met.along(relaxation.milestones_here(first, banned))]
        leads = {self._packing.pack(lead.states[-1]): lead for lead in map(met.run_of, lanes)}
        parents: dict[int, tuple[int, int] | None] = dict.fromkeys(leads)
        found: dict[int, Trace] = {}
        waiting = OpenList(leads if len(leads) == 1 else ())
        for lead in leads if len(leads) > 1 else ():
            self._put(lead)
            if any(map(relaxation.is_so, left.values())):
                waiting.put_helped(0, lead)
            elif (plan := relaxation.nearest_here(left.values(), banned)) is not None:
                waiting.put_helped(plan.size, lead)
        expanded, most = 0, MOST_EXPANDED
        while expanded < most and not self._clock.is_over():
            state = waiting.take()
            if state is None:
                break
            self._put(state)
            for place in [place for place, node in left.items() if relaxation.is_so(node)]:
                del left[place]
                found[place] = self._run(leads, parents, state)
                expanded = 0
            if not left:
                break
            plan = relaxation.nearest_here(left.values(), banned)
            expanded += 1
            if plan is None:
                continue
            if expanded == 1:
                most = MOST_EXPANDED + PER_STEP * plan.size
            for after in self._fresh(state, sorted(plan.first), parents):
                waiting.put_helped(plan.size, after)
            waiting.put_others(plan.size, self._other_steps(state, plan.first | banned, parents))
        return found

    def _run(self, leads: Mapping[int, Trace], parents: dict[int, tuple[int, int] | None], state: int) -> Trace:
        first = state
        while (link := parents[first]) is not None:
            first = link[0]
        return extended(self._machine, leads[first], (self._machine.rules[rule] for rule in path_to(parents, state)))

    def _put(self, state: int) -> None:
        self._relaxation.put(self._packing.changes(self._at, state))
        self._at = state

    def _fresh(self, state: int, rules: Collection[int], parents: dict[int, tuple[int, int] | None]) -> Iterator[int]:
        """The states that the rules lead to and that were not met before; they are then."""
        for rule in rules:
            keep, bits = self._writes[rule]
            after = state & keep | bits
            if after not in parents:
                parents[after] = state, rule
                yield after

    def _other_steps(
        self, state: int, left_out: Collection[int], parents: dict[int, tuple[int, int] | None]
    ) -> Iterator[int]:
        self._put(state)
        yield from self._fresh(state, [r for r in self._relaxation.enabled() if r not in left_out], parents)
