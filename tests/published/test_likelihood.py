"""How likely some set of failures is: published figures, and every case of random sets written out."""

from __future__ import annotations

from itertools import combinations, product
from math import exp, log, prod
from random import Random

import pytest

from interlock.study.likelihood import Likelihood, all_struck, any_set_struck, likelihood_of, struck_within


def sets_of(*written: str) -> list[frozenset[str]]:
    """Sets written as words."""
    return [frozenset(one.split()) for one in written]


def by_inclusion_and_exclusion(sets: list[frozenset[str]], likely: dict[str, float]) -> float:
    """Over all subfamilies, as textbooks have it."""
    return sum(
        (-1.0) ** (size + 1) * prod(likely[one] for one in frozenset().union(*some_sets))
        for size in range(1, len(sets) + 1)
        for some_sets in combinations(sets, size)
    )


def by_every_case(sets: list[frozenset[str]], likely: dict[str, float]) -> float:
    """Over all 2^n cases of struck and not struck."""
    names = sorted(likely)
    total = 0.0
    for case in product((False, True), repeat=len(names)):
        struck = {name for name, is_struck in zip(names, case, strict=True) if is_struck}
        if any(one <= struck for one in sets):
            total += prod(likely[name] if name in struck else 1 - likely[name] for name in names)
    return total


def test_bridge() -> None:
    """The bridge of five components with reliabilities .8 .9 .9 .9 .8 works with 0.95652 (an exercise of reliability
    on a public lecture page, second hand; worked out again by two ways here)."""
    sets = sets_of("1 4", "2 5", "1 3 5", "2 3 4")
    likely = dict(zip("12345", (0.2, 0.1, 0.1, 0.1, 0.2), strict=True))
    assert any_set_struck(sets, likely) == pytest.approx(1 - 0.95652, rel=1e-12)
    assert by_inclusion_and_exclusion(sets, likely) == pytest.approx(1 - 0.95652, rel=1e-12)


def test_pressure_tank() -> None:
    """The pressure tank of the Fault Tree Handbook (NUREG-0492, 1981, chapter VIII; its sets from memory, its figures
    worked out again): 3.501585e-5, the same where the probabilities come from rates and hours."""
    sets = sets_of("T", "K2", "S S1", "S K1", "S R")
    likely = {"T": 5e-6, "K2": 3e-5, "K1": 3e-5, "R": 1e-4, "S": 1e-4, "S1": 3e-5}
    assert any_set_struck(sets, likely) == pytest.approx(3.501585e-5, rel=1e-6)
    rated = {name: struck_within(-log(1 - chance) / 40, 40) for name, chance in likely.items()}
    assert any_set_struck(sets, rated) == pytest.approx(any_set_struck(sets, likely), rel=1e-9)


def test_random_sets_against_every_case() -> None:
    """Sets of up to four of up to nine failures, some within others; inclusion and exclusion agrees too."""
    random = Random(20)
    differing = 0
    for _ in range(150):
        names = [f"f{n}" for n in range(random.randint(1, 9))]
        likely = {name: random.choice((random.random(), 10 ** -random.uniform(1, 9))) for name in names}
        sets = [
            frozenset(random.sample(names, random.randint(1, min(4, len(names))))) for _ in range(random.randint(1, 8))
        ]
        found, expected = any_set_struck(sets, likely), by_every_case(sets, likely)
        assert found == pytest.approx(expected, rel=1e-9)
        assert found == pytest.approx(by_inclusion_and_exclusion(sets, likely), rel=1e-6, abs=1e-12)
        differing += abs(expected - sum(all_struck(one, likely) for one in sets)) > 1e-3 * expected
    assert differing > 50, "the plain sum would have done"


def test_corners() -> None:
    """No set: impossible; the empty set: certain."""
    assert any_set_struck([], {}) == 0.0
    assert any_set_struck([frozenset()], {}) == 1.0
    assert any_set_struck([frozenset(), frozenset("a")], {"a": 0.5}) == 1.0


def test_small_probabilities_keep_their_digits() -> None:
    """1e-18 is not lost in 1 - (1 - 1e-18), and a rate of 1e-12 in one hour is 1e-12."""
    assert struck_within(1e-12, 1) == pytest.approx(1e-12, rel=1e-11)
    assert struck_within(2.0, 1.5) == pytest.approx(1 - exp(-3), rel=1e-12)
    assert any_set_struck(sets_of("a b", "c d"), dict.fromkeys("abcd", 1e-9)) == pytest.approx(2e-18, rel=1e-9)


@pytest.mark.parametrize("shape", ["pairs apart", "each with each", "chain", "alone"])
def test_many_sets_of_usual_shapes(shape: str) -> None:
    """Hundreds of sets at once, by closed forms: n pairs apart, each of one side with each of the other, each alone."""
    n, p = 40, 0.01
    sides = [f"a{k}" for k in range(n)], [f"b{k}" for k in range(n)]
    likely = {name: p for side in sides for name in side}
    either = 1 - (1 - p) ** n
    sets, expected = {
        "pairs apart": ([frozenset(pair) for pair in zip(*sides, strict=True)], 1 - (1 - p * p) ** n),
        "each with each": ([frozenset(pair) for pair in product(*sides)], either * either),
        "alone": ([frozenset([name]) for side in sides for name in side], 1 - (1 - p) ** (2 * n)),
        "chain": (
            [frozenset(pair) for pair in zip(sides[0], sides[0][1:], strict=False)],
            1 - no_two_in_a_row(n, p),
        ),
    }[shape]
    assert any_set_struck(sets, likely) == pytest.approx(expected, rel=1e-9)


def no_two_in_a_row(n: int, p: float) -> float:
    """How likely it is that of n in a row no two neighbours have struck, by the last one."""
    well, struck = 1.0, 0.0
    for _ in range(n):
        well, struck = (well + struck) * (1 - p), well * p
    return well + struck


def test_what_is_too_much_is_given_up() -> None:
    """No figure, not a wrong one."""
    random = Random(3)
    names = [f"f{n}" for n in range(40)]
    sets = [frozenset(random.sample(names, 3)) for _ in range(120)]
    assert any_set_struck(sets, dict.fromkeys(names, 0.1), most=2_000) is None


def test_what_has_no_rate_is_not_impossible() -> None:
    """Without a probability for each failure a set has no figure, and what is left out makes it a lower bound."""
    likely = {"a": 0.5, "b": 0.5}
    assert likelihood_of(sets_of("a", "b"), likely, True) == Likelihood(0.75, False, 0)
    assert likelihood_of(sets_of("a", "b", "a b"), likely, True) == Likelihood(0.75, False, 0)
    assert likelihood_of(sets_of("a", "b"), likely, False) == Likelihood(0.75, True, 0)
    assert likelihood_of(sets_of("a", "b c"), likely, True) == Likelihood(0.5, True, 1)
    assert likelihood_of(sets_of("c"), likely, True) == Likelihood(None, False, 1)
    assert likelihood_of([], likely, True) == Likelihood(None, False, 0)
    assert likelihood_of([frozenset(), *sets_of("a")], likely, True) == Likelihood(None, False, 1)


def test_what_is_too_much_is_a_lower_bound() -> None:
    """Where triples are too many to tell apart the single failures count all the same, and it is said."""
    random = Random(3)
    names = [f"f{n}" for n in range(45)]
    sets = [frozenset("a"), *(frozenset(random.sample(names, 3)) for _ in range(90))]
    found = likelihood_of(sets, dict.fromkeys(["a", *names], 0.1), True)
    assert found.probability == pytest.approx(0.1)
    assert (found.at_least, found.without, found.is_too_much) == (True, 0, True)
