"""Answers in groups of one requirement text each, worst first, so that hundreds stay readable."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from interlock.hold.language.model import RequirementText
from interlock.kernel.claims import Fails, Undecided
from interlock.kernel.recovery import Traps
from interlock.study.verify import Answer, Status, Verification

WORST_FIRST = (Status.DISPUTED, Status.FAILS, Status.UNDECIDED, Status.HOLDS, Status.VACUOUS)


@dataclass(frozen=True, slots=True)
class Group:
    """All answers to the instances of one requirement text, in their order."""

    origin: RequirementText
    answers: tuple[Answer, ...]

    @property
    def status(self) -> Status:
        """The worst of its answers."""
        return worst_of(answer.status for answer in self.answers)

    def having(self, status: Status) -> tuple[Answer, ...]:
        """Its answers of that status."""
        return tuple(answer for answer in self.answers if answer.status is status)


def worst_of(statuses: Iterable[Status]) -> Status:
    """The worst status; nothing at all counts as undecided."""
    found = set(statuses)
    return next((status for status in WORST_FIRST if status in found), Status.UNDECIDED)


def groups_of(verification: Verification) -> tuple[Group, ...]:
    """One group per requirement text, worst first, else in the order of the texts."""
    by_origin: dict[str, list[Answer]] = {}
    for answer in verification.answers:
        by_origin.setdefault(answer.instance.origin.id, []).append(answer)
    groups = [Group(answers[0].instance.origin, tuple(answers)) for answers in by_origin.values()]
    return tuple(sorted(groups, key=lambda group: WORST_FIRST.index(group.status)))


def shortest_first(answers: Sequence[Answer]) -> tuple[Answer, ...]:
    """Failing answers by the length of their run, those without a run last."""

    def length(answer: Answer) -> int:
        return answer.finding.claim.trace.depth if isinstance(answer.finding, Fails | Traps) else 1_000_000_000

    return tuple(sorted(answers, key=length))


def is_unshown(answer: Answer) -> bool:
    """It holds, but whether its situation ever arises is not known."""
    return answer.status is Status.HOLDS and isinstance(answer.occasion, Undecided)
