"""Everything that is to be blamed for what fails in one hold, as far as it is found in time."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from interlock.hold.language.model import Hold
from interlock.kernel.claims import Limits
from interlock.prove.engine import NO_LIMITS, Engine
from interlock.study.verify import Status, Verification

if TYPE_CHECKING:
    from interlock.study.causes.causes import Cause
    from interlock.study.causes.changes import BlamedChanges
    from interlock.study.why_never import WhyNever


@dataclass(frozen=True, slots=True)
class Blame:
    """What to look at first (`causes`), and by requirement which changes, undone, restore it (`changes`).

    For those that are `unsettled` nothing was found, and not all that could be was looked for.
    """

    causes: tuple[Cause, ...] = ()
    changes: Mapping[str, BlamedChanges] = field(default_factory=dict)
    unsettled: tuple[str, ...] = ()


def blame(
    verification: Verification,
    without: Callable[[frozenset[int]], Hold | None],
    engine: Engine,
    limits: Limits = NO_LIMITS,
    thorough: bool = True,
    never: Sequence[WhyNever] = (),
) -> Blame:
    """What is to be blamed for all that fails; an end that is asked for leaves what was found by then.

    `thorough` and `never` are as for `Search`; where it is `thorough` it also goes on to what is to blame once all that
    was found is mended.
    """
    if not verification.count(Status.FAILS):
        return Blame()
    # here, because most holds have nothing to be blamed for
    from interlock.study.causes.causes import Search, joined
    from interlock.study.causes.changes import blame_changes
    from interlock.study.causes.together import causes_together
    from interlock.study.causes.trials import Bench

    changes: dict[str, BlamedChanges] = {}
    causes: list[Cause] = []
    unsettled: set[str] = set()
    try:
        bench = Bench(verification, engine, limits)
        changes.update(blame_changes(bench, without))
        explained = [id for id, one in changes.items() if one.sets]
        search = Search(bench, explained, thorough, never)
        causes.extend(joined(search.causes()))
        if thorough:
            causes.extend(joined(causes_together(search)))
        unsettled = bench.unsettled.difference(explained, *(cause.requirements for cause in causes))
    except KeyboardInterrupt:
        pass
    return Blame(tuple(causes), changes, tuple(sorted(unsettled)))
