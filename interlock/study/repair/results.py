"""What is looked for and found: changes of a hold, each proved on its own text, and what became of the others."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Protocol

from interlock.hold.compile.compiler import CompiledHold
from interlock.hold.language.model import Hold
from interlock.study.repair.abilities import Cost
from interlock.study.repair.places import Addition
from interlock.study.verify import Answer, Status, Verification


class Sort(StrEnum):
    """What sort of change it is, in the order in which they are looked for."""

    BEFORE = "what a modification altered, as it was before"
    CONTACT = "one contact added"
    REPLACED = "one contact in the place of another"
    REMOVED = "one contact, stop or other hindrance taken out"
    LINKAGE = "one mechanical condition added"
    PAIR = "two contacts added"
    DEVICE = "one device otherwise, or one more"


@dataclass(frozen=True, slots=True)
class Part:
    """One thing that is changed: its id, what of it, as people call it, and what is done."""

    id: str
    item: str
    done: str


@dataclass(frozen=True, slots=True)
class Written:
    """A change as the text of a modification, and the hold that was compiled from that text; None where it is none."""

    text: str
    compiled: CompiledHold | None


class Writer(Protocol):
    """Writes the modification that makes the other hold of the one that is mended, and compiles what it says."""

    def __call__(self, changed: Hold, parts: Sequence[Part]) -> Written: ...


@dataclass(frozen=True, slots=True)
class Mending:
    """A change with which everything that was asked holds: proved on the hold that its text describes.

    `vacuous` are requirements that then hold vacuously only, and did not before; `cost` is what it takes away that no
    requirement asks for.  `additions` are its contacts.
    """

    sort: Sort
    parts: tuple[Part, ...]
    written: Written
    verification: Verification
    vacuous: tuple[Answer, ...]
    additions: tuple[Addition, ...] = ()
    cost: Cost = field(default=Cost())

    @property
    def is_free(self) -> bool:
        """It costs nothing that is known."""
        return not self.vacuous and self.cost.is_none


@dataclass(frozen=True, slots=True)
class Tried:
    """What became of the candidates of one sort.

    Of all `possible` ones `by_runs` are excluded since a run that must not be can still be done with them, `by_proof`
    since something else then fails (proved or shown by a run), `senseless` make no hold, with the `useless` all holds
    and nothing can be carried any more, with `works` all holds, `open` were not decided, `untried` are those that
    nobody looked at further: `losing` of them stop a known way of doing what is required.
    """

    sort: Sort
    possible: int
    by_runs: int = 0
    by_proof: int = 0
    senseless: int = 0
    useless: int = 0
    works: int = 0
    open: int = 0
    untried: int = 0
    losing: int = 0

    @property
    def is_exhausted(self) -> bool:
        """Of each candidate it is known whether it does."""
        return not (self.open or self.untried)


def sum_of(sort: Sort, possible: int, tried: Sequence[Tried]) -> Tried:
    """What became of all of these candidates, each in one of those tried; what is in none was not looked at."""
    return Tried(
        sort,
        possible,
        by_runs=sum(one.by_runs for one in tried),
        by_proof=sum(one.by_proof for one in tried),
        senseless=sum(one.senseless for one in tried),
        useless=sum(one.useless for one in tried),
        works=sum(one.works for one in tried),
        open=sum(one.open for one in tried),
        untried=possible - sum(one.possible - one.untried for one in tried),
        losing=sum(one.losing for one in tried),
    )


@dataclass(frozen=True, slots=True)
class Repair:
    """What was found: what fails, what would mend it, and what was tried.

    `runs` is how many runs excluded candidates, `disputed` what this program contradicts itself about.  `is_cut`: a
    limit ended the search, or whoever asked.
    """

    verification: Verification
    mendings: tuple[Mending, ...] = ()
    tried: tuple[Tried, ...] = ()
    runs: int = 0
    disputed: tuple[str, ...] = ()
    is_cut: bool = False

    @property
    def failing(self) -> tuple[Answer, ...]:
        """What fails as the hold is."""
        return tuple(one for one in self.verification.answers if one.status is Status.FAILS)
