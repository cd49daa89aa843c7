"""What is to blame where several things are wrong: what is left once all that was found to blame is mended.

Of two flaws that hide each other neither restores anything alone.  So the hold is looked at anew with what was found
otherwise, again and again while something more is found.  What is told then names what has to be otherwise beside it,
as little as will do: each of those was tried to be left as it is.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, fields, is_dataclass, replace
from typing import Any

from interlock.hold.language.model import Hold
from interlock.study.causes.causes import Cause, Search, cause_of
from interlock.study.causes.remedies import Remedy
from interlock.study.causes.trials import Bench, holding


@dataclass(frozen=True, slots=True)
class _Mend:
    """What was tried on a hold (`before`), and what became of it."""

    remedy: Remedy
    before: Hold
    after: Hold


def causes_together(search: Search) -> Iterator[Cause]:
    """The causes of what is still open on the bench of a search that was made; they may be `besides` others."""
    bench = search.bench
    hold = bench.verification.compiled.hold
    mends: list[_Mend] = []
    while search.open and search.mends and not bench.is_over():
        before = search.bench.verification.compiled.hold
        for remedy in search.mends:
            mend = _Mend(remedy, before, remedy.hold())
            after = merged(mend.before, hold, mend.after)
            # of two that make another thing of the same the second has its turn with the first in
            if after is not None:
                hold = after
                mends.append(mend)
        mended = bench.of(hold, search.open)
        if mended is None:
            return
        if restored := holding(mended.verification, search.open):
            *others, last = _fewest(bench, mends, restored)
            yield cause_of(last.remedy, restored, besides=tuple(one.remedy.item for one in others))
        search = Search(mended)
        for cause in search.causes():
            if cause.proved:
                remedy = search.mends[-1]
                others = _fewest(bench, mends, cause.requirements, _Mend(remedy, hold, remedy.hold()))
                cause = replace(cause, besides=tuple(one.remedy.item for one in others))
            yield cause


def _fewest(bench: Bench, mends: Sequence[_Mend], restored: Sequence[str], last: _Mend | None = None) -> list[_Mend]:
    """As few of the mends as these requirements need, with the last one in each case; all that time did not allow."""

    def is_enough(some: Sequence[_Mend]) -> bool:
        hold: Hold | None = bench.verification.compiled.hold
        for mend in [*some, *([last] if last is not None else [])]:
            hold = None if hold is None else merged(mend.before, hold, mend.after)
        return hold is not None and set(bench.mended(hold, restored)) == set(restored)

    if last is not None and is_enough(()):
        return []
    needed = list(mends)
    for mend in mends:
        fewer = [one for one in needed if one is not mend]
        if fewer and not bench.is_over() and is_enough(fewer):
            needed = fewer
    return needed


def merged(base: Hold, one: Hold, other: Hold) -> Hold | None:
    """The hold with what either has made of it; None where they have made different things of the same."""
    try:
        found = _merged(base, one, other)
    except _ConflictError:
        return None
    return found if isinstance(found, Hold) else None


class _ConflictError(Exception):
    pass


def _merged(base: Any, one: Any, other: Any) -> Any:
    if other is base or other == base:
        return one
    if one is base or one in (base, other):
        return other
    if isinstance(base, tuple) and isinstance(one, tuple) and isinstance(other, tuple):
        if len(base) == len(one) == len(other):
            return tuple(_merged(*parts) for parts in zip(base, one, other, strict=True))
    elif is_dataclass(base) and not isinstance(base, type) and type(base) is type(one) is type(other):
        parts = {f.name: [getattr(it, f.name) for it in (base, one, other)] for f in fields(base) if f.init}
        return replace(base, **{name: _merged(*three) for name, three in parts.items()})
    raise _ConflictError
