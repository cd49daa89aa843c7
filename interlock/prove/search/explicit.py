"""The obvious engine: visit every reachable state, nearest first.

The judge of all the others on machines that are small enough; its traces are the shortest, and its proof is that it
has counted every state.

Reference (from memory)
  E. F. Moore: The shortest path through a maze. 1959. (breadth-first search)
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from itertools import pairwise, product

from interlock.diagnostics.frozen import frozen
from interlock.diagnostics.said import say
from interlock.kernel.claims import Claim, Limits, Progress, ProgressCallback, Proved, Refuted, Trace, Unknown, silent
from interlock.kernel.evaluator import evaluate, fire, is_enabled
from interlock.kernel.machine import Machine, Question
from interlock.kernel.why import Helps, Why
from interlock.prove.core.dispatch import Dispatch
from interlock.prove.core.packing import Packing, compile_expand, compile_hits
from interlock.prove.engine import (
    INTERRUPTED,
    NO_LIMITS,
    Clock,
    OutOfTime,
    clock_of,
    deeper_than,
    more_states_than,
    stop_reason,
)

NAME = "explicit"
MOST_COMPILED = 1_000
"""Rules whose guards become one piece of source text; more of them are sorted by what they ask for instead."""
CHUNK = 4_096
"""States between two looks at the limits."""
WORTH_COMPILING = 5_000
"""For so many states it is worth while to write anew what looks for targets, without those that were met."""


@frozen
class Count:
    """The size of a reachable state space; where not `complete`, of the part that was visited.

    `steps` counts (state, rule) pairs, `per_depth[n]` the states whose shortest run has n steps, `dead` the states
    without a step.  Where not complete, the last entry of `per_depth` may be short and its states are not expanded.
    """

    states: int
    steps: int
    depth: int
    dead: int
    per_depth: tuple[int, ...]
    complete: bool


class BreadthFirstSearch:
    """Breadth-first search, level by level."""

    def __init__(self, machine: Machine, limits: Limits, counting: bool) -> None:
        self.packing = Packing(machine)
        self.machine = machine
        self.limits = limits
        self.clock: Clock = clock_of(limits)
        self.parents: dict[int, int] = {}
        self.steps = 0
        self.dead = 0
        self.stopped = ""
        self.clear = -1
        """The depth up to which `explore` has looked at every state."""
        self._expand = self._stepping(counting)

    def _stepping(self, counting: bool) -> Callable[..., tuple[int, int]]:
        if len(self.machine.rules) <= MOST_COMPILED:
            return compile_expand(self.packing, counting)
        try:
            return Dispatch(self.packing, counting, self.clock)
        except OutOfTime:
            self.stopped = stop_reason(self.limits, self.clock)
            return lambda _frontier, _parents, _fresh: (0, 0)

    def levels(self) -> Iterator[list[int]]:
        """The states at depth 0, 1, ... ; ends early with `stopped` set when a limit is met.

        The level in which the limit in states or seconds was met is given out as far as it got.
        """
        level: list[int] = []
        inits = [variable.init for variable in self.machine.variables]
        for tried, state in enumerate(product(*inits), 1):
            if evaluate(self.machine, self.machine.start, state):
                packed = self.packing.pack(state)
                self.parents[packed] = -1
                level.append(packed)
            if tried % CHUNK == 0 and (self._is_over() or self._is_too_much(tried)):
                break
        depth = 0
        while level:
            yield level
            if self.stopped or self._is_over():
                return
            if self.limits.depth is not None and depth >= self.limits.depth:
                self._stop_if_more(level)
                return
            fresh: list[int] = []
            for start in range(0, len(level), CHUNK):
                steps, dead = self._expand(level[start : start + CHUNK], self.parents, fresh.append)
                self.steps += steps
                self.dead += dead
                if self._is_over():
                    break
            level = fresh
            depth += 1

    def _is_over(self) -> bool:
        if self.limits.states is not None and len(self.parents) > self.limits.states:
            self.stopped = more_states_than(self.limits.states)
        elif self.clock.is_over():
            self.stopped = stop_reason(self.limits, self.clock)
        return bool(self.stopped)

    def _is_too_much(self, tried: int) -> bool:
        """More combinations of initial values were tried than states may be held."""
        if self.limits.states is not None and tried > self.limits.states:
            self.stopped = Why(say("more than {number} ways to start", number=tried), Helps.METHOD)
        return bool(self.stopped)

    def _stop_if_more(self, level: list[int]) -> None:
        beyond: list[int] = []
        for start in range(0, len(level), CHUNK):
            steps, dead = self._expand(level[start : start + CHUNK], self.parents, beyond.append)
            self.steps += steps
            self.dead += dead
        for state in beyond:
            del self.parents[state]
        if beyond:
            self.stopped = deeper_than(self.limits.depth)

    def trace(self, packed: int) -> Trace:
        """The run that first reached the state."""
        path = [packed]
        while (before := self.parents[path[-1]]) != -1:
            path.append(before)
        states = [self.packing.unpack(state) for state in reversed(path)]
        rules = []
        for here, there in pairwise(states):
            rules.append(
                next(
                    rule.name
                    for rule in self.machine.rules
                    if is_enabled(self.machine, rule, here) and fire(self.machine, rule, here) == there
                )
            )
        return Trace(tuple(rules), tuple(states))


def explicit(
    machine: Machine, questions: Sequence[Question], limits: Limits = NO_LIMITS, report: ProgressCallback = silent
) -> tuple[Claim, ...]:
    """Visits the reachable states in order of depth until every question is answered.

    Refutations are shortest; a proof carries no certificate but the number of states.  Memory: one dictionary
    entry per state.
    """
    claims: dict[int, Claim] = {}
    search = BreadthFirstSearch(machine, limits, counting=False)
    try:
        explore(search, questions, claims, report)
    except KeyboardInterrupt:
        search.stopped = INTERRUPTED
    for at, question in enumerate(questions):
        if at not in claims:
            claims[at] = (
                Unknown(question.id, NAME, search.stopped, search.clear)
                if search.stopped
                else Proved(question.id, NAME, None, len(search.parents))
            )
    return tuple(claims[at] for at in range(len(questions)))


def explore(
    search: BreadthFirstSearch, questions: Sequence[Question], claims: dict[int, Claim], report: ProgressCallback
) -> None:
    """Adds a refutation to `claims`, by place, for every target met; what is not there afterwards was not met.

    Ends early, with `search.stopped` set, at a limit.  Claims already made are kept when it is interrupted.
    """
    still_open = {at: question.target for at, question in enumerate(questions) if at not in claims}
    hits, asked = compile_hits(search.packing, still_open), len(still_open)
    for level in search.levels():
        if asked > len(still_open) and len(level) > WORTH_COMPILING:
            hits, asked = compile_hits(search.packing, still_open), len(still_open)
        for at, packed in hits(level).items():
            if at in still_open:
                claims[at] = Refuted(questions[at].id, NAME, search.trace(packed), shortest=True)
                del still_open[at]
        if not still_open:
            return
        if not search.stopped:
            search.clear += 1
        report(Progress(NAME, f"{len(search.parents)} states", search.clear, search.limits.depth))


def count_states(machine: Machine, limits: Limits = NO_LIMITS) -> Count:
    """Counts the reachable states and the steps between them."""
    search = BreadthFirstSearch(machine, limits, counting=True)
    per_depth = tuple(map(len, search.levels()))
    return Count(sum(per_depth), search.steps, len(per_depth) - 1, search.dead, per_depth, not search.stopped)
