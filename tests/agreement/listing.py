"""A small machine written out: every valuation, every step and every formula's states, each worked out only once.

All of it by the kernel's reference evaluator, which is slow; many claims about one machine are judged by one listing.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Mapping
from functools import cached_property
from itertools import chain, product

from interlock.kernel.evaluator import State, evaluate, fire, initial_states
from interlock.kernel.expressions import Expr
from interlock.kernel.machine import Machine, Rule, support_of


class Listing:
    """What is so in a machine, by looking at all of it; only for machines whose domains have a small product."""

    def __init__(self, machine: Machine) -> None:
        self.machine = machine
        self._after: dict[State, tuple[tuple[Rule, State], ...]] = {}
        self._where: dict[Expr, frozenset[State]] = {}

    @cached_property
    def states(self) -> frozenset[State]:
        """Every valuation, reachable or not."""
        return frozenset(product(*(variable.domain for variable in self.machine.variables)))

    @cached_property
    def _guards(self) -> list[tuple[Rule, frozenset[State]]]:
        return [(rule, self.where(rule.guard)) for rule in self.machine.rules]

    def after(self, state: State) -> tuple[tuple[Rule, State], ...]:
        """Every step from the state."""
        if state not in self._after:
            rules = [rule for rule, guard in self._guards if state in guard]
            self._after[state] = tuple((rule, fire(self.machine, rule, state)) for rule in rules)
        return self._after[state]

    def where(self, expr: Expr) -> frozenset[State]:
        """Every valuation, reachable or not, that satisfies the expression.

        Valuations that agree on the variables that the expression reads are evaluated once.
        """
        if expr not in self._where:
            read = sorted(self.machine.positions[name] for name in support_of(self.machine, expr))
            parts: dict[State, list[State]] = {}
            for state in self.states:
                parts.setdefault(tuple([state[at] for at in read]), []).append(state)
            alike = (states for states in parts.values() if evaluate(self.machine, expr, states[0]))
            self._where[expr] = frozenset(chain.from_iterable(alike))
        return self._where[expr]

    def within(self, exprs: Iterable[Expr]) -> frozenset[State]:
        """Every valuation, reachable or not, that satisfies all of the expressions."""
        return self.states.intersection(*map(self.where, exprs))

    @cached_property
    def initial(self) -> frozenset[State]:
        """Every initial state."""
        return frozenset(initial_states(self.machine))

    @cached_property
    def depths(self) -> Mapping[State, int]:
        """Every reachable state with the fewest steps to it, nearest first."""
        depths = dict.fromkeys(initial_states(self.machine), 0)
        queue = list(depths)
        for state in queue:
            for _, after in self.after(state):
                if after not in depths:
                    depths[after] = depths[state] + 1
                    queue.append(after)
        return depths

    def nearest(self, target: Expr) -> int | None:
        """The fewest steps to a state in the target; None where no reachable state is."""
        hits = self.where(target)
        return next((depth for state, depth in self.depths.items() if state in hits), None)

    def is_kept(self, exprs: Iterable[Expr], k: int = 1) -> bool:
        """After k states in a row that satisfy the expressions, every next one does."""
        inside = last = self.within(exprs)
        for _ in range(k - 1):
            last = frozenset(after for state in last for _, after in self.after(state)) & inside
        return all(after in inside for state in last for _, after in self.after(state))


_RECENT: deque[Listing] = deque(maxlen=4)


def listing_of(machine: Machine) -> Listing:
    """The listing of this very machine, kept for a while."""
    for listing in _RECENT:
        if listing.machine is machine:
            return listing
    _RECENT.appendleft(Listing(machine))
    return _RECENT[0]
