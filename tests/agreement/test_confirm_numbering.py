"""The second count by numbers: the same as the plain one, and it catches a count that is wrong."""

from __future__ import annotations

from time import monotonic

import pytest

from interlock.confirm import confirm as confirming
from interlock.confirm import numbering
from interlock.confirm.confirm import confirm
from interlock.confirm.enumeration import enumerate_reachable
from interlock.confirm.numbering import count_by_numbers
from interlock.kernel.claims import Disputed, Holds, Proved, Undecided
from interlock.kernel.expressions import Is, Value
from interlock.kernel.machine import Machine, Question, Variable
from interlock.prove.search.vectorised import vectorised
from tests.agreement.random_machines import random_case
from tests.benchmarks.families import lanes_by_rows
from tests.published import families
from tests.published.cases import step
from tests.some import swept

MOST = 10_000


@pytest.mark.parametrize(
    ("chunk", "largest"), swept([(3, 1 << 63), (numbering.CHUNK, 1 << 63), (3, 12), (1_000, 40)], 2)
)
def test_numbers_agree_with_the_reference_evaluator(chunk: int, largest: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """States, depth and the first step into each target are those of the plain count, however the work is cut up.

    Where numbers must be small a state takes several.
    """
    monkeypatch.setattr(numbering, "CHUNK", chunk)
    monkeypatch.setattr(numbering, "LARGEST", largest)
    met = missed = 0
    for seed in range(150):
        machine, questions = random_case(seed)
        targets = [question.target for question in questions]
        plain = enumerate_reachable(machine, targets, MOST)
        assert count_by_numbers(machine, targets, MOST) == plain, seed
        met += sum(first is not None for first in plain.first)
        missed += plain.first.count(None)
    assert min(met, missed) > 100


def test_numbers_stop_and_say_why() -> None:
    """More states than allowed, no time, too many starts: each ends the count, and is said."""
    machine = lanes_by_rows(1, 2)
    few = count_by_numbers(machine, (), 100)
    assert not few.complete and few.states > 100 and few.stopped == "more than 100 states"
    late = count_by_numbers(machine, (), MOST, monotonic() - 1)
    assert not late.complete and late.stopped == "out of time"
    free = tuple(Variable(f"v{at}", (False, True), (False, True)) for at in range(21))
    assert "too many to count" in count_by_numbers(Machine(free, (), ()), (), MOST).stopped
    wide = tuple(Variable(f"v{at}", (False, True), (False,)) for at in range(63))
    for some in (wide, wide[:62]):
        assert count_by_numbers(Machine(some, (), ()), (), MOST).states == 1


def test_large_domains_keep_their_places() -> None:
    """Places that do not fit a byte are told apart, before a step and after."""
    top = 300
    places: tuple[Value, ...] = tuple(range(top + 1))
    rules = tuple(step(f"up{at}", Is("n", at), {"n": at + 1}) for at in range(top))
    machine = Machine((Variable("n", places, (0,)),), (), rules)
    walk = count_by_numbers(machine, [Is("n", 256), Is("n", top)], MOST)
    assert (walk.states, walk.depth, walk.first) == (top + 1, top, (256, top))


def test_a_claim_of_many_states_is_confirmed_or_disputed() -> None:
    """What was proved by visiting 65,536 states holds; with one state more or less, or a target met, it is disputed."""
    machine = families.independent(16)
    reached = Question("reached", Is("latch3", True))
    machine = Machine((*machine.variables, Variable("idle", (False, True), (False,))), machine.signals, machine.rules)
    never = Question("never", Is("idle", True))
    (claim,) = vectorised(machine, [never])
    assert isinstance(claim, Proved) and claim.states == 65_536 > confirming.MOST_WALKED
    (finding,) = confirm(machine, [never], [claim])
    assert isinstance(finding, Holds)
    assert finding.checked_by == "second count by numbered states, 65536 states"
    for states in (65_535, 65_537):
        (finding,) = confirm(machine, [never], [Proved("never", "wrong", None, states)])
        assert isinstance(finding, Disputed), states
    (finding,) = confirm(machine, [reached], [Proved("reached", "wrong", None, 65_536)])
    assert isinstance(finding, Disputed) and "in 1 steps" in finding.what
    (finding,) = confirm(machine, [never], [claim], seconds=0.0)
    assert isinstance(finding, Undecided)


def test_machines_of_very_many_valuations_are_counted_too() -> None:
    """A machine of 2^96 valuations and 65,536 states: the claim that counts them holds, one state more is disputed."""
    machine = families.independent(16)
    idle = tuple(Variable(f"idle{at}", (False, True), (False,)) for at in range(80))
    machine = Machine((*idle[:40], *machine.variables, *idle[40:]), machine.signals, machine.rules)
    never = Question("never", Is("idle50", True))
    (finding,) = confirm(machine, [never], [Proved("never", "counted", None, 65_536)])
    assert isinstance(finding, Holds)
    for target, states in ((never, 65_537), (never, 65_535), (Question("reached", Is("latch15", True)), 65_536)):
        (finding,) = confirm(machine, [target], [Proved(target.id, "wrong", None, states)])
        assert isinstance(finding, Disputed)
