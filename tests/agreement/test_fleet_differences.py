"""What tells configurations apart is true of every one of them, and is found where there is such a thing."""

from __future__ import annotations

import random
from itertools import combinations, product

import pytest

from interlock.study.fleet.differences import Mark, tell_apart
from interlock.study.fleet.estimate import Estimate


def has(features: frozenset[str], marks: tuple[Mark, ...]) -> bool:
    """Whether a configuration has all these marks."""
    return all((mark.feature in features) is mark.present for mark in marks)


@pytest.mark.parametrize("seed", range(12))
def test_marks_are_sure_and_none_is_missed(seed: int) -> None:
    """Random configurations: no other one has a set of marks; each of ours does if any one or two marks could tell."""
    rng = random.Random(seed)
    features = "abcde"[: rng.randint(1, 5)]
    every = [
        frozenset(one for one, on in zip(features, bits, strict=True) if on)
        for bits in product((0, 1), repeat=len(features))
    ]
    fleet = rng.sample(every, rng.randint(2, len(every)))
    ours = fleet[: rng.randint(1, len(fleet) - 1)]
    others = [one for one in fleet if one not in ours]
    told = tell_apart(ours, others)
    chosen = [marks for alike in told.sure for marks in alike]
    assert not [one for one in others for marks in chosen if has(one, marks)]
    singles = [Mark(feature, present) for feature in features for present in (True, False)]
    possible = [(mark,) for mark in singles] + list(combinations(singles, 2))
    sure = [marks for marks in possible if not any(has(one, marks) for one in others)]
    for one in ours:
        assert any(has(one, marks) for marks in sure) is any(has(one, marks) for marks in chosen)
    assert told.covers_all is all(any(has(one, marks) for marks in sure) for one in ours)


def test_what_tells_as_well_is_named_too() -> None:
    """Of two options that are always fitted together neither is blamed alone."""
    told = tell_apart([frozenset("ab"), frozenset("abc")], [frozenset("c"), frozenset()])
    assert told.sure == (((Mark("a", True),), (Mark("b", True),)),)
    assert tell_apart([frozenset("a")], []).sure == ()
    assert tell_apart([frozenset("a")], []).covers_all


def test_nothing_is_estimated_of_nothing() -> None:
    """The first few tell nothing; then the rest is taken to go as they did."""
    estimate = Estimate(10, 100.0)
    assert estimate.in_words() == ""
    for done, now in ((1, 101.0), (2, 102.0), (3, 103.0)):
        estimate.note(done, now)
    assert estimate.seconds() == pytest.approx(7.0)
    assert "about 5 seconds left" in estimate.in_words()
