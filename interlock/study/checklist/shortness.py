"""Is there a shorter way?  Only bounded search may say that there is none."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from interlock.kernel.claims import Limits, Refuted
from interlock.kernel.evaluator import State
from interlock.kernel.expressions import Expr, conj
from interlock.kernel.machine import Question
from interlock.kernel.recovery import restarted
from interlock.prove.engine import Clock
from interlock.prove.search.bmc import bmc
from interlock.study.checklist.operating import Execution, Operation, levers_neutral

DEEPEST = 8
"""Runs of up to so many steps are looked at; each further step costs more than all before it."""


@dataclass(frozen=True, slots=True)
class Shortness:
    """`length` counts the steps of crew and equipment; `excluded` is the length up to which no run reaches the goal.

    A leg is shown shortest when `excluded` is `length - 1`.  `excluded` is -1 where nothing was looked for.
    """

    length: int
    excluded: int

    @property
    def is_shown(self) -> bool:
        """Bounded search found no run of fewer steps to the goal."""
        return self.excluded >= self.length - 1


def shortness_of(
    operation: Operation, start: State, goal: Expr, executions: Sequence[Execution], timed: bool, clock: Clock
) -> Shortness:
    """Looks for runs to the goal, levers let go, that are shorter than the leg, for legs of up to DEEPEST + 1 steps.

    Every step of crew and equipment counts, at any time, supplies steady and nothing failing; requirements and rest
    are left aside, so that what is excluded is excluded for every careful crew as well.
    """
    length = sum(len(execution.rules) for execution in executions)
    if timed or length - 1 > DEEPEST:
        return Shortness(length, -1)
    if length == 0:
        return Shortness(0, -1)
    asked = restarted(operation.machine, start)
    limits = Limits(depth=length - 1, seconds=clock.seconds_left(), stop=clock.stop)
    claim = bmc(asked, (Question("shorter", conj(goal, *levers_neutral(operation))),), limits)[0]
    if isinstance(claim, Refuted):
        return Shortness(length, claim.trace.depth - 1)
    return Shortness(length, getattr(claim, "depth", -1))
