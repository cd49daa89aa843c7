"""Candidates put to proof, one after the other: first what they may spoil, then everything, as they are written."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial

from interlock.hold.alike import Shape, shape_of
from interlock.hold.compile.compiler import CompiledHold
from interlock.hold.language.model import Hold
from interlock.hold.origin import Meaning
from interlock.hold.wiring import wires_of
from interlock.kernel.claims import Limits, Progress, ProgressCallback, silent
from interlock.prove.decide import decide
from interlock.prove.engine import clock_of
from interlock.prove.invariants.lemmas import Lemmas, Remembered
from interlock.prove.recovery.recovery import recover
from interlock.study.repair.abilities import Abilities, Cost
from interlock.study.repair.places import Addition
from interlock.study.repair.results import Mending, Part, Sort, Tried, Writer
from interlock.study.verify import Status, Verification, verify

NAME = "repair"
MOST_TRIED = 60
"""Candidates of one sort that are put to proof where nobody asks for all, ..."""
MOST_BESIDE = 12
"""... and so many once something is known to do."""


@dataclass(frozen=True, slots=True)
class Candidate:
    """A hold that may do, what is done to make it, and what is to be asked first of it."""

    hold: Hold
    parts: tuple[Part, ...]
    asked: tuple[str, ...]
    additions: tuple[Addition, ...] = ()


@dataclass(slots=True)
class Tally:
    """What became of the candidates of one sort so far."""

    sort: Sort
    by_runs: int = 0
    by_proof: int = 0
    senseless: int = 0
    useless: int = 0
    works: int = 0
    open: int = 0

    @property
    def settled(self) -> int:
        """How many were put to proof."""
        return self.by_proof + self.senseless + self.useless + self.works + self.open

    def told(self, possible: int, untried: int, losing: int = 0) -> Tried:
        """The same, with what is left; all others were excluded by runs."""
        by_runs = possible - untried - self.settled
        return Tried(
            self.sort,
            possible,
            by_runs,
            self.by_proof,
            self.senseless,
            self.useless,
            self.works,
            self.open,
            untried,
            losing,
        )


class Proving:
    """The hold as it is, what fails there, and what was found to mend it.

    `remembered` is what the proof of the hold as it is rests on.  `chosen` are requirements, where not all are asked;
    `most` is how many changes are wanted.  `thorough`: every candidate is to be settled.
    """

    def __init__(
        self,
        found: Verification,
        remembered: Remembered,
        writer: Writer,
        limits: Limits,
        report: ProgressCallback = silent,
        chosen: Sequence[str] | None = None,
        most: int | None = None,
        thorough: bool = False,
        abilities: Abilities | None = None,
    ) -> None:
        self.found = found
        self.compiled = found.compiled
        self.hold = found.compiled.hold
        self.thorough = thorough
        self.abilities = abilities
        self.ways = abilities
        """What is known of what can be done in this very hold."""
        self._wiring = {wire.meaning: shape_of(wire.syntax) for wire in wires_of(self.hold)}
        self.done: tuple[Part, ...] = ()
        """What was done already to make this hold of the one that is to be mended."""
        self.limits = limits
        self.mendings: list[Mending] = []
        self.reserve: list[Mending] = []
        """What takes something away, or makes a requirement vacuous: offered behind all else."""
        self.disputed: list[str] = []
        self.runs = 0
        failing = [one.instance.requirement for one in found.answers if one.status is Status.FAILS]
        self.unsafe = tuple(one.id for one in failing if not one.kind.is_about_work)
        self.lacking = tuple(one.id for one in failing if one.kind.is_about_work)
        self.asked = frozenset(one.instance.requirement.id for one in found.answers)
        self._remembered = remembered
        self._writer = writer
        self._report = report
        self._chosen = chosen
        self._most = most
        self._clock = clock_of(limits)
        vacuous = (one for one in found.answers if one.status is Status.VACUOUS)
        self._vacuous = {one.instance.requirement.id for one in vacuous}

    def after(self, done: tuple[Part, ...], seen: Verification) -> Proving:
        """The same of what the hold becomes with these parts done: what is found there is found for the first one."""
        given = self._remembered, self._writer, self.limits, self._report, self._chosen, self._most, self.thorough
        other = Proving(seen, *given, self.abilities)
        other.ways, other.done = None, done
        other.mendings, other.reserve, other.disputed = self.mendings, self.reserve, self.disputed
        other._clock, other._vacuous, other._wiring = self._clock, self._vacuous, self._wiring
        return other

    def is_as_it_was(self, addition: Addition) -> bool:
        """With it the expression is what it is in the hold that is to be mended: no change at all."""
        place = addition.place
        return self._wiring.get(place.wire.meaning) == shape_of(place.with_contact(addition.contact))

    @property
    def is_out_of_time(self) -> bool:
        """A limit was reached, or an end is asked for."""
        return self._clock.is_over()

    @property
    def is_over(self) -> bool:
        """Enough was found, or there is no more time."""
        enough = self._most is not None and len(self.mendings) >= self._most
        return enough or bool(self.disputed) or self._clock.is_over()

    def is_enough(self, tally: Tally) -> bool:
        """No more of this sort is to be tried."""
        if self.is_over or self.thorough:
            return self.is_over
        most = MOST_BESIDE if self.is_mended else MOST_TRIED
        return tally.settled >= most or (self._most is not None and tally.works >= self._most)

    @property
    def is_mended(self) -> bool:
        """Something does, whatever it costs."""
        return bool(self.mendings or self.reserve)

    def settle(self, candidate: Candidate, tally: Tally, left: int) -> Verification | None:
        """Puts the candidate to proof and counts what becomes of it; gives what was seen of it.

        `left` is how many others there are, for those who wait.
        """
        self._report(Progress(NAME, f"{tally.sort}: {left} left to try", tally.settled, tally.settled + left))
        written = self._writer(candidate.hold, candidate.parts)
        if written.compiled is None:
            tally.senseless += 1
            return None
        asked = tuple(dict.fromkeys(candidate.asked))
        if asked:
            some = partial(decide, found=Lemmas(self._remembered), shortest=False)
            seen = verify(written.compiled, some, self._left(0.5), chosen=asked, recoverer=recover)
            if seen.count(Status.FAILS) and not seen.count(Status.DISPUTED):
                tally.by_proof += 1
                return seen
        lemmas = Lemmas(self._remembered)
        ways = partial(recover, found=lemmas)
        whole = verify(written.compiled, decide, self._left(1), silent, self._chosen, ways, lemmas)
        if whole.count(Status.DISPUTED):
            self.disputed += disputed_in(whole)
            tally.open += 1
        elif whole.count(Status.FAILS):
            tally.by_proof += 1
        elif whole.count(Status.UNDECIDED) or not whole.answers:
            tally.open += 1
        elif (cost := self._cost(written.compiled)).is_all:
            tally.useless += 1
        else:
            tally.works += 1
            new = [one for one in whole.answers if one.status is Status.VACUOUS]
            vacuous = tuple(one for one in new if one.instance.requirement.id not in self._vacuous)
            mending = Mending(tally.sort, candidate.parts, written, whole, vacuous, candidate.additions, cost)
            if not self._is_there(mending):
                (self.mendings if mending.is_free else self.reserve).append(mending)
        return whole

    def _cost(self, compiled: CompiledHold) -> Cost:
        return Cost() if self.abilities is None else self.abilities.cost(compiled)

    def _is_there(self, mending: Mending) -> bool:
        """To add this is to put back what was there before, which is offered already."""
        before = [one for one in self.mendings + self.reserve if one.sort is Sort.BEFORE]
        return any(_wiring(one) == _wiring(mending) for one in before) and mending.sort is not Sort.BEFORE

    def _left(self, part: float) -> Limits:
        seconds = self._clock.seconds_left()
        return replace(self.limits, seconds=None if seconds is None else part * seconds)


def _wiring(mending: Mending) -> Mapping[Meaning, Shape]:
    compiled = mending.written.compiled
    return {} if compiled is None else {wire.meaning: shape_of(wire.syntax) for wire in wires_of(compiled.hold)}


def disputed_in(found: Verification) -> Iterator[str]:
    """What parts of this program contradict each other about."""
    yield from (one.instance.requirement.id for one in found.answers if one.status is Status.DISPUTED)
