"""Old against new: what is otherwise in the description, in the verdicts and in the behaviour."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from enum import StrEnum

from interlock.hold.compile.compiler import CompiledHold, compile_hold
from interlock.hold.language.model import Change, Hold
from interlock.kernel.claims import Limits, ProgressCallback, silent
from interlock.prove.decide import decide
from interlock.prove.engine import clock_of, share_of
from interlock.study.causes.differences import Difference, differences_of
from interlock.study.comparison.behaviour import Behaviour, Shown, compare_behaviour
from interlock.study.comparison.matching import match_things
from interlock.study.comparison.pairing import pair_holds
from interlock.study.comparison.tracing import Tracer
from interlock.study.verify import Answer, Status, Verification, verify

PROVING = 0.35
"""The part of the time that is left for the verdicts of the first hold; the second gets half of what is left then."""


class Turn(StrEnum):
    """What became of a requirement."""

    BROKEN = "held, fails now"
    MENDED = "failed, holds now"
    STILL_FAILS = "fails in both"
    OPEN = "not decided in both"
    NEW_FAILS = "new, and fails"
    NEW = "new"
    GONE = "gone"
    SAME = "holds in both"


@dataclass(frozen=True, slots=True)
class Verdict:
    """One requirement in both holds; None where a hold does not have it."""

    id: str
    turn: Turn
    old: Answer | None
    new: Answer | None


@dataclass(frozen=True, slots=True)
class Comparison:
    """All that was found of two holds.

    `description` is what is otherwise in it.  `proofs` are the verifications of both, None where they were not asked
    for, and `verdicts` what became of each requirement.  `causes` has for what is shown of a kind of difference, by its
    place among the kinds, the smallest sets of changes of the second hold without which it is not shown.
    """

    old: CompiledHold
    new: CompiledHold
    description: tuple[Difference, ...]
    proofs: tuple[Verification, Verification] | None
    verdicts: tuple[Verdict, ...]
    behaviour: Behaviour
    changes: tuple[Change, ...]
    causes: Mapping[int, tuple[frozenset[int], ...]]


def compare_holds(
    old: CompiledHold,
    new: CompiledHold,
    said: Mapping[str, str],
    without: Callable[[frozenset[int]], Hold | None],
    limits: Limits,
    report: ProgressCallback = silent,
    *,
    verdicts: bool = True,
    every: bool = False,
) -> Comparison:
    """Compares two holds, of which the second may be a modification of the first.

    `said` are things that are the same by other ids.  `without` gives the second hold with some of its changes undone,
    as far as it has any.  Raises Unmatchable.
    """
    clock = clock_of(limits)
    matching = match_things(old.hold, new.hold, said)
    pair = pair_holds(old, new, matching, clock)
    part = share_of(limits, clock, 1 - 2 * PROVING if verdicts else 1)
    behaviour = compare_behaviour(pair, part, report, every=every)
    proofs = None
    if verdicts:
        first = verify(old, decide, share_of(limits, clock, 0.5), report)
        proofs = first, verify(new, decide, share_of(limits, clock), report)
    changes = new.hold.changes
    causes: dict[int, tuple[frozenset[int], ...]] = {}
    if changes:
        tracer = Tracer(pair, sorted({one.item for one in changes}), _compiling(without, new.situation))
        for at, kind in enumerate(behaviour.kinds):
            if isinstance(kind.shown, Shown) and not clock.is_over():
                causes[at] = tracer.causes(kind.shown)
    return Comparison(
        old,
        new,
        tuple(differences_of(new, old.hold)),
        proofs,
        () if proofs is None else tuple(_verdicts(*proofs)),
        behaviour,
        changes,
        causes,
    )


def _compiling(
    without: Callable[[frozenset[int]], Hold | None], situation: str | None
) -> Callable[[frozenset[int]], CompiledHold | None]:
    """The hold with some changes undone."""

    def compiled(undone: frozenset[int]) -> CompiledHold | None:
        hold = without(undone)
        if hold is None or (situation is not None and all(one.id != situation for one in hold.situations)):
            return None
        return compile_hold(hold, (), situation).compiled

    return compiled


def _verdicts(old: Verification, new: Verification) -> list[Verdict]:
    ours = {answer.instance.requirement.id: answer for answer in old.answers}
    theirs = {answer.instance.requirement.id: answer for answer in new.answers}
    ids = dict.fromkeys((*theirs, *ours))
    return [Verdict(id, _turn(ours.get(id), theirs.get(id)), ours.get(id), theirs.get(id)) for id in ids]


def _turn(old: Answer | None, new: Answer | None) -> Turn:
    good = (Status.HOLDS, Status.VACUOUS)
    if new is None:
        return Turn.GONE
    if old is None:
        return Turn.NEW_FAILS if new.status is Status.FAILS else Turn.NEW
    fails = tuple(answer.status is Status.FAILS for answer in (old, new))
    match fails:
        case True, True:
            return Turn.STILL_FAILS
        case False, True if old.status in good:
            return Turn.BROKEN
        case True, False if new.status in good:
            return Turn.MENDED
    return Turn.SAME if old.status in good and new.status in good else Turn.OPEN
