"""The same work done for many things, half of them beside the other half."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TypeVar

from interlock.kernel.beside import Beside
from interlock.kernel.claims import Limits, ProgressCallback, silent
from interlock.prove.engine import is_waited_for

T = TypeVar("T")
R = TypeVar("R")


def in_halves(
    work: Callable[[Sequence[T], ProgressCallback], Sequence[R]],
    things: Sequence[T],
    limits: Limits,
    report: ProgressCallback,
) -> list[R]:
    """What the work gives of each thing, in their order: it is done for every second of them beside the others.

    Each half is done in its own order and knows nothing of the other.  The work ends early where an end is asked for.
    """
    if len(things) < 2 or limits.memory is not None:
        # what a process has beside this one would not be reckoned with
        return list(work(things, report))
    with Beside(lambda: work(things[1::2], silent)) as other:
        both = work(things[::2], report), result_of(other, limits)
    return [both[at % 2][at // 2] for at in range(len(things))]


def result_of(begun: Beside[R], limits: Limits) -> R:
    """What comes of work that ends early where an end is asked for: that is looked for here, not there."""
    if not is_waited_for(begun, limits):
        begun.close()
    return begun.result()
