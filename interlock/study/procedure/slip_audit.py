"""What each slip leads to, and how few slips together reach each hazard.

All slips are followed at once: what comes after a place does not depend on the slip that led there, so every place is
followed once.  A slip from which the procedure comes back to a place that it reaches rightly has no more to tell there.
Pairs are followed in `together`.  What the search says of every slip is then counted a second time, from the state
machine of the procedure (`recount`), as far as that is not too large.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from interlock.confirm.consequences import MOST_PLACES
from interlock.hold.language.printer import print_syntax
from interlock.hold.tell import Reason
from interlock.kernel.claims import Finding, Progress, ProgressCallback
from interlock.kernel.expressions import disj
from interlock.prove.core.packing import bits_of
from interlock.prove.engine import OutOfTime
from interlock.study.procedure.graph import procedure_machine
from interlock.study.procedure.interleavings import InterleavingSearch, TooMuch, Way, end_of_time
from interlock.study.procedure.recount import SecondCount, recount, track_of
from interlock.study.procedure.runs import Replays, Run, reasons_at, tell_run
from interlock.study.procedure.slips import Slip
from interlock.study.procedure.together import MOST_PLACES as MOST_PLACES_TOGETHER
from interlock.study.procedure.together import (
    Combination,
    Departures,
    Made,
    Pairs,
    effects_of,
    leading,
    pair_combinations,
)

MOST_SLIPS = 2


class Effect(StrEnum):
    """What a slip leads to, worst first."""

    HAZARD = "hazard"
    UNNOTICED = "goal missed unnoticed"
    BLOCKED = "blocked"
    DETECTED = "detected by a check"
    HARMLESS = "harmless"


@dataclass(frozen=True, slots=True)
class SlipResult:
    """The worst that one slip can lead to.

    `hazards` are the requirements that can then be broken, but are not without the slip.  `misses` are the parts of the
    goal, as written, that are not so at the nearest end that the slip leads to and that nothing tells of.  `shows_at`
    are the actions (from 1) at which it can come to a stand or a check can be found not so: all of them, with the `why`
    of the nearest.
    `impossible`: the hold does not let the slip be made at all.  `run` leads to the first hazard or the missed goal.
    """

    slip: Slip
    effect: Effect
    hazards: tuple[str, ...]
    misses: tuple[str, ...]
    shows_at: tuple[int, ...]
    impossible: bool
    why: tuple[Reason, ...]
    run: Run | None


@dataclass(frozen=True, slots=True)
class SlipAudit:
    """All slips and all smallest combinations of up to two, by hazard; `findings` are of their replayed runs.

    `places` counts what was followed in all, `together` the most slips that were followed together.  `open` says what
    was left out, and why.  `counted` is the second count.
    """

    results: tuple[SlipResult, ...]
    combinations: tuple[Combination, ...]
    findings: tuple[Finding, ...]
    places: int
    together: int
    open: tuple[str, ...]
    counted: SecondCount

    @property
    def hazardous(self) -> bool:
        """Some single slip leads to a hazard."""
        return any(result.effect is Effect.HAZARD for result in self.results)

    def fewest(self, requirement: str) -> int | None:
        """The fewest slips that break the requirement; None where up to two do not."""
        sizes = [len(one.slips) for one in self.combinations if one.hazard.instance.requirement.id == requirement]
        return min(sizes, default=None)


def audit_slips(
    search: InterleavingSearch,
    rightly: range,
    report: ProgressCallback,
    together: int = MOST_SLIPS,
    most: int = MOST_PLACES_TOGETHER,
    pairs_needed: bool = True,
) -> SlipAudit:
    """Every slip at every place that the procedure reaches rightly, then every pair where two go `together`.

    `most` are the places that are followed for pairs at most; that these did not suffice leaves something open only
    where pairs are needed.
    """
    graph, clock = search.graph, search.clock
    others = len(search.edges) - len(rightly)  # places of interruptions, which the second count has no part in
    departures = Departures(search)
    made = departures.made_at(rightly, slips=True, failures=False)
    search.explore()
    after_one = len(search.edges)
    usual = search.outcome_of(search.first)
    dangers = [0] * len(graph.slips)
    for which, one in made.items():
        dangers[which] = one.outcome(search) & search.every_hazard & ~usual
    machine = procedure_machine(graph, lost=False, slips=together)
    replays = Replays(search, machine)
    results = tuple(
        _result(search, rightly, slip, made.get(place), dangers[place], replays)
        for place, slip in enumerate(graph.slips)
    )
    notes: list[str] = []
    combinations: list[Combination] = []
    for at, hazard in enumerate(search.hazards):
        for place, slip in enumerate(graph.slips):
            if dangers[place] >> at & 1:
                combinations.append(Combination(hazard, (slip,), None))
    places = after_one
    if together > 1:
        report(Progress("procedure", "making two slips"))
        try:
            first, beyond_usual = range(len(rightly), after_one), dict(enumerate(dangers))
            pairs = Pairs(departures, first, made, beyond_usual, slips=True, failures=False, most=most)
            places = pairs.places
            combinations += pair_combinations(pairs, replays)
        except (TooMuch, OutOfTime) as fault:
            together = 1
            why = f"more than {most:,} points in the procedure" if isinstance(fault, TooMuch) else end_of_time(clock)
            if pairs_needed or isinstance(fault, OutOfTime):
                notes.append(f"not all pairs of slips were followed: {why}")
    findings = replays.confirmed(clock.seconds_left())
    report(Progress("procedure", "counting the slips a second time"))
    effects = {graph.slips[which].id: effects_of(search, one) for which, one in made.items()}
    # too many for pairs: at least every slip by itself
    counting = 1 if places - others > MOST_PLACES >= after_one - others else together
    said = leading(search, (one for one in combinations if len(one.slips) <= counting))
    followed = (after_one if counting == 1 else places) - others
    counted, wrong = recount(track_of(graph, counting), effects, said, followed, clock)
    return SlipAudit(results, tuple(combinations), (*findings, *wrong), places, together, tuple(notes), counted)


def _result(
    search: InterleavingSearch, rightly: range, slip: Slip, made: Made | None, danger: int, replays: Replays
) -> SlipResult:
    search.clock.check()
    graph = search.graph
    if made is None:
        why = _why_impossible(search, rightly, slip)
        return SlipResult(slip, Effect.BLOCKED, (), (), (slip.action + 1,), True, why, None)
    met = search.outcome_of(made.dests)
    stands = list(bits_of((met & (search.good - 1)) >> search.stands))
    shows = tuple(sorted({graph.points[at].action + 1 for at in stands}))
    if danger:
        at = next(bits_of(danger))
        hazard = search.hazards[at]
        way = _way_with(search, made, 1 << at)
        replays.add(hazard, way)
        ids = search.hazards_in(danger)
        return SlipResult(slip, Effect.HAZARD, ids, (), shows, False, (), tell_run(search, way, hazard.bad))
    if met & search.bad:
        way = _way_with(search, made, search.bad)
        last = search.state(way[-1][0])
        missed = (part.syntax for part in graph.bound.parts if not search.holds(last, part.expr))
        run = tell_run(search, way, graph.bound.goal)
        return SlipResult(slip, Effect.UNNOTICED, (), tuple(map(print_syntax, missed)), shows, False, (), run)
    if stands:
        blocked = any(not graph.points[at].stopped for at in stands)
        wanted = sum(1 << (search.stands + at) for at in stands if graph.points[at].stopped is not blocked)
        end = _way_with(search, made, wanted)[-1][0]
        why = reasons_at(search, end, search.wanted_at(end), 2)
        return SlipResult(slip, Effect.BLOCKED if blocked else Effect.DETECTED, (), (), shows, False, why, None)
    return SlipResult(slip, Effect.HARMLESS, (), (), (), False, (), None)


def _way_with(search: InterleavingSearch, made: Made, wanted: int) -> Way:
    """A shortest way to the slip and on to what is wanted; where making it is itself that, the way ends before it."""
    tail = search.path(made.dests, wanted)
    if tail:
        return search.way_by(made.places, tail)
    sources = (node for node, _, _ in made.places)
    before = (node for node in sources if any(marks & wanted for _, _, marks in search.slips_from(node)))
    return search.way_to(search.first, frozenset(before))


def _why_impossible(search: InterleavingSearch, rightly: range, slip: Slip) -> tuple[Reason, ...]:
    """Why the hold does not let the slip be made, at the first place where it could be tried."""
    graph = search.graph
    tried = {move.source for move in graph.moves if move.slip is not None and graph.slips[move.slip] is slip}
    node = next((node for node in rightly if search.point[node] in tried), None)
    if node is None or slip.instead is None or not slip.instead.rules:
        return ()
    wanted = disj(*(graph.machine.rule(name).guard for name in slip.instead.rules))
    return reasons_at(search, node, wanted, 2)
