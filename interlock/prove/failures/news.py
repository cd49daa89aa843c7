"""What was found out of some sets of failures, as it is told to where others were looked at meanwhile."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TypeAlias

from interlock.kernel.evaluator import State
from interlock.prove.core.local import Cube
from interlock.prove.failures.pool import Learned

Fired: TypeAlias = tuple[State, tuple[int, ...]]
"""A run by its first state and the numbers of its rules: its other states are many times as long."""


@dataclass(slots=True)
class News:
    """All of it in the order in which it was found out; `is_over` where there was no time for the rest."""

    runs: list[tuple[int, Fired]] = field(default_factory=list)
    """To the target of a question."""
    stood_in: list[tuple[str, str]] = field(default_factory=list)
    """A failure, and one in the place of which it struck."""
    guesses: list[Cube] = field(default_factory=list)
    hard: set[frozenset[int]] = field(default_factory=set)
    """Questions that were put off together."""
    ways: list[Fired] = field(default_factory=list)
    """To states that were planned for."""
    in_vain: list[frozenset[int]] = field(default_factory=list)
    """Cubes that were planned for in vain."""
    guided_in_vain: int = 0
    learned: Learned = field(default_factory=lambda: Learned(0))
    is_over: bool = False
