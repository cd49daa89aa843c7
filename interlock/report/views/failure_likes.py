"""Like failures told together: of each way to fail the items, and where, without a line for each.

Items follow one another where they do among those of their sort in the hold; nothing is read out of what they are
called.  What is told together is in CSV and JSON one by one.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import TypeAlias

from interlock.diagnostics.frozen import frozen
from interlock.report.views.failure_rates import figure
from interlock.report.views.failures import FailuresView, SetGroup
from interlock.report.views.failures_facts import BrokenFacts, ContactAt
from interlock.report.views.wording import listed, shortened

LEAST = 3
"""So many that follow one another are told by the first and the last."""
MOST_PLACES = 6
FOLLOWING = (
    "A to B (12): all that stand from A to B among their sort in the order of the description. In turn: the first of "
    "them at the first place named, the last at the last, those between at those between. Contacts told of several "
    "places of the wiring are named as in the first; in each other one it is those that stand in the same positions of "
    "the line. CSV and JSON have each alone."
)
"""What a reader must know of the way in which like items are told."""


@frozen
class LikeRow:
    """Sets whose members fail in the same ways: `ways`, and `told` of which items where a requirement breaks."""

    ways: str
    told: tuple[str, ...]


@frozen
class _One:
    """A set: the place of each member among the items that fail so, and the places of the instances that it breaks."""

    at: tuple[int, ...]
    where: tuple[int, ...]
    probability: float | None

    def step_to(self, other: _One) -> int | None:
        """By how much the other's instances are shifted where its items are the next ones; None where they are not."""
        moves = {there - here for here, there in zip(self.at, other.at, strict=True)}
        if moves != {1} or self.probability != other.probability or len(self.where) != len(other.where):
            return None
        shifts = {there - here for here, there in zip(self.where, other.where, strict=True)} or {0}
        return shifts.pop() if len(shifts) == 1 else None


_Line: TypeAlias = tuple[str, str, str]
"""An expression of the wiring of which contacts fail in one way: that way, of what it is, and which."""

_Like: TypeAlias = tuple[tuple[str, ...], tuple[int, ...]]
"""What every contact of an expression asks for, or which expression it is; and the positions of some of them."""


class Following:
    """The items of each way to fail, in the order of the hold."""

    def __init__(self, view: FailuresView) -> None:
        self._names: dict[tuple[str, str], dict[int, str]] = {}
        self.way: dict[str, tuple[str, str]] = {}
        self.place: dict[str, int] = {}
        self._contacts: dict[str, ContactAt] = {}
        self._lines: dict[_Line, list[str]] = {}
        """The contacts of each expression that fail in one way, in order."""
        for item in view.facts.failures:
            if item.contact is not None:
                self._contacts[item.id] = item.contact
                line = item.mode, item.contact.of, item.contact.place
                self._lines.setdefault(line, []).append(item.id)
            way = self.way[item.id] = item.item, item.mode
            own = self._names.setdefault(way, {})
            # what a common cause does is said of each, so that none follows another
            self.place[item.id] = 2 * len(own) if item.several else len(own)
            at_once = f" (at once: {view.said_of(item.several)})" if item.several else ""
            own[self.place[item.id]] = item.name + at_once

    def names(self, failures: Sequence[str]) -> tuple[str, ...]:
        """The items of failures of one way, those that follow one another by the first and the last.

        Contacts by where they are, those of like lines together.
        """
        if failures[0] in self._contacts:
            return tuple(self._wired(failures))
        way = self.way[failures[0]]
        ones = [_One((self.place[id],), (), None) for id in failures]
        return tuple(self._said((way,), first, last, len(run)) for run in _runs(ones) for first, last in [_ends(run)])

    def _like(self, failures: Sequence[str]) -> Mapping[_Like, list[_Line]]:
        """The lines of these contacts, those together of which the same positions of like lines are meant."""
        there: dict[_Line, list[int]] = {}
        for id in failures:
            line = self._line(id)
            there.setdefault(line, []).append(self._lines[line].index(id))
        found: dict[_Like, list[_Line]] = {}
        for line, places in there.items():
            every = self._lines[line]
            form = tuple(self._contacts[id].alike for id in every)
            found.setdefault((form if len(every) >= LEAST else line, tuple(places)), []).append(line)
        return found

    def _line(self, id: str) -> _Line:
        return self.way[id][1], self._contacts[id].of, self._contacts[id].place

    def _asking(self, line: _Line, places: Sequence[int]) -> str:
        """The contacts at these positions of the line."""
        every, told = self._lines[line], []
        for run in _runs([_One((at,), (), None) for at in places]):
            first, last = (f'"{self._contacts[every[one.at[0]]].asks}"' for one in _ends(run))
            told.append(f"{first} to {last} ({len(run)})" if len(run) > 1 else first)
        return f"the contact {told[0]}" if len(places) == 1 else f"{len(places)} contacts ({', '.join(told)})"

    def _wired(self, failures: Sequence[str]) -> Iterator[str]:
        """Contacts: where they are, and which."""
        for (_, places), lines in self._like(failures).items():
            yield f"{self._asking(lines[0], places)} in {_written(lines)}"

    def _told_of_contacts(
        self, ids: Mapping[int, str], ones: Sequence[_One], asked: Sequence[BrokenFacts]
    ) -> Iterator[str]:
        """Where, and by which contacts; `ids` has them by their places."""
        alike: dict[str, list[str]] = {}
        for one in ones:
            alike.setdefault(_there(one.where, one.probability, asked), []).append(ids[one.at[0]])
        found: dict[_Like, dict[str, list[_Line]]] = {}
        for where, failures in alike.items():
            for like, lines in self._like(failures).items():
                found.setdefault(like, {})[where] = lines
        for (_, places), by in found.items():
            (first, lines), *more = by.items()
            said = f"{first}: {self._asking(lines[0], places)} in {_written(lines)}"
            others = "; ".join(f"{where}: {_written(lines)}" for where, lines in more)
            yield f"in turn, {said}; {others}" if more else said

    def _said(self, ways: Sequence[tuple[str, str]], first: _One, last: _One, number: int) -> str:
        ends = [
            " with ".join(self._names[way][at] for way, at in zip(ways, one.at, strict=True)) for one in (first, last)
        ]
        return f"{ends[0]} to {ends[1]} ({number})" if number > 1 else ends[0]

    def rows(self, view: FailuresView, group: SetGroup, asked: Sequence[BrokenFacts]) -> tuple[LikeRow, ...]:
        """The sets of the group that break the instances of one text, by the ways in which their members fail."""
        places: dict[tuple[str, ...], list[int]] = {}
        for at, one in enumerate(asked):
            for broken in one.sets:
                places.setdefault(broken.failures, []).append(at)
        found: dict[tuple[tuple[str, str], ...], list[_One]] = {}
        for each in view.of_group(group):
            if each.failures in places:
                members = sorted(each.failures, key=lambda id: (self.way[id], self.place[id]))
                ways = tuple(self.way[id] for id in members)
                own = tuple(self.place[id] for id in members)
                found.setdefault(ways, []).append(_One(own, tuple(places[each.failures]), each.probability))
        said = {ways: " with ".join(f"{item}: {mode}" for item, mode in ways) or group.title for ways in found}
        return tuple(LikeRow(said[ways], self._told(ways, ones, asked)) for ways, ones in found.items())

    def _told(
        self, ways: Sequence[tuple[str, str]], ones: Sequence[_One], asked: Sequence[BrokenFacts]
    ) -> tuple[str, ...]:
        """Where, and by which items; those with the same places beside one another."""
        told: dict[str, list[str]] = {}
        ids = {self.place[id]: id for id in self._contacts if (self.way[id],) == tuple(ways)}
        if ids:
            return tuple(self._told_of_contacts(ids, sorted(ones, key=lambda one: one.at), asked))
        for run in _runs(sorted(ones, key=lambda one: one.at)):
            first, last = _ends(run)
            where = _there(first.where, first.probability, asked)
            if first.where != last.where:
                where = f"in turn, {_where(first.where, asked)} to {_there(last.where, last.probability, asked)}"
            told.setdefault(where, []).append(self._said(ways, first, last, len(run)))
        return tuple(f"{where}: {', '.join(names)}" if any(names) else where for where, names in told.items())


def _runs(ones: Sequence[_One]) -> Iterator[Sequence[_One]]:
    """The longest parts that follow one another with the same shift; shorter ones than the least one by one."""
    begin = 0
    while begin < len(ones):
        end, shift = begin + 1, None
        while end < len(ones):
            step = ones[end - 1].step_to(ones[end])
            if step is None or step != (shift := step if shift is None else shift):
                break
            end += 1
        if end - begin < LEAST:
            end = begin + 1
        yield ones[begin:end]
        begin = end


def _ends(run: Sequence[_One]) -> tuple[_One, _One]:
    return run[0], run[-1]


def _written(lines: Sequence[_Line]) -> str:
    """Where the lines are written."""
    places: dict[str, list[str]] = {}
    for _, of, place in lines:
        places.setdefault(of, []).append(place)
    return listed([f"{of} ({', '.join(own)})" for of, own in places.items()])


def _there(places: Sequence[int], probability: float | None, asked: Sequence[BrokenFacts]) -> str:
    """Where, and how likely it is."""
    return _where(places, asked) + ("" if probability is None else f" (probability {figure(probability)})")


def _where(places: Sequence[int], asked: Sequence[BrokenFacts]) -> str:
    if len(places) == len(asked):
        return "everywhere" if len(asked) > 1 else "there"
    return shortened([" with ".join(asked[at].about) for at in places], MOST_PLACES)
