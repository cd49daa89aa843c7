"""What every engine is: one function from a machine and questions to claims, within limits."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from time import monotonic
from typing import Protocol

from interlock.kernel.claims import Claim, Limits, Report, silent
from interlock.kernel.machine import Machine, Question

NO_LIMITS = Limits()


class Engine(Protocol):
    """Answers every question about one machine, in the order of the questions.

    The machine has been through `with_monitors`.  Nothing is claimed that was not established within the limits:
    what is left over is Unknown, with the reason.  The same call gives the same claims, unless a limit in seconds
    cuts it short.  An engine that shares work between questions still answers each one for itself.
    """

    def __call__(
        self, machine: Machine, questions: Sequence[Question], limits: Limits = NO_LIMITS, report: Report = silent
    ) -> tuple[Claim, ...]: ...


class OutOfTime(Exception):
    """The clock ran out inside a solver; engines catch it and claim Unknown for what is still open."""


@dataclass(frozen=True, slots=True)
class Clock:
    """A wall-clock deadline; `end` is None where there is no limit."""

    end: float | None

    def is_over(self) -> bool:
        """The deadline has passed."""
        return self.end is not None and monotonic() >= self.end

    def check(self) -> None:
        """Raises OutOfTime when the deadline has passed."""
        if self.is_over():
            raise OutOfTime

    def sooner(self, seconds: float) -> Clock:
        """The clock that ends `seconds` from now, or with this one where that is earlier."""
        end = monotonic() + seconds
        return Clock(end if self.end is None else min(end, self.end))

    def seconds_left(self) -> float | None:
        """What is left, never negative; None where there is no limit."""
        return None if self.end is None else max(0.0, self.end - monotonic())


def clock_of(limits: Limits) -> Clock:
    """The clock that starts now."""
    return Clock(None if limits.seconds is None else monotonic() + limits.seconds)


def time_reason(limits: Limits) -> str:
    """Why a claim is Unknown when the clock ran out."""
    return "out of time" if limits.seconds is None else f"out of time ({limits.seconds:g} s)"
