"""What if declared failures strike while a procedure is followed, at any point of it, alone, together or with a slip?

As with slips, all failures are followed at once; what has struck stays, unless the description says that it heals.
"""

from __future__ import annotations

from dataclasses import dataclass

from interlock.confirm.consequences import MOST_PLACES as MOST_COUNTED
from interlock.kernel.claims import Finding
from interlock.prove.core.packing import bits_of
from interlock.prove.engine import OutOfTime
from interlock.study.procedure.graph import procedure_machine
from interlock.study.procedure.interleavings import InterleavingSearch, TooMuch, end_of_time
from interlock.study.procedure.recount import SecondCount, recount, track_of
from interlock.study.procedure.runs import Replays, Run, tell_run
from interlock.study.procedure.together import (
    MOST_PLACES,
    Combination,
    Departures,
    Made,
    Pairs,
    effects_of,
    leading,
    pair_combinations,
)


@dataclass(frozen=True, slots=True)
class FailureResult:
    """One failure that breaks requirements which are kept without it; `run` breaks the first of them."""

    text: str
    hazards: tuple[str, ...]
    run: Run


@dataclass(frozen=True, slots=True)
class FailureAudit:
    """What failures lead to; `declared` counts them.  `findings` are of the replayed runs, and of the second count.

    `results` are of failures alone; `open` says why not all of these were followed, and they are then of no use.
    `combinations` are all smallest choices of failures, or of failures and slips, with up to `together` members, and
    `open_together` says why that is less than was asked for.
    """

    declared: int
    results: tuple[FailureResult, ...]
    findings: tuple[Finding, ...]
    open: str = ""
    combinations: tuple[Combination, ...] = ()
    together: int = 0
    open_together: str = ""
    counted: SecondCount | None = None

    def breaking(self, requirement: str) -> int:
        """How many of the failures alone break the requirement."""
        return sum(requirement in one.hazards for one in self.results)


def audit_failures(search: InterleavingSearch, rightly: range, together: int, most: int = MOST_PLACES) -> FailureAudit:
    """Every declared failure at every place that the procedure reaches rightly, and as many as that `together`.

    One of two may be a slip.  `most` are the places that are followed for pairs at most.
    """
    departures = Departures(search)
    if not departures.names:
        return FailureAudit(0, (), (), together=together)
    made = departures.made_at(rightly, slips=together > 1, failures=True)
    try:
        search.explore()
    except TooMuch:
        return FailureAudit(len(departures.names), (), (), f"more than {search.most_nodes:,} points in the procedure")
    after_one = len(search.edges)
    usual = search.outcome_of(search.first)
    dangers = {which: one.outcome(search) & search.every_hazard & ~usual for which, one in made.items()}
    replays = Replays(search, procedure_machine(search.graph, lost=False, slips=together, failing=True))
    failing = {which: made[which] for which in sorted(made) if which >= departures.slips and dangers[which]}
    results = tuple(_result(departures, which, one, dangers[which], replays) for which, one in failing.items())
    combinations = [
        Combination(search.hazards[at], *departures.told([which], None))
        for at in range(search.stands)
        for which in failing
        if dangers[which] >> at & 1
    ]
    places, why = after_one, ""
    if together > 1:
        try:
            first = range(len(rightly), after_one)
            pairs = Pairs(departures, first, made, dangers, slips=False, failures=True, most=most)
            places = pairs.places
            combinations += pair_combinations(pairs, replays)
        except (TooMuch, OutOfTime) as fault:
            together = 1
            why = (
                f"more than {most:,} points in the procedure"
                if isinstance(fault, TooMuch)
                else end_of_time(search.clock)
            )
    counting = 1 if places > MOST_COUNTED >= after_one else together
    said = leading(search, (one for one in combinations if one.size <= counting))
    struck = {which: one for which, one in made.items() if which >= departures.slips}
    effects = {departures.name(which): effects_of(search, one) for which, one in struck.items()}
    track = track_of(search.graph, counting, failing=True)
    followed = after_one if counting == 1 else places
    counted, wrong = recount(track, effects, said, followed, search.clock, frozenset(departures.names))
    findings = (*replays.confirmed(search.clock.seconds_left()), *wrong)
    number = len(departures.names)
    return FailureAudit(number, results, findings, "", tuple(combinations), together, why, counted)


def _result(departures: Departures, which: int, made: Made, danger: int, replays: Replays) -> FailureResult:
    search = departures.search
    at = next(bits_of(danger))
    hazard = search.hazards[at]
    way = search.way_by(made.places, search.path(made.dests, 1 << at))
    replays.add(hazard, way)
    _, _, (failure,) = departures.told([which], None)
    return FailureResult(failure.text, search.hazards_in(danger), tell_run(search, way, hazard.bad))
