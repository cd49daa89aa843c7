"""What every engine is: one function from a machine and questions to claims, within limits."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from time import monotonic
from typing import Any, Protocol

from interlock.diagnostics.said import say
from interlock.kernel.beside import Beside
from interlock.kernel.claims import Claim, Limits, Progress, ProgressCallback, silent
from interlock.kernel.machine import Machine, Question
from interlock.kernel.why import Helps, Why
from interlock.prove.memory import Budget

NO_LIMITS = Limits()
INTERRUPTED = Why(say("interrupted"), Helps.END)
"""Why a claim is Unknown when whoever asked wanted no more."""
MOST_SECONDS = 2_000_000.0
"""How long one question to a solver may take at the most, where there is a limit at all: three weeks."""

LOOKS_EVERY_S = 0.2
"""So often whoever waits for work beside looks whether an end is asked for."""


class Engine(Protocol):
    """Answers every question about one machine, in the order of the questions.

    The machine has been through `with_monitors`.  Nothing is claimed that was not established within the limits:
    what is left over is Unknown, with the reason.  The same call gives the same claims, unless a limit in seconds
    or memory cuts it short.  An engine that shares work between questions still answers each one for itself.
    """

    def __call__(
        self,
        machine: Machine,
        questions: Sequence[Question],
        limits: Limits = NO_LIMITS,
        report: ProgressCallback = silent,
    ) -> tuple[Claim, ...]: ...


@dataclass(frozen=True, slots=True)
class Answered(Progress):
    """What is going on, and the questions on which claims were made since the last report."""

    questions: tuple[str, ...] = ()


class OutOfTime(Exception):
    """Time or memory ran out, or an end was asked for; engines catch it and claim Unknown for what is still open."""


@dataclass(slots=True)
class Allowance:
    """How often a clock may be asked yet: a limit that is the same on every computer.

    Solvers ask once a query, and once in so many conflicts.
    """

    left: int

    def is_used_up(self) -> bool:
        """Takes one; whether there was none."""
        self.left -= 1
        return self.left < 0


@dataclass(frozen=True, slots=True)
class Clock:
    """A wall-clock deadline, a budget of memory, and whether an end was asked for; None where there is no limit."""

    end: float | None
    memory: Budget | None = None
    stop: Callable[[], bool] | None = None

    def is_over(self) -> bool:
        """The deadline has passed, the memory is used up, or an end was asked for."""
        if self.stop is not None and self.stop():
            return True
        if self.memory is not None and self.memory.is_used_up():
            return True
        return self.end is not None and monotonic() >= self.end

    def check(self) -> None:
        """Raises OutOfTime when it is over."""
        if self.is_over():
            raise OutOfTime

    def within(self, allowance: Allowance) -> Clock:
        """The clock that is over, too, once it was asked more often than that."""
        stop = self.stop
        return Clock(self.end, self.memory, lambda: allowance.is_used_up() or (stop is not None and stop()))

    def sooner(self, seconds: float) -> Clock:
        """The clock that ends `seconds` from now, or with this one where that is earlier."""
        end = monotonic() + seconds
        return Clock(end if self.end is None else min(end, self.end), self.memory, self.stop)

    def seconds_left(self) -> float | None:
        """What is left, never negative; None where there is no limit."""
        return None if self.end is None else max(0.0, self.end - monotonic())

    def milliseconds_left(self) -> int | None:
        """The same for a solver: at least one, and no more than fits its number (z3 takes it modulo 2 ** 32)."""
        left = self.seconds_left()
        return None if left is None else max(1, int(1000 * min(left, MOST_SECONDS)))


def clock_of(limits: Limits) -> Clock:
    """The clock that starts now."""
    return Clock(
        None if limits.seconds is None else monotonic() + limits.seconds,
        None if limits.memory is None else Budget(limits.memory),
        limits.stop,
    )


def share_of(limits: Limits, clock: Clock, part: float = 1.0) -> Limits:
    """The limits with this part of the seconds that are left by the clock, which was made from them."""
    seconds = clock.seconds_left()
    return replace(limits, seconds=None if seconds is None else part * seconds)


def is_waited_for(work: Beside[Any], limits: Limits) -> bool:
    """Waits until the work is done, and then is true, or until an end is asked for."""
    while not work.is_done(LOOKS_EVERY_S):
        if limits.stop is not None and limits.stop():
            return False
    return True


def stop_reason(limits: Limits, clock: Clock) -> Why:
    """Why a claim is Unknown when the clock, made from these limits, was over."""
    if limits.stop is not None and limits.stop():
        return INTERRUPTED
    if limits.memory is not None and clock.memory is not None and clock.memory.is_used_up():
        return Why(say("the memory allowed was used up ({size} MiB)", size=limits.memory / 2**20), Helps.MEMORY)
    return time_reason(limits)


def time_reason(limits: Limits) -> Why:
    """Why a claim is Unknown when the clock ran out."""
    seconds = limits.seconds
    if seconds is None:
        return Why(say("out of time"), Helps.TIME)
    return Why(say("out of time ({seconds} s)", seconds=round(seconds, 2) or seconds), Helps.TIME)


def deeper_than(depth: int | None) -> Why:
    """Why a claim is Unknown when all was looked at down to a depth that was given."""
    return Why(say("states lie deeper than {depth} steps", depth=depth or 0), Helps.DEPTH)


def more_states_than(states: int) -> Why:
    """Why a claim is Unknown when there are more states than may be held."""
    return Why(say("more than {states} states", states=states), Helps.METHOD)


def is_time_reason(reason: str) -> bool:
    """Whether that is why: more time could have brought an answer."""
    return isinstance(reason, Why) and reason.helps is Helps.TIME


def looked_ahead(steps: int, bound: int | None) -> Why:
    """Why a claim is Unknown when it was looked so many steps ahead, with this bound on the depth if there is one."""
    is_bound = bound is not None and steps >= bound
    words = say(
        "neither a way there nor a proof that there is none was found in looking {steps} steps ahead", steps=steps
    )
    return Why(words, Helps.DEPTH if is_bound else Helps.METHOD)
