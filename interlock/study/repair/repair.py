"""Which changes would mend a hold: each proved, on the description that is offered, to leave nothing that fails.

Of one sort of change after the other every candidate is tried that no known run excludes, until enough are found.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Sequence
from dataclasses import replace

from interlock.hold.compile.compiler import CompiledHold
from interlock.hold.language.model import Hold
from interlock.hold.wiring import inhibits_written
from interlock.kernel.claims import Limits, ProgressCallback, silent
from interlock.prove.decide import decide
from interlock.prove.engine import NO_LIMITS, clock_of
from interlock.prove.invariants.lemmas import Lemmas
from interlock.study.causes.trials import Bench
from interlock.study.repair.abilities import Abilities
from interlock.study.repair.additions import Additions
from interlock.study.repair.others import devices, put_back, taken_out
from interlock.study.repair.places import (
    Nearness,
    contacts_both_ways,
    facts_of,
    freed_places,
    linkages_of,
    places_of,
    reachable,
    replaceable,
    states_of,
)
from interlock.study.repair.proving import Proving, disputed_in
from interlock.study.repair.results import Mending, Repair, Sort, Tried, Writer, sum_of
from interlock.study.verify import Status, verify

MOST_OFFERED = 3


def repair(
    compiled: CompiledHold,
    writer: Writer,
    without: Callable[[frozenset[int]], Hold | None] = lambda _: None,
    limits: Limits = NO_LIMITS,
    report: ProgressCallback = silent,
    *,
    chosen: tuple[str, ...] | None = None,
    most: int | None = MOST_OFFERED,
    thorough: bool = False,
    sorts: Collection[Sort] = tuple(Sort),
) -> Repair:
    """Looks for changes after which all requirements (or the `chosen`) hold; at most so many are given.

    `without` gives the hold with some of the changes of a modification undone.  `thorough`: every candidate of each
    sort that is looked at is settled, as far as the limits let it be.
    """
    lemmas = Lemmas()
    clock = clock_of(limits)
    left = clock.seconds_left()
    first = replace(limits, seconds=None if left is None else 0.5 * left)
    found = verify(compiled, decide, first, report, chosen, lemmas=lemmas)
    if not found.count(Status.FAILS) or found.count(Status.DISPUTED):
        return Repair(found, disputed=tuple(disputed_in(found)), is_cut=clock.is_over())
    rest = replace(limits, seconds=clock.seconds_left())
    bench = Bench(found, decide, rest)
    abilities = Abilities(bench, rest)
    proving = Proving(found, lemmas.found(), writer, rest, report, chosen, most, thorough, abilities)
    tried: list[Tried] = []
    torn = False
    try:
        for one in _search(proving, bench, without, sorts):
            tried.append(one)  # noqa: PERF402 -- what was found before an end stays
    except KeyboardInterrupt:
        torn = True
    mendings = tuple([*proving.mendings, *sorted(proving.reserve, key=_cost)][:most])
    is_cut = torn or proving.is_out_of_time
    return Repair(found, mendings, tuple(tried), proving.runs, tuple(proving.disputed), is_cut)


def _replaced(proving: Proving, bench: Bench, near: Nearness, freed: Sequence[Proving]) -> Tried:
    """One contact in the place of another: of any, told apart by the runs that must not be; where there are none, of
    those without which what is lacking could be, by the runs that must not be then."""
    hold, facts = proving.hold, facts_of(proving.hold)
    every = replaceable(hold)
    possible = len(every) * len(contacts_both_ways(facts))
    if proving.unsafe:
        return Additions(proving, bench, near, every, facts).singles(Sort.REPLACED)
    tried = []
    for one in freed:
        if proving.is_over or proving.is_mended:
            break
        places = freed_places(hold, one.hold)
        inner = Bench(one.found, decide, proving.limits)
        tried.append(Additions(one, inner, near, places, facts).singles(Sort.REPLACED))
        proving.runs += one.runs
    return sum_of(Sort.REPLACED, possible, tried)


def _cost(mending: Mending) -> int:
    """How much it takes away."""
    return len(mending.vacuous) + len(mending.cost.lost) + len(mending.cost.unknown)


def _search(
    proving: Proving, bench: Bench, without: Callable[[frozenset[int]], Hold | None], sorts: Collection[Sort]
) -> Iterator[Tried]:
    """One sort after the other; what is larger only where nothing smaller does."""
    hold = proving.hold
    items = frozenset(change.item for change in hold.changes)
    near = Nearness(hold, proving.compiled.floor, without(items) if items else None)
    contacts = None
    if Sort.BEFORE in sorts and items:
        yield put_back(proving, bench, without)
    # what keeps something from being is not mended by a contact more
    if proving.unsafe and not proving.lacking and not proving.is_over:
        contacts = Additions(proving, bench, near, places_of(inhibits_written(hold)), facts_of(hold))
        if Sort.CONTACT in sorts:
            yield contacts.singles(Sort.CONTACT)
    freed: list[Proving] = []
    if Sort.REMOVED in sorts and proving.lacking and not proving.is_over:
        out, freed = taken_out(proving)
        yield out
    if Sort.REPLACED in sorts and not proving.mendings and not proving.is_over:
        yield _replaced(proving, bench, near, freed)
    if Sort.LINKAGE in sorts and contacts is not None and not proving.is_mended and not proving.is_over:
        linked = replace(hold, controls=tuple(map(reachable, hold.controls)))
        mechanical = Additions(proving, bench, near, linkages_of(linked), states_of(linked))
        yield mechanical.singles(Sort.LINKAGE)
    if Sort.PAIR in sorts and contacts is not None and not proving.is_mended and not proving.is_over:
        yield contacts.pairs()
    if Sort.DEVICE in sorts and not proving.is_mended and not proving.is_over:
        yield devices(proving, bench)
