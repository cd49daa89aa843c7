"""Which contacts, in which places, stop every run that must not be; and of these, which leave what can be done.

Tens of thousands of contacts are told apart by the states of a few runs, as the bits of one number for each place.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

from interlock.hold.language.syntax import Fact, Syntax
from interlock.prove.core.packing import bits_of
from interlock.study.repair.places import Addition, Place, contacts_both_ways
from interlock.study.repair.unfused import Run, Unfused


@dataclass(frozen=True, slots=True)
class Choice:
    """An addition by the numbers of its place and its contact; `lost` is what no way that is known leads to with it."""

    place: int
    contact: int
    lost: frozenset[str]


class Tables:
    """What is known of every addition: contacts by place, as bits in the order of `contacts`.

    `left` are those that no bad run has excluded.  `excluded` counts the others.
    """

    def __init__(self, unfused: Unfused, places: Sequence[Place], facts: Sequence[Fact]) -> None:
        self._unfused = unfused
        self.places = tuple(places)
        self.contacts: tuple[Syntax, ...] = contacts_both_ways(facts)
        self.left: dict[int, int] = {}
        for at, place in enumerate(places):
            self.left[at] = ((1 << len(self.contacts)) - 1) & ~unfused.in_circles(place)
        self.possible = sum(one.bit_count() for one in self.left.values())
        self._whole = dict(self.left)
        self._bad: list[Run] = []
        self._stopping: list[dict[int, int]] = []
        self._good: dict[str, list[Run]] = {}
        self._kept: dict[tuple[str, int], int] = {}
        self._keeping: dict[tuple[int, str, int], int] = {}

    @property
    def excluded(self) -> int:
        """How many of the additions some bad run has excluded: it can still be done with them."""
        return self.possible - sum(one.bit_count() for one in self.left.values())

    def add_bad(self, run: Run) -> int:
        """Excludes all with which the run can still be done; gives how many these are."""
        before = self.excluded
        stopping = {}
        for at, place in enumerate(self.places):
            some = self._whole[at]
            stopping[at] = some & ~self._unfused.done_with(run, place, some) if some else 0
            self.left[at] &= stopping[at]
        self._bad.append(run)
        self._stopping.append(stopping)
        return self.excluded - before

    def add_good(self, id: str, run: Run) -> None:
        """One way of doing what can be done."""
        self._good.setdefault(id, []).append(run)

    def drop(self, choice: Choice) -> None:
        """Leaves one out, as it is found or not to do."""
        self.left[choice.place] &= ~(1 << choice.contact)

    def is_left(self, choice: Choice) -> bool:
        """No run that is known excludes it."""
        return bool(self.left[choice.place] >> choice.contact & 1)

    def addition(self, choice: Choice) -> Addition:
        """What is added where."""
        return Addition(self.places[choice.place], self.contacts[choice.contact])

    def choices(self) -> Iterator[Choice]:
        """All that is left, in the order of places and contacts."""
        for at, some in self.left.items():
            if some:
                lost: dict[int, set[str]] = {}
                for id in self._good:
                    gone = some & ~self.keeping(at, id)
                    for bit in bits_of(gone):
                        lost.setdefault(bit, set()).add(id)
                for bit in bits_of(some):
                    yield Choice(at, bit, frozenset(lost.get(bit, ())))

    def keeping(self, at: int, id: str) -> int:
        """The contacts with which, in that place, one of the known ways of doing it remains."""
        kept = 0
        for number, run in enumerate(self._good.get(id, ())):
            key = (at, id, number)
            if key not in self._keeping:
                self._keeping[key] = self._unfused.done_with(run, self.places[at], self._whole[at])
            kept |= self._keeping[key]
        return kept

    def partial_choices(
        self, required: Callable[[frozenset[str]], Sequence[str]]
    ) -> Iterator[tuple[Choice, frozenset[int]]]:
        """What stops some of the bad runs, by their numbers, and costs nothing that is `required`."""
        good = frozenset(required(frozenset(self._good)))
        for at in range(len(self.places)):
            some = 0
            for stopping in self._stopping:
                some |= stopping[at]
            for id in good if some else ():
                some &= self.keeping(at, id)
            for bit in bits_of(some):
                stopped = frozenset(n for n, stopping in enumerate(self._stopping) if stopping[at] >> bit & 1)
                lost = frozenset(id for id in self._good if id not in good and not self.keeping(at, id) >> bit & 1)
                yield Choice(at, bit, lost), stopped
