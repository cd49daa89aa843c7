"""A second, plain count of the reachable states, breadth first, with the kernel's reference evaluator."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product
from math import prod
from time import monotonic

from interlock.kernel.claims import Refuted
from interlock.kernel.evaluator import evaluate, successors, truths_in
from interlock.kernel.expressions import TRUE, Expr
from interlock.kernel.machine import Machine, Question

MOST_CANDIDATES = 1_000_000
"""The most combinations of `init` values that are tried against `start`; beyond, nothing is counted."""


@dataclass(frozen=True, slots=True)
class Enumeration:
    """What a walk over the reachable states saw.

    Every state within `depth` steps was seen (-1: not even all initial ones); `complete`: there are no others.
    `first` gives, per target, the fewest steps to a state that satisfies it, None where no seen state does.
    `stopped` says in words why an incomplete walk ended.
    """

    states: int
    depth: int
    complete: bool
    first: tuple[int | None, ...]
    stopped: str = ""


def enumerate_reachable(
    machine: Machine,
    targets: Sequence[Expr],
    most_states: int,
    most_depth: int | None = None,
    deadline: float | None = None,
) -> Enumeration:
    """Walk all states within `most_depth` steps, until done, more than `most_states` were seen, or the time is up.

    `deadline` is on the monotonic clock.  Slow on purpose: every guard is evaluated in every state.
    """
    first: list[int | None] = [None] * len(targets)
    depth = -1

    def ended(complete: bool, why: str = "") -> Enumeration:
        return Enumeration(len(seen), depth, complete, tuple(first), why)

    seen: set[tuple[object, ...]] = set()
    candidates = prod(len(variable.init) for variable in machine.variables)
    if candidates > (most_states if machine.start == TRUE else MOST_CANDIDATES):
        return ended(False, f"{candidates} combinations of initial values are too many to count")
    layer = []
    for state in product(*(variable.init for variable in machine.variables)):
        if deadline is not None and monotonic() > deadline:
            return ended(False, "out of time")
        if evaluate(machine, machine.start, state):
            layer.append(state)
    seen.update(layer)
    while layer:
        following = []
        for state in layer:
            if deadline is not None and monotonic() > deadline:
                return ended(False, "out of time")
            true = truths_in(machine, state)
            for at, target in enumerate(targets):
                if first[at] is None and true(target):
                    first[at] = depth + 1
            if most_depth is None or depth + 1 < most_depth:
                for _, after in successors(machine, state):
                    if after not in seen:
                        seen.add(after)
                        following.append(after)
            if len(seen) > most_states:
                return ended(False, f"more than {most_states} states")
        depth += 1
        if most_depth is not None and depth >= most_depth:
            return ended(False, f"asked for {most_depth} steps")
        layer = following
    return ended(True)


def check_shortest(
    machine: Machine, question: Question, claim: Refuted, most_states: int = 20_000, seconds: float | None = None
) -> bool | None:
    """Whether no run shorter than the claim's reaches the target; None when there were too many states to say.

    `confirm` does not ask this by itself: that a trace is a run is evidence that the target is reachable, and that it
    is the shortest run is the engine's word until this function has agreed.
    """
    shorter = claim.trace.depth - 1
    if shorter < 0:
        return True
    deadline = None if seconds is None else monotonic() + seconds
    walk = enumerate_reachable(machine, (question.target,), most_states, shorter, deadline)
    if walk.first[0] is not None:
        return False
    return True if walk.complete or walk.depth >= shorter else None
