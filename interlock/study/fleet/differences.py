"""What tells the configurations with one result from those with another: which options and deferrals, or lack of them.

It speaks of the configurations of one fleet and of nothing else: that they differ so, not that they must.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations

MOST_SINGLES = 120
"""Of more options and deferrals, present and absent, pairs are not tried."""


@dataclass(frozen=True, slots=True, order=True)
class Mark:
    """An option or deferral that a configuration has, or (not `present`) has not."""

    feature: str
    present: bool


@dataclass(frozen=True, slots=True)
class Telling:
    """Sets of marks: each of `sure` is had only by configurations of one sort, and with it that sort is certain.

    In the place of each set stand all that tell the same configurations with as few marks: which of them matters
    cannot be told from here.  Where `covers_all`, every configuration of the sort has one of these sets; without any
    set and with `covers_all` there is no other sort.
    """

    sure: tuple[tuple[tuple[Mark, ...], ...], ...]
    covers_all: bool


def tell_apart(having: Sequence[Collection[str]], others: Sequence[Collection[str]]) -> Telling:
    """The fewest and smallest sets of at most two marks that tell the first configurations from the others.

    What is had goes before what is not, then the order of names.
    """
    if not others or not having:
        return Telling((), True)
    features = sorted({one for features in (*having, *others) for one in features})
    singles = [Mark(one, present) for present in (True, False) for one in features]

    def bits(configurations: Sequence[Collection[str]], mark: Mark) -> int:
        return sum(1 << at for at, one in enumerate(configurations) if (mark.feature in one) is mark.present)

    ours = {mark: bits(having, mark) for mark in singles}
    theirs = {mark: bits(others, mark) for mark in singles}

    def terms() -> Iterator[tuple[int, tuple[Mark, ...]]]:
        for mark in singles:
            if ours[mark] and not theirs[mark]:
                yield ours[mark], (mark,)
        if len(singles) <= MOST_SINGLES:
            for one, two in combinations([mark for mark in singles if theirs[mark]], 2):
                both = ours[one] & ours[two]
                if both and not theirs[one] & theirs[two]:
                    yield both, (one, two)

    known = sorted(terms(), key=lambda term: (len(term[1]), sum(not mark.present for mark in term[1]), term[1]))
    left = (1 << len(having)) - 1
    chosen: list[tuple[tuple[Mark, ...], ...]] = []
    while left and known:
        covered, marks = max(known, key=lambda term: (term[0] & left).bit_count())
        if not covered & left:
            break
        size = len(marks), sum(not mark.present for mark in marks)
        alike = (m for c, m in known if c == covered and (len(m), sum(not mark.present for mark in m)) == size)
        chosen.append(tuple(alike))
        left &= ~covered
    return Telling(tuple(chosen), not left)
