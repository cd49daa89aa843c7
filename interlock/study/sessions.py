"""Asking within limits: how the time is shared, what is asked again, and what an end that is asked for leaves."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from time import monotonic
from typing import TYPE_CHECKING, Protocol, TypeGuard, TypeVar

from interlock.confirm.confirm import confirm
from interlock.confirm.recovery import RecoveryFinding, confirm_recovery
from interlock.kernel.claims import Claim, Finding, Limits, ProgressCallback, Proved, Undecided, Unknown
from interlock.kernel.machine import Machine, Question
from interlock.kernel.recovery import RecoveryClaim, RecoveryQuestion
from interlock.kernel.why import Helps, not_rechecked
from interlock.prove.engine import INTERRUPTED, Answered, Engine, is_time_reason, time_reason

if TYPE_CHECKING:
    from interlock.kernel.failures import SetsFinding, SmallestSets

STOPPED_SECONDS = 15.0
"""How long claims are confirmed that were made before an end was asked for."""
SEARCHING = 0.7
"""The part of the time for searching; the rest is kept for confirming what was claimed at its very end."""
MANY = 0.1
"""Where more of the questions than this part lacked time, they are asked once more before ways back are looked for."""
WORTH = 0.05
"""What is left over is used while it is this part of the time, at least ..."""
WORTH_SECONDS = 0.2
"""... and so many seconds."""


class Recoverer(Protocol):
    """What decides whether something can always be done; `recover` is one."""

    def __call__(
        self, machine: Machine, questions: Sequence[RecoveryQuestion], limits: Limits, report: ProgressCallback
    ) -> tuple[RecoveryClaim, ...]: ...


def nobody(
    machine: Machine, questions: Sequence[RecoveryQuestion], limits: Limits, report: ProgressCallback
) -> tuple[RecoveryClaim, ...]:
    """For whoever asks about no ways back."""
    return tuple(Unknown(question.id, "none", "nobody was asked") for question in questions)


class SetFinder(Protocol):
    """What finds the smallest sets of failures that lead to targets; `smallest_sets` is one."""

    def __call__(
        self, machine: Machine, questions: Sequence[Question], most: int, limits: Limits, report: ProgressCallback
    ) -> Sequence[SmallestSets]: ...


AnyQuestion = TypeVar("AnyQuestion", Question, RecoveryQuestion)
AnyClaim = TypeVar("AnyClaim", Claim, RecoveryClaim)
AnyFinding = TypeVar("AnyFinding", Finding, RecoveryFinding)


class Session:
    """One call: the limits hold for all of it.

    Each stage is given a part of the seconds that are left, so that what an engine claims in time can be confirmed in
    time.  Where that leaves some over, what an engine had no time for is asked once more.
    Where `limits.stop` asks for an end, what was claimed by then is still confirmed.  KeyboardInterrupt ends the stage
    that it falls into, no more: findings made stay, what is then neither claimed nor confirmed is Undecided.
    """

    def __init__(self, machine: Machine, limits: Limits, report: ProgressCallback) -> None:
        self.machine = machine
        self.limits = limits
        self.report = report
        self._end = None if limits.seconds is None else monotonic() + limits.seconds
        self._torn = False

    def claim_and_confirm(
        self,
        questions: Sequence[Question],
        ways: Sequence[RecoveryQuestion],
        engine: Engine,
        recoverer: Recoverer,
        told: Callable[[Mapping[str, Finding]], None] = lambda _: None,
    ) -> tuple[Mapping[str, Finding], Mapping[str, RecoveryFinding]]:
        """Findings by the id of their question; `told` is given those of the questions before ways are looked for."""
        found: dict[str, Finding] = {}
        ways_found: dict[str, RecoveryFinding] = {}
        waits = bool(ways)
        while True:
            claims = self._claimed(questions, engine, 0.5 if ways else SEARCHING)
            _keep(found, self._confirmed(questions, claims, self._end_of_share(0.5 if ways else 1)))
            told(found)
            lacking = [one for one, claim in zip(questions, claims, strict=True) if _lacked_time(claim)]
            if waits and len(lacking) > MANY * len(questions) and self._is_worth_it():
                waits, questions = False, lacking
                continue
            back = self._claimed(ways, recoverer, SEARCHING)
            _keep(ways_found, [self._confirmed_way(way, claim) for way, claim in zip(ways, back, strict=True)])
            waits, questions = False, lacking
            ways = [one for one, claim in zip(ways, back, strict=True) if _lacked_time(claim)]
            if not (questions or ways) or not self._is_worth_it():
                return found, ways_found

    def claim_and_confirm_sets(
        self, questions: Sequence[Question], finder: SetFinder, most: int
    ) -> Sequence[SetsFinding]:
        """Findings about the smallest sets of at most so many failures, in the order of the questions."""
        from interlock.confirm.failures import confirm_sets  # here, as whoever proves a hold asks of no failures

        limits = replace(self.limits, seconds=self._share(SEARCHING))
        claims = finder(self.machine, questions, most, limits, self.report)
        whole = time_reason(self.limits)
        claims = [replace(one, reason=whole) if is_time_reason(one.reason) else one for one in claims]
        try:
            return confirm_sets(self.machine, questions, claims, self._share(1))
        except KeyboardInterrupt:
            # what is claimed of all other sets is left unchecked; runs are replayed all the same
            return confirm_sets(self.machine, questions, claims, 0.0)

    def _claimed(
        self,
        questions: Sequence[AnyQuestion],
        engine: Callable[[Machine, Sequence[AnyQuestion], Limits, ProgressCallback], Sequence[AnyClaim]],
        part: float,
    ) -> Sequence[AnyClaim | Unknown]:
        """What the engine claims in this part of the time; where it ran out, the reason names all of the time."""
        if not questions:
            return ()
        try:
            claims = engine(self.machine, questions, replace(self.limits, seconds=self._share(part)), self.report)
        except KeyboardInterrupt:
            # engines catch it and give what they have: it came as one began or ended
            return [Unknown(question.id, "none", INTERRUPTED) for question in questions]
        answered = tuple(claim.question for claim in claims if not isinstance(claim, Unknown))
        self.report(Answered("session", "checking what was found", questions=answered))
        whole = time_reason(self.limits)
        return [replace(claim, reason=whole) if _lacked_time(claim) else claim for claim in claims]

    def _confirmed(
        self, questions: Sequence[Question], claims: Sequence[Claim], end: float | None
    ) -> tuple[Finding, ...]:
        """One finding per question; each body of evidence is confirmed by itself, what needs no solver first."""
        bodies: dict[int, list[int]] = {}
        for at, claim in enumerate(claims):
            bodies.setdefault(id(claim.certificate) if isinstance(claim, Proved) else 0, []).append(at)
        found: dict[int, Finding] = {}
        for body in sorted(bodies, key=bool):
            places = bodies[body]
            asked, made = [questions[at] for at in places], [claims[at] for at in places]
            confirmed: Sequence[Finding] = [_unchecked(claim) for claim in made] if body and self._torn else ()
            while not confirmed:
                try:
                    confirmed = confirm(self.machine, asked, made, self._seconds_until(end), self.report)
                except KeyboardInterrupt:
                    self._torn = True
                    # replaying runs takes no time that could matter: it is simply done again
                    confirmed = [_unchecked(claim) for claim in made] if body else ()
            found.update(zip(places, confirmed, strict=True))
        return tuple(found[at] for at in range(len(questions)))

    def _confirmed_way(self, question: RecoveryQuestion, claim: RecoveryClaim) -> RecoveryFinding:
        if self._torn:
            return _unchecked(claim)
        try:
            return confirm_recovery(self.machine, [question], [claim], self._share(1), self.report)[0]
        except KeyboardInterrupt:
            self._torn = True
            return _unchecked(claim)

    def _is_worth_it(self) -> bool:
        if self._end is None or self.limits.seconds is None or self._torn or self._is_stopped():
            return False
        return self._end - monotonic() >= max(WORTH_SECONDS, WORTH * self.limits.seconds)

    def _is_stopped(self) -> bool:
        return self.limits.stop is not None and self.limits.stop()

    def _end_of_share(self, part: float) -> float | None:
        return None if self._end is None else monotonic() + part * max(0.0, self._end - monotonic())

    def _share(self, part: float) -> float | None:
        return self._seconds_until(self._end_of_share(part))

    def _seconds_until(self, end: float | None) -> float | None:
        """The seconds until then; few of them, once an end was asked for."""
        seconds = None if end is None else max(0.0, end - monotonic())
        if self._is_stopped():
            seconds = STOPPED_SECONDS if seconds is None else min(seconds, STOPPED_SECONDS)
        return seconds


def _lacked_time(claim: Claim | RecoveryClaim) -> TypeGuard[Unknown]:
    return isinstance(claim, Unknown) and is_time_reason(claim.reason)


def _keep(found: dict[str, AnyFinding], made: Sequence[AnyFinding]) -> None:
    """Findings by question; where one was asked twice and is open still, what excludes more."""
    for finding in made:
        before = found.get(finding.question)
        if not (isinstance(finding, Undecided) and isinstance(before, Undecided) and before.depth > finding.depth):
            found[finding.question] = finding


def _unchecked(claim: Claim | RecoveryClaim) -> Undecided:
    if isinstance(claim, Unknown):
        return Undecided(claim.question, claim.reason)
    return Undecided(claim.question, not_rechecked(claim.engine, INTERRUPTED, Helps.END))
