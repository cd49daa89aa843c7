"""A checklist as it is printed, whatever the format: plain values."""

from __future__ import annotations

from dataclasses import dataclass

from interlock.report.views.slips import Fewest, KindRow

WARNING, CAUTION, NOTE = "WARNING", "CAUTION", "NOTE"
SCHEME = (
    "WARNING, CAUTION and NOTE are used as in MIL-STD-38784: a WARNING is about death or injury, a CAUTION about "
    "damage to equipment, a NOTE is useful to know. Severity categories 1 and 2 of a requirement (MIL-STD-882E) are "
    "printed as WARNING, 3 as CAUTION, all others as NOTE."
)
"""Said on every checklist: other schemes use the same words for other things."""


@dataclass(frozen=True, slots=True)
class Guard:
    """What stands before a step: hazard, how to avoid it, what follows.  A NOTE has its text in `hazard` alone."""

    label: str
    hazard: str
    avoid: str = ""
    consequence: str = ""

    @property
    def text(self) -> str:
        """All of it, in the order in which it is to be read."""
        return " ".join(part for part in (self.hazard, self.avoid, self.consequence) if part)


@dataclass(frozen=True, slots=True)
class StepWords:
    """One step as it is printed; `noticed` says at which later step its omission shows, if it does."""

    number: int
    instruction: str
    results: tuple[str, ...]
    guards: tuple[Guard, ...]
    noticed: str


@dataclass(frozen=True, slots=True)
class LegWords:
    """One leg as it is printed.

    `runs` are (first, last) numbers of steps whose order is free among themselves.  `findings` is what the audit has
    to say against its steps.
    """

    title: str
    steps: tuple[StepWords, ...]
    runs: tuple[tuple[int, int], ...]
    free: str
    shortness: str
    beware: Guard | None
    checks: tuple[str, ...]
    check_guards: tuple[Guard, ...]
    findings: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class SlipsWords:
    """What the audit found of slips, as it is printed; `hazards` pairs each such slip with what it breaks."""

    followed: str
    counts: tuple[tuple[str, int], ...]
    kinds: tuple[KindRow, ...]
    hazards: tuple[tuple[str, tuple[str, ...]], ...]
    fewest: tuple[Fewest, ...]
    counted: str


@dataclass(frozen=True, slots=True)
class Words:
    """A whole checklist as it is printed; `slips` is None where the audit came to no end, and `open` says why."""

    title: str
    hold: str
    before: tuple[str, ...]
    legs: tuple[LegWords, ...]
    claims: tuple[str, ...]
    slips: SlipsWords | None
    open: tuple[str, ...]
