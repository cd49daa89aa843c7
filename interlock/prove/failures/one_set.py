"""One set of failures: runs to targets in which nothing else fails, or clauses that exclude the targets.

First what is known is looked at: states that are reached, those in which runs end where only a part of the set fails
among them, how runs to the same target ended under other sets (the last steps of most have nothing to do with what
failed), then clauses, then endings of which what cannot fire is left out.  Then it is looked ahead to all targets from
where other runs ended (see `ahead`), back from each shortly (see `looking_back`), ahead to it, and back once more; what
is left is asked of property-directed reachability, begun with the clauses that are known, in turns with guided search.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from itertools import takewhile

from interlock.kernel.claims import ProgressCallback, Trace
from interlock.prove.certificates.trimming import trim
from interlock.prove.core.local import Cube
from interlock.prove.core.solvers import light_solver
from interlock.prove.engine import Allowance, Clock, OutOfTime
from interlock.prove.failures.looking_back import LookBack
from interlock.prove.failures.narrowing import Narrowed
from interlock.prove.failures.states import Ending, Met, extended, loosely_after
from interlock.prove.frames.frames import Frames

MOST_IN_VAIN = 1
"""After so many targets that were looked back from in vain, one after the other, others are looked at shortly."""
MOST_SHORTLY_IN_VAIN = 3
"""After so many of these, none."""
MOST_NOT_EXCLUDED = 2
"""After so many targets, one after the other, that what is known does not exclude runs to the others are looked for."""
FEW_QUERIES = 10_000
"""So many queries frames may take where what is hard is put off: mostly they have settled it by then."""
SOME_QUERIES = 50_000
"""The same where it is not put off any more: runs that frames find at all they have mostly found by then."""
FEW_FRAMES = 20
"""So many steps from the start runs are looked for by frames before they are looked for by guided search."""

Known = Callable[[], list[Cube]]
LookAhead = Callable[[Sequence[int], Met, Sequence[int]], Mapping[int, Trace]]
"""Looks for runs to targets, by their places, from states in these lanes: those that it finds."""
MOST_ENDS = 16
"""So many states in which other runs end are looked ahead from, those that were met last."""
Guide = Callable[[Sequence[int]], Mapping[int, Trace]]
"""Guided search for some of the targets, by their places: runs to those that it finds."""


class OneSet:
    """The search under one set, for `targets` of the machine; `found` is told of each run, by the target's place.

    `excludes` says of a target, by its place, whether the clauses known exclude it (where the second argument is so, by
    reasons that are known alone); `may_hold` gives cubes kept out by clauses that are not known not to hold under the
    set, `hold` by those that hold there.  `met` is None where there is no state to begin with.  `endings` gives, by the
    target's place, how runs to it ended; `ahead` looks for runs from states that are met; `smaller` gives runs to
    targets in which a part of the set fails; `told` is told what is met before it is asked what is excluded.
    """

    def __init__(
        self,
        narrowed: Narrowed,
        targets: Sequence[int],
        excludes: Callable[[int, bool], bool],
        may_hold: Known,
        hold: Known,
        met: Met | None,
        clock: Clock,
        found: Callable[[int, Trace], None],
        endings: Callable[[int, bool], Iterable[Ending]],
        ahead: LookAhead,
        smaller: Callable[[], Iterable[Trace]],
        told: Callable[[Met], None],
    ) -> None:
        self.narrowed = narrowed
        self.targets = [narrowed.gate(target) for target in targets]
        self._excludes = excludes
        self._may_hold = may_hold
        self._hold = hold
        self.met = met
        self.clock = clock
        self._followed = {False: 0, True: 0}
        """How many of the lanes were followed by endings that are known; where that is so, loosely."""
        self._is_loose = False
        """Whether lanes are followed loosely yet."""
        self.answered: set[int] = set()
        """The places of the targets to which a run is known, or that the clauses known exclude."""
        self.put_off: set[int] = set()
        """The places of those that are left for later."""
        self._found = found
        self._endings = endings
        self._ahead = ahead
        self._smaller = smaller
        self._told = told

    @property
    def left(self) -> list[int]:
        """The places of the others."""
        return [at for at in range(len(self.targets)) if at not in self.answered and at not in self.put_off]

    def run(self, guide: Guide | None, report: ProgressCallback, hard: Collection[frozenset[int]] = ()) -> list[Cube]:
        """Clauses, as cubes that they keep out, that hold under the set and exclude what is then left.

        Without a guide what few queries do not settle is `put_off`; at once where just these places are `hard`.
        Raises OutOfTime.
        """
        self._look_around()
        # where what is known excludes one it mostly excludes all; where not, mostly none
        self.answered.update(takewhile(lambda place: self._excludes(place, True), self.left))
        if self.met is not None and self.left:
            self.met.inherit(self._smaller())
            self._follow()
            self._told(self.met)
            self._exclude(MOST_NOT_EXCLUDED)
            self._is_loose = True
            self._follow()
            self._told(self.met)
        self._exclude(len(self.targets))
        if frozenset(self.left) in hard:
            self.put_off.update(self.left)
        if self.met is not None and self.left:
            look = LookBack(self.narrowed.rules, self._may_hold(), self.met, self.narrowed.strikes, self.clock)
            try:
                in_vain = 0
                for place in self.left:
                    if place in self.answered:
                        continue
                    if in_vain >= MOST_IN_VAIN + MOST_SHORTLY_IN_VAIN:
                        break
                    if self.met.ends and in_vain < MOST_IN_VAIN:
                        self._note_all(self._ahead(self.left, self.met, self.met.ends[-MOST_ENDS:]).items())
                        if place in self.answered:
                            continue
                    trace = look.run_to(self.targets[place], shortly=True)
                    if trace is None and in_vain < MOST_IN_VAIN:
                        self._note_all(self._ahead([place], self.met, ()).items())
                        if place not in self.answered:
                            trace = look.run_to(self.targets[place])
                    if trace is not None:
                        self._note(place, trace)
                    in_vain = 0 if place in self.answered else in_vain + 1
            finally:
                look.close()
        if not self.left:
            return []
        frames = Frames(self.narrowed.rules, self.targets, self.clock, light_solver, self._hold(), self.met)
        try:
            lemmas = self._by_frames(frames, guide, report)
        finally:
            frames.solver.close()
        wanted = [self.targets[place] for place in self.left]
        return trim(self.narrowed.rules, lemmas, wanted, self.clock, light_solver) if wanted else []

    def _by_frames(self, frames: Frames, guide: Guide | None, report: ProgressCallback) -> Sequence[Cube]:
        """The clauses that exclude what is left in the end."""
        places = self._briefly(frames, report, FEW_QUERIES if guide is None else SOME_QUERIES)
        if places:
            self._note_all(frames.strengthen(places, report, None, self.answered))
            places = [place for place in frames.not_excluded(places) if place not in self.answered]
        if guide is None:
            self.put_off.update(places)
        elif places:
            self._thoroughly(frames, places, guide, report)
        return frames.lemmas if frames.invariant is None else frames.invariant

    def _briefly(self, frames: Frames, report: ProgressCallback, queries: int) -> list[int]:
        """The places of targets that so many queries of frames do not settle."""
        frames.clock = self.clock.within(Allowance(queries))
        try:
            self._note_all(frames.run(self.left, None, report, self.answered))
        except OutOfTime:
            self.clock.check()
            return self.left
        finally:
            frames.clock = self.clock
        return []

    def _thoroughly(self, frames: Frames, places: list[int], guide: Guide, report: ProgressCallback) -> None:
        # where runs lead to others, and none of what was looked at to these, they mostly cannot be reached
        before = 0 if self.met is not None and self.met.ends else len(places)
        while places and len(places) != before:
            # what excludes one target often helps with those before it
            before = len(places)
            self._note_all(frames.strengthen(places, report, None, self.answered, boldly=True))
            places = [place for place in frames.not_excluded(places) if place not in self.answered]
        if places:
            self._note_all(frames.run(places, FEW_FRAMES, report, self.answered))
            places = [place for place in places if place not in self.answered]
        if places and frames.invariant is None:
            places = frames.not_excluded(places)
        if places and frames.invariant is None:
            self._note_all(guide(places).items())
            places = [place for place in places if place not in self.answered]
            self._note_all(frames.run(places, None, report, self.answered) if places else ())

    def _exclude(self, most: int) -> None:
        """Answers what the clauses known exclude, until so many targets, one after the other, are not."""
        in_vain = 0
        for place in self.left:
            if in_vain >= most:
                break
            is_excluded = self._excludes(place, False)
            in_vain = 0 if is_excluded else in_vain + 1
            if is_excluded:
                self.answered.add(place)

    def _look_around(self) -> None:
        """Notes what is so in a state that is known."""
        if self.met is not None:
            for place in self.left:
                if lanes := self.met.true(self.targets[place]):
                    self.answered.add(place)
                    self._found(place, self.met.run_of(lanes))

    def _note_all(self, found: Iterable[tuple[int, Trace]]) -> None:
        for place, trace in found:
            self._note(place, trace)

    def _note(self, place: int, trace: Trace) -> None:
        self._take(place, trace)
        self._follow()

    def _take(self, place: int, trace: Trace) -> None:
        self.answered.add(place)
        self._found(place, trace)
        # where one run has been others begin
        if self.met is not None:
            self.met.meet(trace)

    def _follow(self) -> None:
        """Notes what is so in states that are known, and runs from them that end as those to the same target did."""
        met = self.met
        while met is not None and self.left:
            # what can be had without leaving rules out is had first
            loosely = self._followed[False] == met.size
            if loosely and (not self._is_loose or self._followed[True] == met.size):
                break
            self._look_around()
            fresh, self._followed[loosely] = self._followed[loosely], met.size
            self._follow_from(met, fresh, loosely=loosely)

    def _follow_from(self, met: Met, first: int, *, loosely: bool) -> None:
        """Notes runs from the lanes from that one on that end as those to the same target did."""
        rules = self.narrowed.rules
        asked: dict[int, list[int]] = {}
        endings: dict[Ending, dict[int, None]] = {}
        for place in self.left:
            asked.setdefault(self.targets[place], []).append(place)
            for ending in self._endings(place, loosely):
                endings.setdefault(ending, {})[self.targets[place]] = None
        for ending, target, lanes in list(met.before(rules, endings, first, loosely)):
            for place in asked[target]:
                if place not in self.answered:
                    last = [rules.machine.rules[at] for at in ending]
                    after = loosely_after if loosely else extended
                    self._take(place, after(rules.machine, met.run_of(lanes), last))
