"""Larger examples, level by level."""

from __future__ import annotations

from itertools import product

import pytest

from interlock.kernel.evaluator import State
from interlock.prove.search.explicit import count_states
from tests.some import swept

from . import puzzles
from .graphs import levels
from .puzzle_rows import TRAY_LEVELS

HOLES = [(row, col) for row, col in product(range(7), repeat=2) if 2 <= row <= 4 or 2 <= col <= 4]


def _up_to_symmetry(state: State) -> frozenset[tuple[int, int]]:
    """The smallest of the eight turned and mirrored boards."""
    pegs = [hole for hole, filled in zip(HOLES, state, strict=True) if filled]
    images = []
    for _ in range(4):
        pegs = [(col, 6 - row) for row, col in pegs]
        images += [sorted(pegs), sorted((row, 6 - col) for row, col in pegs)]
    return frozenset(min(images))


@pytest.mark.parametrize("jumps", swept((5, 7), 2))
def test_peg_solitaire_first_jumps(jumps: int) -> None:
    """Positions after n jumps, up to symmetry, free centre: 1, 1, 2, 8, 39, 171, 719, 2757 OEIS A112737 [read]."""
    found = levels(puzzles.peg_solitaire(), jumps)
    assert [len({_up_to_symmetry(state) for state in level}) for level in found] == [1, 1, 2, 8, 39, 171, 719, 2757][
        : jumps + 1
    ]


@pytest.mark.slow
def test_peg_solitaire_eighth_jump() -> None:
    """After eight jumps there are 9751 positions up to symmetry OEIS A112737 [read]."""
    assert len({_up_to_symmetry(state) for state in levels(puzzles.peg_solitaire(), 8)[8]}) == 9751


def test_tray_of_eight_from_the_centre() -> None:
    """From a gap in the centre 148 arrangements lie farthest, at 30 slides OEIS A089473, A087725 [read]."""
    count = count_states(puzzles.sliding(3, 3, (1, 1)))
    assert (count.depth, count.per_depth[-1]) == (30, 148)


def test_tray_of_six_has_one_farthest() -> None:
    """In the 2 by 3 tray one arrangement lies farthest, at 21 slides comment in OEIS A087725 [read]."""
    count = count_states(puzzles.sliding(2, 3, (0, 0)))
    assert (count.depth, count.per_depth[-1]) == (21, 1)


def test_tray_of_eight_first_slides() -> None:
    """The reference evaluator, too slow for the rest, sees the first fifteen published levels of the 3 by 3 tray."""
    assert tuple(map(len, levels(puzzles.sliding(3, 3, (0, 0)), 14))) == TRAY_LEVELS[:15]


@pytest.mark.slow
def test_tray_of_eight_by_the_evaluator() -> None:
    """The reference evaluator sees all 181,440 arrangements, 31 slides deep, level by level as published."""
    assert sum(TRAY_LEVELS) == 181_440
    assert tuple(map(len, levels(puzzles.sliding(3, 3, (0, 0)), 32))) == (*TRAY_LEVELS, 0)
