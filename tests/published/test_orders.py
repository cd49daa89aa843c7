"""Numbers of valid orders (linear extensions) against published sequences.

Read in the On-Line Encyclopedia of Integer Sequences: A046873 (Boolean lattices) up to 1680384.  From memory:
A000984 (central binomial coefficients), A000108 (Catalan), A000111 (Euler up/down), and the next term of A046873.
"""

from __future__ import annotations

from itertools import permutations
from math import comb, factorial

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from interlock.study.checklist.partial_orders import count_orders, free_runs, predecessors_of, reduced


def _count(size: int, pairs: list[tuple[int, int]]) -> int | None:
    return count_orders(predecessors_of(size, pairs))


def _chains(first: int, second: int) -> list[tuple[int, int]]:
    ends = [(at, at + 1) for at in range(first - 1)]
    return ends + [(first + at, first + at + 1) for at in range(second - 1)]


def _sorted_lattice(dimension: int) -> list[tuple[int, int]]:
    """Subsets, smaller ones first, each before those with one element more."""
    subsets = sorted(range(1 << dimension), key=lambda mask: (mask.bit_count(), mask))
    place = {mask: at for at, mask in enumerate(subsets)}
    return [
        (place[mask], place[mask | 1 << bit]) for mask in subsets for bit in range(dimension) if not mask >> bit & 1
    ]


@pytest.mark.parametrize(("first", "second"), [(1, 1), (2, 2), (3, 3), (4, 4), (5, 2), (7, 6)])
def test_two_independent_chains(first: int, second: int) -> None:
    """Two chains of a and b steps have C(a+b, a) orders; 6, 20 and 70 for two chains of 2, 3 and 4 (A000984)."""
    assert _count(first + second, _chains(first, second)) == comb(first + second, first)


@pytest.mark.parametrize(("width", "catalan"), list(enumerate([1, 1, 2, 5, 14, 42, 132, 429])))
def test_two_by_n_grid(width: int, catalan: int) -> None:
    """A grid of two rows has as many orders as the Catalan number of its width (A000108)."""
    pairs = [(2 * at, 2 * at + 2) for at in range(width - 1)] + [(2 * at + 1, 2 * at + 3) for at in range(width - 1)]
    pairs += [(2 * at, 2 * at + 1) for at in range(width)]
    assert _count(2 * width, pairs) == catalan


@pytest.mark.parametrize(("size", "euler"), list(enumerate([1, 1, 1, 2, 5, 16, 61, 272, 1385])))
def test_zigzag(size: int, euler: int) -> None:
    """A fence (a < b > c < d ...) has as many orders as there are alternating permutations (A000111)."""
    low = [at for at in range(size) if at % 2 == 0]
    place = {at: number for number, at in list(enumerate([*low, *(at for at in range(size) if at % 2)]))}
    pairs = [(place[at], place[other]) for at in low for other in (at - 1, at + 1) if 0 <= other < size]
    assert _count(size, pairs) == euler


@pytest.mark.parametrize(("dimension", "orders"), list(enumerate([1, 1, 2, 48, 1680384, 14807804035657359360])))
def test_boolean_lattice(dimension: int, orders: int) -> None:
    """The subsets of a set, each after its subsets, have A046873 orders (the last term from memory)."""
    assert _count(1 << dimension, _sorted_lattice(dimension)) == orders


def test_steps_without_any_order() -> None:
    """n free steps have n! orders, a single chain has one, and nothing at all has one."""
    assert [_count(size, []) for size in range(9)] == [factorial(size) for size in range(9)]
    assert _count(9, _chains(9, 0)) == 1


def test_too_many_downsets() -> None:
    """Twenty free steps have more than a million sets of first steps: the count is given up, not guessed."""
    assert count_orders(predecessors_of(20, []), most=100_000) is None


@given(st.integers(0, 6), st.data())
@settings(derandomize=True, deadline=None, max_examples=60)
def test_count_is_that_of_the_permutations(size: int, data: st.DataObject) -> None:
    """The count is the number of permutations that respect every pair, and reducing the pairs does not change it."""
    every = [(a, b) for b in range(size) for a in range(b)]
    pairs = [pair for pair in every if data.draw(st.booleans())]
    allowed = [o for o in permutations(range(size)) if all(o.index(a) < o.index(b) for a, b in pairs)]
    assert _count(size, pairs) == len(allowed)
    fewer = reduced(size, pairs)
    assert set(fewer) <= set(pairs)
    assert predecessors_of(size, fewer) == predecessors_of(size, pairs)


def test_free_runs() -> None:
    """Runs are the longest stretches of neighbours of which none must come before another."""
    before = predecessors_of(6, [(0, 3), (1, 3), (3, 4)])
    assert free_runs(before) == ((0, 2), (4, 5))
    assert free_runs(predecessors_of(3, _chains(3, 0))) == ()


def test_pairs_that_lead_backwards_are_refused() -> None:
    """The written order must be one of those allowed."""
    with pytest.raises(ValueError, match="does not fit"):
        predecessors_of(3, [(2, 1)])
