"""Examples too large to exhaust quickly: the first levels, or, marked slow, all of them by the explicit engine."""

from __future__ import annotations

from itertools import product

import pytest

from interlock.kernel.evaluator import State

from . import puzzles
from .graphs import levels

HOLES = [(row, col) for row, col in product(range(7), repeat=2) if 2 <= row <= 4 or 2 <= col <= 4]


def _up_to_symmetry(state: State) -> frozenset[tuple[int, int]]:
    """The smallest of the eight turned and mirrored boards."""
    pegs = [hole for hole, filled in zip(HOLES, state, strict=True) if filled]
    images = []
    for _ in range(4):
        pegs = [(col, 6 - row) for row, col in pegs]
        images += [sorted(pegs), sorted((row, 6 - col) for row, col in pegs)]
    return frozenset(min(images))


def test_peg_solitaire_first_jumps() -> None:
    """Positions after n jumps, up to symmetry, from a free centre: 1, 1, 2, 8, 39, 171, 719, 2757 [read] oeis A112737."""
    found = levels(puzzles.peg_solitaire(), 7)
    assert [len({_up_to_symmetry(state) for state in level}) for level in found] == [1, 1, 2, 8, 39, 171, 719, 2757]


@pytest.mark.slow
def test_peg_solitaire_eighth_jump() -> None:
    """After eight jumps there are 9751 positions up to symmetry [read] oeis A112737."""
    assert len({_up_to_symmetry(state) for state in levels(puzzles.peg_solitaire(), 8)[8]}) == 9751
