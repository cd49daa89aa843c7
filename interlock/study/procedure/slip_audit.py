"""What each slip leads to, and how few slips together reach each hazard.

All slips are followed at once: what comes after a place does not depend on the slip that led there, so every place is
followed once.  A slip from which the procedure comes back to a place that it reaches rightly has no more to tell there.
What the search says of every slip is then counted a second time, from the state machine of the procedure (`recount`),
as far as that is not too large.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from interlock.confirm.consequences import MISSED, MOST_PLACES, stopped_at
from interlock.hold.tell import Reason
from interlock.kernel.claims import Finding, Progress, ProgressCallback
from interlock.kernel.expressions import disj
from interlock.prove.engine import OutOfTime
from interlock.study.procedure.graph import procedure_machine
from interlock.study.procedure.interleavings import Hazard, InterleavingSearch, TooMuch, Way, bits_of, end_of_time
from interlock.study.procedure.recount import SecondCount, recount, track_of
from interlock.study.procedure.runs import Replays, Run, reasons_at, tell_run
from interlock.study.procedure.slips import Slip

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

    `hazards` are the requirements that can then be broken, but are not without the slip.  `shows_at` are the actions
    (from 1) at which it can come to a stand or a check can be found not so: all of them, with the `why` of the nearest.
    `impossible`: the hold does not let the slip be made at all.  `run` leads to the first hazard or the missed goal.
    """

    slip: Slip
    effect: Effect
    hazards: tuple[str, ...]
    shows_at: tuple[int, ...]
    impossible: bool
    why: tuple[Reason, ...]
    run: Run | None


@dataclass(frozen=True, slots=True)
class Combination:
    """A smallest set of slips that together reach a hazard."""

    hazard: Hazard
    slips: tuple[Slip, ...]
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


@dataclass(slots=True)
class _Made:
    """Where one slip can be made: (from, move, to), and the hazards that making it is."""

    places: list[tuple[int, int, int]]
    marks: int = 0

    @property
    def dests(self) -> dict[int, None]:
        """Where it leads to."""
        return dict.fromkeys(dest for _, _, dest in self.places)

    def outcome(self, search: InterleavingSearch) -> int:
        """What can come of it, with no other slip."""
        return self.marks | search.outcome_of(self.dests)


def audit_slips(
    search: InterleavingSearch, rightly: range, report: ProgressCallback, together: int = MOST_SLIPS
) -> SlipAudit:
    """Every slip at every place that the procedure reaches rightly, then every pair where two go `together`."""
    graph, clock = search.graph, search.clock
    asked = together
    made = _made(search, rightly)
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
    if together > 1:
        report(Progress("procedure", "making two slips"))
        try:
            combinations += _pairs(search, range(len(rightly), after_one), made, dangers, replays)
        except (TooMuch, OutOfTime) as fault:
            together = 1
            why = f"more than {search.most_nodes:,} places" if isinstance(fault, TooMuch) else end_of_time(clock)
            notes.append(f"not all pairs of slips were followed: {why}")
    findings = replays.confirmed(clock.seconds_left())
    report(Progress("procedure", "counting the slips a second time"))
    effects = {graph.slips[which].id: _effects(search, one) for which, one in made.items()}
    fewest = {hazard.instance.requirement.id: 0 for at, hazard in enumerate(search.hazards) if usual >> at & 1}
    for combination in combinations:
        id, size = combination.hazard.instance.requirement.id, len(combination.slips)
        fewest[id] = min(fewest.get(id, size), size)
    if together > 1 and len(search.edges) > MOST_PLACES >= after_one:
        # too many for pairs: at least every slip by itself
        fewest = {id: size for id, size in fewest.items() if size < MOST_SLIPS}
        counted, wrong = recount(track_of(graph, 1), 1, effects, fewest, after_one, clock)
    else:
        track = track_of(graph, together, machine if together == asked else None)
        counted, wrong = recount(track, together, effects, fewest, len(search.edges), clock)
    return SlipAudit(
        results, tuple(combinations), (*findings, *wrong), len(search.edges), together, tuple(notes), counted
    )


def _effects(search: InterleavingSearch, made: _Made) -> frozenset[str]:
    """What the search says can come of a slip, in the words of the second count."""
    met = made.outcome(search)
    hazards, points = search.hazards, search.graph.points
    found = {
        hazards[at].instance.requirement.id if at < search.stands else stopped_at(points[at - search.stands].name)
        for at in bits_of(met & (search.good - 1))
    }
    return frozenset(found | ({MISSED} if met & search.bad else set()))


def _made(search: InterleavingSearch, nodes: Sequence[int]) -> dict[int, _Made]:
    found: dict[int, _Made] = {}
    for node in nodes:
        for place, dest, marks in search.slips_from(node):
            slip = search.graph.moves[place].slip
            assert slip is not None  # noqa: S101 -- only slips are given
            one = found.setdefault(slip, _Made([]))
            one.places.append((node, place, dest))
            one.marks |= marks
    return found


def _result(
    search: InterleavingSearch, rightly: range, slip: Slip, made: _Made | None, danger: int, replays: Replays
) -> SlipResult:
    search.clock.check()
    graph = search.graph
    if made is None:
        why = _why_impossible(search, rightly, slip)
        return SlipResult(slip, Effect.BLOCKED, (), (slip.action + 1,), True, why, None)
    met = search.outcome_of(made.dests)
    stands = list(bits_of((met & (search.good - 1)) >> search.stands))
    shows = tuple(sorted({graph.points[at].action + 1 for at in stands}))
    if danger:
        at = next(bits_of(danger))
        hazard = search.hazards[at]
        way = _way_with(search, made, 1 << at)
        replays.add(hazard, way)
        ids = search.hazards_in(danger)
        return SlipResult(slip, Effect.HAZARD, ids, shows, False, (), tell_run(search, way, hazard.bad))
    if met & search.bad:
        way = _way_with(search, made, search.bad)
        return SlipResult(slip, Effect.UNNOTICED, (), shows, False, (), tell_run(search, way, graph.bound.goal))
    if stands:
        blocked = any(not graph.points[at].stopped for at in stands)
        wanted = sum(1 << (search.stands + at) for at in stands if graph.points[at].stopped is not blocked)
        end = _way_with(search, made, wanted)[-1][0]
        why = reasons_at(search, end, search.wanted_at(end), 2)
        return SlipResult(slip, Effect.BLOCKED if blocked else Effect.DETECTED, (), shows, False, why, None)
    return SlipResult(slip, Effect.HARMLESS, (), (), False, (), None)


def _way_with(search: InterleavingSearch, made: _Made, wanted: int) -> Way:
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


def _pairs(
    search: InterleavingSearch, after_one: range, made: dict[int, _Made], dangers: Sequence[int], replays: Replays
) -> list[Combination]:
    """Every pair that reaches a hazard which neither of the two reaches by itself, hazard by hazard.

    `after_one` are the nodes that one slip leads to, and the procedure by itself does not.
    """
    graph = search.graph
    usual = search.outcome_of(search.first)
    second = {node: list(search.slips_from(node)) for node in after_one}
    search.explore()
    found: dict[tuple[int, frozenset[int]], tuple[int, int, int, int]] = {}
    for slip, one in made.items():
        search.clock.check()
        for node in search.closure(one.dests, after_one.start):
            for place, dest, marks in second.get(node, ()):
                other = graph.moves[place].slip
                assert other is not None  # noqa: S101 -- only slips are given
                if other == slip:
                    continue
                new = (marks | search.outcomes[dest]) & search.every_hazard & ~usual
                for at in bits_of(new & ~dangers[slip] & ~dangers[other]):
                    found.setdefault((at, frozenset((slip, other))), (slip, node, place, dest))
    combinations = []
    by_hazard = sorted(found.items(), key=lambda item: (item[0][0], sorted(item[0][1])))
    for (at, those), (slip, node, place, dest) in by_hazard:
        search.clock.check()
        way = _way_of_pair(search, made[slip], (node, place, dest), 1 << at)
        pair = tuple(graph.slips[which] for which in sorted(those))
        replays.add(search.hazards[at], way)
        combinations.append(Combination(search.hazards[at], pair, tell_run(search, way, search.hazards[at].bad)))
    return combinations


def _way_of_pair(search: InterleavingSearch, made: _Made, second: tuple[int, int, int], wanted: int) -> Way:
    node, place, dest = second
    way = search.way_by(made.places, search.way_to(made.dests, frozenset([node])))
    tail = search.path([dest], wanted)
    return [*way, (dest, place), *tail[1:]] if tail else way
