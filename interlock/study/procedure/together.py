"""Two departures together: slips, failures, or one of each, that lead to a hazard which neither leads to alone.

Two of a kind are two: the same slip made once more, the same failure once it has gone and strikes again.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

from interlock.confirm.consequences import MISSED, stopped_at
from interlock.prove.core.packing import bits_of
from interlock.study.procedure.graph import strikes
from interlock.study.procedure.interleavings import Departure, Hazard, InterleavingSearch, TooMuch, Way
from interlock.study.procedure.runs import Replays, Run, tell_run
from interlock.study.procedure.slips import Slip

MOST_PLACES = 4_000_000
"""Places that two departures lead to are followed at most; half a kilobyte each."""


MOST_RUNS = 6
"""Pairs that are told step by step for one requirement; runs of the others are neither told nor replayed."""
MOST_RUNS_IN_ALL = 100
"""The same for all requirements: slips and failures are counted apart."""


@dataclass(frozen=True, slots=True)
class Strike:
    """A failure: the name of its variable, and a sentence that says that it has struck."""

    name: str
    text: str


@dataclass(frozen=True, slots=True)
class Combination:
    """A smallest choice of slips and failures that together reach a hazard; what is in it twice happens twice."""

    hazard: Hazard
    slips: tuple[Slip, ...]
    run: Run | None
    failures: tuple[Strike, ...] = ()

    @property
    def size(self) -> int:
        """How many slips and failures it takes."""
        return len(self.slips) + len(self.failures)


@dataclass(slots=True)
class Made:
    """Where one departure can be made: (from, what, to), and the hazards that making it is."""

    places: list[tuple[int, int, int]]
    marks: int = 0

    @property
    def dests(self) -> dict[int, None]:
        """Where it leads to."""
        return dict.fromkeys(dest for _, _, dest in self.places)

    def outcome(self, search: InterleavingSearch) -> int:
        """What can come of it, with no other departure."""
        return self.marks | search.outcome_of(self.dests)


class Departures:
    """The departures of one search by number: slips as the graph has them, then failures by `names`."""

    def __init__(self, search: InterleavingSearch) -> None:
        self.search = search
        self.slips = len(search.graph.slips)
        struck = strikes(search.graph.machine)
        self.names = sorted(set(struck.values()))
        numbers = {name: self.slips + at for at, name in enumerate(self.names)}
        self._failure = [numbers[struck[rule]] for rule in search.failures]
        said = search.graph.bound.compiled.glossary.rules
        self._strikes = {numbers[name]: Strike(name, said[rule.name].text) for rule, name in struck.items()}

    def number(self, what: int) -> int:
        """The departure that a slip's move or a failure's strike is, as in an `Edge`."""
        if what < 0:
            return self._failure[-1 - what - len(self.search.acting)]
        slip = self.search.graph.moves[what].slip
        if slip is None:
            raise ValueError("what the procedure asks for is no departure")
        return slip

    def name(self, which: int) -> str:
        """The id of the slip, or the name of the failure."""
        return self.search.graph.slips[which].id if which < self.slips else self.names[which - self.slips]

    def told(self, those: Iterable[int], run: Run | None) -> tuple[tuple[Slip, ...], Run | None, tuple[Strike, ...]]:
        """Slips and failures of these numbers, in order, as a combination has them, with the run between."""
        slips = tuple(self.search.graph.slips[one] for one in those if one < self.slips)
        return slips, run, tuple(self._strikes[one] for one in those if one >= self.slips)

    def made_at(self, nodes: Iterable[int], *, slips: bool, failures: bool) -> dict[int, Made]:
        """Each departure that can be made at one of the nodes; what it leads to becomes nodes."""
        found: dict[int, Made] = {}
        for node in nodes:
            for what, point, hold, marks in self._at(node, slips, failures):
                one = found.setdefault(self.number(what), Made([]))
                one.places.append((node, what, self.search.node(point, hold)))
                one.marks |= marks
        return found

    def _at(self, node: int, slips: bool, failures: bool) -> Iterator[Departure]:
        if slips:
            yield from self.search.slipping(node)
        if failures:
            yield from self.search.striking(node)


@dataclass(frozen=True, slots=True)
class Pair:
    """Two departures, by number, and a way on which they lead to a hazard, by its place among those of the search."""

    hazard: int
    both: tuple[int, int]
    first: int
    node: int
    what: int
    place: int


class Pairs:
    """Every pair that reaches a hazard which neither of the two reaches by itself.

    `first` are the nodes that one departure leads to and the procedure by itself does not, `made` and `dangers` where
    each departure can be made and which hazards, beyond those of the procedure itself, it leads to.  Pairs of slips are
    left out where `slips` are not asked for, and all with a failure where `failures` are not.  Raises OutOfTime and
    TooMuch.
    """

    def __init__(
        self,
        departures: Departures,
        first: range,
        made: Mapping[int, Made],
        dangers: Mapping[int, int],
        *,
        slips: bool,
        failures: bool,
        most: int = MOST_PLACES,
    ) -> None:
        from interlock.study.procedure.beyond import Beyond  # here, as numpy takes long to load

        search = departures.search
        self._search = search
        self._made = made
        self._dangers = dangers
        self._slips = slips
        self._failures = failures
        self.departures = departures
        self._usual = search.outcome_of(search.first)
        self._reached = self._labels(first)
        self._beyond = Beyond(search, most)
        self._seconds: list[tuple[int, int, int, int, int, int]] = []
        for node, (what, point, hold, marks) in self._asked():
            self._seconds.append((node, what, departures.number(what), marks, point, hold))
            if len(self._seconds) > most:
                raise TooMuch
        self._dests = self._beyond.enter([one[4] for one in self._seconds], [one[5] for one in self._seconds]).tolist()
        self._beyond.follow()
        self.places = self._beyond.count

    def _labels(self, first: range) -> dict[int, int]:
        """Per node that one departure leads to the departures that do, as bits."""
        found: dict[int, int] = {}
        for which, one in self._made.items():
            self._search.clock.check()
            for node in self._search.closure(one.dests, first.start):
                if node < first.stop:
                    found[node] = found.get(node, 0) | 1 << which
        return dict(sorted(found.items()))

    def _asked(self) -> Iterator[tuple[int, Departure]]:
        """The second departures that are asked for, each with the node at which it is made."""
        for node, those in self._reached.items():
            if self._slips or those >> self.departures.slips:
                yield from ((node, departure) for departure in self._search.slipping(node))
        if self._failures:
            from interlock.study.procedure.mattering import Mattering  # as above

            yield from Mattering(self._beyond).strikes(list(self._reached))

    def found(self) -> list[Pair]:
        """The pairs, hazard by hazard."""
        search, beyond = self._search, self._beyond
        met = beyond.met
        for one, dest in zip(self._seconds, self._dests, strict=True):
            met |= one[3] | (search.outcomes[dest] if dest < beyond.known else 0)
        for outcome in beyond.outcomes_left():
            met |= outcome
        pairs: list[Pair] = []
        for hazard, reach in beyond.reaching(bits_of(met & search.every_hazard & ~self._usual)):
            alone = sum(1 << which for which, danger in self._dangers.items() if danger >> hazard & 1)
            done: dict[int, int] = {}
            here: dict[tuple[int, int], Pair] = {}
            for (node, what, second, marks, _, _), dest in zip(self._seconds, self._dests, strict=True):
                if alone >> second & 1 or not (marks >> hazard & 1 or reach[dest]):
                    continue
                fresh = self._reached[node] & ~alone & ~done.get(second, 0)
                done[second] = done.get(second, 0) | fresh
                for first in bits_of(fresh):
                    if not self._slips and max(first, second) < self.departures.slips:
                        continue
                    both = (min(first, second), max(first, second))
                    place = -1 if marks >> hazard & 1 else dest
                    here.setdefault(both, Pair(hazard, both, first, node, what, place))
            pairs += [here[both] for both in sorted(here)]
        return pairs

    def way(self, pair: Pair) -> Way:
        """A way on which the pair leads to the hazard; where the second departure itself is that, it ends before it."""
        search, beyond = self._search, self._beyond
        made = self._made[pair.first]
        way = list(search.way_by(made.places, search.way_to(made.dests, frozenset([pair.node]))))
        if pair.place < 0:
            return way
        way.append((beyond.node(pair.place), pair.what))
        steps = [] if pair.place < beyond.known else beyond.way(pair.place, pair.hazard)
        way += [(beyond.node(place), what) for place, what in steps]
        last = steps[-1][0] if steps else pair.place
        return [*way, *search.path([last], 1 << pair.hazard)[1:]] if last < beyond.known else way


def pair_combinations(pairs: Pairs, replays: Replays) -> list[Combination]:
    """The pairs; of the first for each requirement the run is told, and is to be replayed."""
    departures, search = pairs.departures, pairs.departures.search
    told: Counter[int] = Counter()
    found = []
    for pair in pairs.found():
        search.clock.check()
        hazard, run = search.hazards[pair.hazard], None
        told[pair.hazard] += 1
        if told[pair.hazard] <= MOST_RUNS and told.total() <= MOST_RUNS_IN_ALL:
            way = pairs.way(pair)
            replays.add(hazard, way)
            run = tell_run(search, way, hazard.bad)
        found.append(Combination(hazard, *departures.told(pair.both, run)))
    return found


def leading(search: InterleavingSearch, combinations: Iterable[Combination]) -> dict[str, frozenset[tuple[str, ...]]]:
    """What is said of the smallest choices, as the second count says it; what breaks as it is by the empty one."""
    found: dict[str, set[tuple[str, ...]]] = {}
    for id in search.hazards_in(search.outcome_of(search.first)):
        found[id] = {()}
    for one in combinations:
        names = (*(slip.id for slip in one.slips), *(failure.name for failure in one.failures))
        found.setdefault(one.hazard.instance.requirement.id, set()).add(tuple(sorted(names)))
    return {id: frozenset(some) for id, some in found.items()}


def effects_of(search: InterleavingSearch, made: Made) -> frozenset[str]:
    """What the search says can come of a departure, in the words of the second count."""
    met = made.outcome(search)
    hazards, points = search.hazards, search.graph.points
    found = {
        hazards[at].instance.requirement.id if at < search.stands else stopped_at(points[at - search.stands].name)
        for at in bits_of(met & (search.good - 1))
    }
    return frozenset(found | ({MISSED} if met & search.bad else set()))
