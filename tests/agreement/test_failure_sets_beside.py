"""Sets of failures that are settled in two processes: against all states written out, and what one tells the other."""

from __future__ import annotations

import os
import time
from collections import Counter
from collections.abc import Iterator, Sequence

import pytest

from interlock.confirm.failures import confirm_sets
from interlock.kernel import beside
from interlock.kernel.claims import Limits
from interlock.kernel.expressions import Is, disj
from interlock.kernel.failures import KnownSets, failures_of
from interlock.kernel.machine import Actor, Machine, Question, Rule, Variable
from interlock.prove.engine import OutOfTime
from interlock.prove.failures import one_set, sets
from interlock.prove.failures.news import News
from interlock.prove.failures.pool import Pool, parts_of
from interlock.prove.failures.sets import smallest_sets
from interlock.prove.frames import frames
from tests.agreement.failing import random_failing
from tests.agreement.test_failure_sets import truth_of

SEEDS = (7024, 7028, 7044, 7104, 7105, 7164, 7380)
"""Machines of which several sets are open at once."""


@pytest.fixture(autouse=True)
def _two_processes(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """Both processors are allowed, little is settled by little work, and few sets are weighed at a time."""
    monkeypatch.setattr(frames, "MOST_STEPS_BACK", 0)
    monkeypatch.setattr(one_set, "FEW_QUERIES", 3)
    monkeypatch.setattr(sets, "SETTLED_AT_ONCE", 2)
    monkeypatch.setattr(sets, "WEIGHED_AT_ONCE", 8)
    beside.allow(2)
    yield
    beside.allow(1)


def wires(count: int) -> tuple[Machine, tuple[Question, ...]]:
    """So many wires, each of which lights the same lamp where it fails."""
    names = [f"w{at}" for at in range(count)]
    some_wire = disj(*(Is(name, True) for name in names))
    strikes = (Rule(f"{name} strikes", Actor.FAILURE, Is(name, False), ((name, True),)) for name in names)
    rules = (Rule("by itself", Actor.PLANT, some_wire, (("lit", True),)), *strikes)
    variables = tuple(Variable(name, (False, True), (False,)) for name in ["lit", *names])
    return Machine(variables, (), rules), (Question("lit", Is("lit", True)),)


def learned_by(pool: Pool, places: Sequence[int]) -> tuple[Counter[object], set[object]]:
    """Each reason by what it says, and each clause with what of the sets that break it others do not contain."""
    said: Counter[object] = Counter()
    cubes = pool.cubes
    of_clauses = [(cubes[at], rule, one) for at in places for rule, one in pool.kept[at].items()]
    for cube, rule, one in [*of_clauses, *((None, at, one) for at, one in enumerate(pool.targets))]:
        for reason in one.reasons:
            said[cube, rule, frozenset(cubes[clause] for clause in reason.clauses), reason.failures] += 1
    return said, {(cubes[at], one) for at in places for one in pool._broken[at]}


def test_what_is_found_out_elsewhere_is_known_here(monkeypatch: pytest.MonkeyPatch) -> None:
    """Each run, reason, broken clause and guess, said of the same clauses as there; and no reason is made up."""
    seen: Counter[str] = Counter()
    take = sets._Work.take

    def taken(self: sets._Work, news: News) -> None:
        pool, learned = self.pool, news.learned
        reasons, _ = learned_by(pool, range(len(pool.cubes)))
        theirs = [*pool.cubes[: learned.first], *learned.cubes]
        told = Counter(
            (
                None if clause is None else theirs[clause],
                rule,
                frozenset(theirs[at] for at in reason.clauses),
                reason.failures,
            )
            for clause, rule, reason in learned.reasons
        )
        take(self, news)
        after, broken = learned_by(pool, range(len(pool.cubes)))
        assert set(after) == reasons.keys() | told.keys()
        assert set(theirs) <= set(pool.cubes)
        for at, families in learned.broken:
            for mask in families:
                members = [place for place in range(len(self.failures)) if mask >> place & 1]
                assert any((theirs[at], part) in broken for part in parts_of(members))
        for at, (_, numbers) in news.runs:
            owners = (self.narrowing.owners[rule] for rule in numbers)
            own = frozenset(self.failures[owner] for owner in owners if owner is not None)
            assert self.runs[at][own].depth <= len(numbers)
        assert {cube for some in self.guesses.values() for cube in some} >= set(news.guesses)
        assert self.hard >= news.hard
        seen.update(runs=len(news.runs), reasons=len(told), broken=len(learned.broken), cubes=len(learned.cubes))
        assert all(other in self.stood_in[name] for name, other in news.stood_in)
        seen.update(guesses=len(news.guesses), hard=len(news.hard), stood_in=len(news.stood_in), ways=len(news.ways))
        seen["with failures"] += sum(bool(reason.failures) for _, _, reason in learned.reasons)
        for _, numbers in news.ways:
            assert self.nominal is not None
            assert len(numbers) in {run.depth for run in self.nominal._noted.values()} | {0}

    monkeypatch.setattr(sets._Work, "take", taken)
    for seed, (machine, questions) in [(-1, wires(4)), *((seed, random_failing(seed)) for seed in SEEDS)]:
        claims = smallest_sets(machine, questions, 3)
        findings = confirm_sets(machine, questions, claims)
        for claim, finding, true in zip(claims, findings, truth_of(machine, questions, 3), strict=True):
            assert isinstance(finding, KnownSets), (seed, finding)
            assert finding.complete == min(3, len(failures_of(machine)))
            assert not claim.open
            assert sorted(map(sorted, true)) == sorted(map(sorted, claim.sets)), seed
    assert all(seen.values()), seen
    assert seen["runs"] > 10
    assert seen["reasons"] > 10


def test_what_was_found_before_the_time_was_up_is_claimed(monkeypatch: pytest.MonkeyPatch) -> None:
    """There is no time for the last set that is settled elsewhere: runs to those before it are told all the same."""
    settle = sets._Work.settle
    last: list[int] = []
    here = os.getpid()
    told: list[News] = []

    def settled(self: sets._Work, number: int, thoroughly: bool) -> None:
        if number in last and os.getpid() != here:
            raise OutOfTime
        settle(self, number, thoroughly)

    def begun(self: sets._Work, block: Sequence[int], thoroughly: bool) -> None:
        last[:] = block[3:4]
        divide(self, block, thoroughly)

    def taken(self: sets._Work, news: News) -> None:
        told.append(news)
        take(self, news)

    divide, take = sets._Work.settle_beside, sets._Work.take
    monkeypatch.setattr(sets._Work, "settle", settled)
    monkeypatch.setattr(sets._Work, "settle_beside", begun)
    monkeypatch.setattr(sets._Work, "take", taken)
    machine, questions = wires(4)
    claims = smallest_sets(machine, questions, 3, Limits(seconds=100.0))
    assert told[-1].is_over
    assert told[-1].runs
    assert {claim.reason for claim in claims} == {"out of time (100 s)"}
    for finding in confirm_sets(machine, questions, claims):
        assert isinstance(finding, KnownSets), finding
    (claim,) = claims
    assert set(claim.sets) == {("w0",), ("w1",), ("w2",)}


def test_who_asks_for_an_end_does_not_wait_for_the_other(monkeypatch: pytest.MonkeyPatch) -> None:
    """It is ended; what was found here is claimed."""
    settle = sets._Work.settle
    here = os.getpid()
    asked: list[bool] = []

    def settled(self: sets._Work, number: int, thoroughly: bool) -> None:
        if os.getpid() != here:
            time.sleep(60.0)
        settle(self, number, thoroughly)

    def begun(self: sets._Work, block: Sequence[int], thoroughly: bool) -> None:
        asked.append(True)
        divide(self, block, thoroughly)

    divide = sets._Work.settle_beside
    monkeypatch.setattr(sets._Work, "settle", settled)
    monkeypatch.setattr(sets._Work, "settle_beside", begun)
    machine, questions = random_failing(7105)
    since = time.monotonic()
    claims = smallest_sets(machine, questions, 3, Limits(stop=lambda: bool(asked)))
    assert time.monotonic() - since < 30.0
    assert {claim.reason for claim in claims} == {"interrupted"}
    assert beside.may_begin()


def test_nothing_that_was_learned_is_left_unweighed(monkeypatch: pytest.MonkeyPatch) -> None:
    """What is not shown of a part is that part of what is not shown of all; it is weighed once for what was learned."""
    weigh = Pool.weigh
    seen: Counter[object] = Counter()

    def weighed(self: Pool, first: int, end: int) -> None:
        before = self._weighed
        weigh(self, first, end)
        lost, members = list(self.lost), self.part.members
        seen[before == self._weighed] += 1
        seen["later"] += first > 0
        weigh(self, 0, len(self.sets.members))
        every = (1 << end - first) - 1
        assert members == self.part.members[first:end]
        assert lost == [family >> first & every for family in self.lost]
        weigh(self, first, end)
        assert self.lost == lost

    monkeypatch.setattr(Pool, "weigh", weighed)
    for seed in SEEDS:
        smallest_sets(*random_failing(seed), 3)
    assert min(seen[True], seen[False], seen["later"]) > 5
