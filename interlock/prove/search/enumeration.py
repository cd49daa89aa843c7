"""Visiting every state: one by one while they are few or lie in a thin line, as arrays when they are many.

The plain engine needs about ten microseconds for a state; the one on arrays less than one, and about a millisecond for
a level, however small.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

from interlock.kernel.claims import Claim, Limits, ProgressCallback, Proved, Unknown, silent
from interlock.kernel.machine import Machine, Question
from interlock.prove.engine import INTERRUPTED, NO_LIMITS, clock_of
from interlock.prove.search.explicit import NAME as ONE_BY_ONE
from interlock.prove.search.explicit import BreadthFirstSearch, Count, explore
from interlock.prove.search.vectorised import MOST_BYTES, vectorised
from interlock.prove.search.vectorised import count_states as count_arrays

FEW = 20_000
"""So many states are visited one by one before it is decided how to go on."""
MORE = 8
"""So many times more the next time, where levels are thin."""
WIDE = 100
"""How many states a level must have on average for arrays to be worth while."""
PLAIN_BYTES = 100
"""What is held, roughly, for each state that is visited one by one."""


def enumeration(
    machine: Machine,
    questions: Sequence[Question],
    limits: Limits = NO_LIMITS,
    report: ProgressCallback = silent,
    most_bytes: int = MOST_BYTES,
) -> tuple[Claim, ...]:
    """Visits the reachable states in order of depth until every question is answered; each claim names its engine.

    Refutations are shortest; a proof carries no certificate but the number of states.
    """
    clock = clock_of(limits)
    claims: dict[int, Claim] = {}
    for most in _rising(limits, most_bytes):
        search = BreadthFirstSearch(machine, replace(limits, seconds=clock.seconds_left(), states=most), counting=False)
        try:
            explore(search, questions, claims, report)
        except KeyboardInterrupt:
            search.stopped = INTERRUPTED
        left = [at for at in range(len(questions)) if at not in claims]
        seen = len(search.parents)
        if left and search.stopped and seen > most and most != limits.states:
            if seen < WIDE * (search.clear + 2):
                continue
            asked = [questions[at] for at in left]
            rest = replace(limits, seconds=clock.seconds_left())
            claims.update(zip(left, vectorised(machine, asked, rest, report, most_bytes), strict=True))
            break
        for at in left:
            question = questions[at].id
            if search.stopped:
                claims[at] = Unknown(question, ONE_BY_ONE, search.stopped, search.clear)
            else:
                claims[at] = Proved(question, ONE_BY_ONE, None, seen)
        break
    return tuple(claims[at] for at in range(len(questions)))


def count_states(machine: Machine, limits: Limits = NO_LIMITS, most_bytes: int = MOST_BYTES) -> Count:
    """Counts the reachable states and the steps between them."""
    clock = clock_of(limits)
    for most in _rising(limits, most_bytes):
        search = BreadthFirstSearch(machine, replace(limits, seconds=clock.seconds_left(), states=most), counting=True)
        per_depth = tuple(map(len, search.levels()))
        seen = sum(per_depth)
        if not search.stopped or seen <= most or most == limits.states:
            break
        if seen >= WIDE * len(per_depth):
            return count_arrays(machine, replace(limits, seconds=clock.seconds_left()), most_bytes)
    return Count(seen, search.steps, len(per_depth) - 1, search.dead, per_depth, not search.stopped)


def _rising(limits: Limits, most_bytes: int) -> Iterator[int]:
    """How many states are visited one by one the first time, the second, ... ; the last is what the limits allow."""
    last = max(FEW, most_bytes // PLAIN_BYTES)
    if limits.states is not None:
        last = min(last, limits.states)
    most = FEW
    while most < last:
        yield most
        most *= MORE
    yield last
