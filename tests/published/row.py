"""What a row of the table of published numbers says."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from interlock.kernel.machine import Machine


@dataclass(frozen=True, slots=True)
class Row:
    """A machine and the published numbers that it must show.  None: the source states no such number.

    `steps` counts rule firings from reachable states.  With `goal` (the id of a requirement whose question is asked),
    `shortest` None says that the goal is unreachable.  `deep`: too many steps for a bounded search in test time.
    `large`: too many states for the reference evaluator in test time.
    """

    name: str
    source: str
    build: Callable[[], Machine]
    states: int | None = None
    steps: int | None = None
    dead: int | None = None
    farthest: int | None = None
    profile: tuple[int, ...] | None = None
    goal: str | None = None
    shortest: int | None = None
    runs: int | None = None
    deep: bool = False
    large: bool = False
