"""How the time goes by question, and what is known so far: for whoever waits, and for whoever asks what took long."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from time import monotonic

from interlock.kernel.claims import Progress, ProgressCallback
from interlock.prove.engine import Answered


@dataclass(frozen=True, slots=True)
class Results(Progress):
    """What is going on, and lines about what came of it that whoever waits may keep."""

    lines: tuple[str, ...] = ()


class Pace:
    """Notes when questions are answered, and passes on what engines report with how many are.

    `seconds`: by question, how long after the beginning a claim on it was made; nothing of those that are open.
    """

    def __init__(self, report: ProgressCallback, asked: int) -> None:
        self._report = report
        self._asked = asked
        self._began = monotonic()
        self.seconds: dict[str, float] = {}

    def report(self, progress: Progress) -> None:
        """Called as a ProgressCallback."""
        if isinstance(progress, Answered):
            for question in progress.questions:
                self.seconds.setdefault(question, monotonic() - self._began)
        so_far = f"{len(self.seconds)} of {self._asked} questions answered; "
        self._report(replace(progress, stage=so_far + progress.stage))

    def tell(self, lines: Sequence[str]) -> None:
        """Lines that whoever waits may keep."""
        self._report(Results("verify", "looking for what can always be done", lines=tuple(lines)))
