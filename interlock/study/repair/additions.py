"""Contacts added, one or two, or one put in the place of another: what no known run excludes, the nearest first."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from itertools import combinations, product

from interlock.hold.language.printer import print_syntax
from interlock.hold.language.syntax import Fact, Truth
from interlock.hold.origin import Sort as Thing
from interlock.kernel.claims import Fails
from interlock.kernel.machine import RequirementKind
from interlock.study.causes.remedies import name_of_wire
from interlock.study.causes.trials import Bench
from interlock.study.repair.places import Addition, Nearness, Place
from interlock.study.repair.proving import Candidate, Proving, Tally
from interlock.study.repair.results import Part, Sort, Tried
from interlock.study.repair.tables import Choice, Tables
from interlock.study.repair.unfused import Unfused
from interlock.study.verify import Status, Verification

MOST_PAIRS = 20_000
"""Pairs that wait to be tried."""
MOST_ALIKE = 12
"""Contacts that stop the same runs, the nearest of them, of which pairs are made."""


class Additions:
    """Contacts for some facts, in some places, of the hold that is to be mended."""

    def __init__(
        self, proving: Proving, bench: Bench, near: Nearness, places: Sequence[Place], facts: Sequence[Fact]
    ) -> None:
        self._proving = proving
        self._near = near
        self._unfused = Unfused(proving.compiled, places, facts)
        self._tables = Tables(self._unfused, places, facts)
        self._bad = 0
        self._note_runs(bench)

    def _note_runs(self, bench: Bench) -> None:
        """What is known to be bad, and what must remain possible, by runs on which nothing breaks."""
        for id, traces in bench.bad.items():
            if id not in self._unfused.targets:
                continue
            target = self._unfused.targets[id]
            for trace in traces:
                run = self._unfused.run_of(bench.model.machine, bench.model.compiled, trace, target)
                if run is not None:
                    self._bad += 1
                    self._tables.add_bad(run)
        for id, traces in bench.good.items():
            target = self._unfused.targets.get(id, bench.model.questions[id].target)
            for trace in traces:
                run = self._unfused.run_of(bench.model.machine, bench.model.compiled, trace, target)
                if run is not None:
                    self._tables.add_good(id, run)
        abilities = self._proving.ways
        if abilities is None:
            return
        for id, trace in abilities.runs.items():
            target = abilities.questions[id].target
            run = self._unfused.run_of(bench.model.machine, bench.model.compiled, trace, target)
            if run is not None:
                self._tables.add_good(id, run)

    # ---- one

    def singles(self, sort: Sort) -> Tried:
        """Each by itself; unless all are to be settled, those that seem to cost something only where no other does."""
        proving, tables = self._proving, self._tables
        tally = Tally(sort)
        order: list[Choice] = []
        known = -1
        while not proving.is_enough(tally):
            if known != self._bad:
                known = self._bad
                order = sorted(tables.choices(), key=self._order, reverse=True)
            if not order:
                break
            choice = order.pop()
            if not tables.is_left(choice):
                continue
            if proving.is_as_it_was(tables.addition(choice)):
                # of that it is known already that it fails
                tally.by_proof += 1
                tables.drop(choice)
                continue
            lost = self._required(choice.lost)
            if lost and proving.is_mended and not proving.thorough:
                break
            candidate = self._candidate([tables.addition(choice)], lost)
            seen = proving.settle(candidate, tally, len(order))
            tables.drop(choice)
            if seen is not None:
                self._learn(seen, lost)
        left = list(tables.choices())
        proving.runs += self._bad
        return tally.told(tables.possible, len(left), sum(bool(self._required(one.lost)) for one in left))

    def _required(self, lost: Iterable[str]) -> tuple[str, ...]:
        """Those of what is lost that a requirement asks for."""
        return tuple(sorted(id for id in lost if id in self._proving.asked))

    def _order(self, choice: Choice) -> tuple[int, ...]:
        """What is tried first: what loses nothing, what was there before, what stands near, what combines several."""
        place, contact = self._tables.places[choice.place], self._tables.contacts[choice.contact]
        return (
            len(self._required(choice.lost)),
            len(choice.lost),
            place.wire.meaning.subject.sort is Thing.STATION,
            self._near.of(place, contact),
            not self._near.is_written(place),
            len(place.way),
            self._near.is_single(contact),
            self._near.reach(place),
            choice.place,
            choice.contact,
        )

    def _candidate(self, additions: Sequence[Addition], lost: tuple[str, ...]) -> Candidate:
        hold = self._proving.hold
        for one in additions:
            hold = one.made_in(hold)
        parts = (*self._proving.done, *map(self._part, additions))
        return Candidate(hold, parts, (*self._proving.unsafe, *self._proving.lacking, *lost), tuple(additions))

    def _part(self, addition: Addition) -> Part:
        wire, contact = addition.place.wire, print_syntax(addition.contact)
        item, id = name_of_wire(self._proving.compiled, wire.meaning)
        if not wire.is_electrical:
            if not addition.place.way:
                return Part(id, item, f"let it be possible only while '{contact}'")
            new = print_syntax(addition.place.with_contact(addition.contact))
            return Part(id, item, f"let it be possible only while '{new}'")
        if isinstance(addition.place.part, Truth):
            return Part(id, item, f"put the contact '{contact}' there")
        if addition.place.joint == "instead":
            return Part(id, item, f"put the contact '{contact}' in the place of '{print_syntax(addition.place.part)}'")
        how = "in series" if addition.place.joint == "and" else "in parallel"
        part = f" with '{print_syntax(addition.place.part)}'" if addition.place.way else ""
        return Part(id, item, f"add the contact '{contact}' {how}{part}")

    def _learn(self, seen: Verification, lost: Collection[str]) -> None:
        """Runs against a candidate exclude others; what can be done with it can be done without it as well."""
        targets = self._unfused.targets
        for answer in seen.answers:
            id = answer.instance.requirement.id
            if isinstance(answer.finding, Fails) and id in targets:
                run = self._unfused.run_of(seen.machine, seen.compiled, answer.finding.claim.trace, targets[id])
                if run is None:
                    continue
                if answer.instance.requirement.kind is RequirementKind.CAN:
                    if id in lost:
                        self._tables.add_good(id, run)
                elif answer.status is Status.FAILS:
                    self._bad += 1
                    self._tables.add_bad(run)

    # ---- two

    def pairs(self) -> Tried:
        """Two together of those that each stop some of the runs, and cost nothing that is known to be possible."""
        proving = self._proving
        tally = Tally(Sort.PAIR)
        known, done = -1, set[tuple[Choice, Choice]]()
        order: list[tuple[Choice, Choice]] = []
        while not proving.is_enough(tally):
            if known != self._bad:
                known = self._bad
                order = [two for two in self._promising() if two not in done]
                order.reverse()
            if not order:
                break
            two = order.pop()
            done.add(two)
            candidate = self._candidate(list(map(self._tables.addition, two)), ())
            seen = proving.settle(candidate, tally, len(order))
            if seen is not None:
                self._learn(seen, ())
        proving.runs = max(proving.runs, self._bad)
        possible = self._tables.possible * (self._tables.possible - 1) // 2
        return tally.told(possible, possible - tally.settled)

    def _promising(self) -> list[tuple[Choice, Choice]]:
        """Pairs that stop every run between them, the nearest first; the same contact twice before two others."""
        groups: dict[frozenset[int], list[tuple[tuple[int, ...], Choice]]] = {}
        for choice, stopped in self._tables.partial_choices(self._required):
            groups.setdefault(stopped, []).append((self._order(choice), choice))
        every = frozenset(range(self._bad))
        nearest = {stopped: sorted(some)[:MOST_ALIKE] for stopped, some in groups.items() if stopped != every}
        found: list[tuple[tuple[int, ...], tuple[Choice, Choice]]] = []
        for one, two in combinations(sorted(nearest, key=sorted), 2):
            if one | two == every:
                for (a, first), (b, second) in product(nearest[one], nearest[two]):
                    rank = (first.contact != second.contact, *(x + y for x, y in zip(a, b, strict=True)))
                    found.append((rank, (first, second)))
        # of two pairs whose ranks are the same neither is nearer
        return [two for _, two in sorted(found, key=lambda ranked: ranked[0])[:MOST_PAIRS]]
