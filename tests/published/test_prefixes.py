"""Larger examples, level by level with the reference evaluator: the first levels, or, some marked slow, all."""

from __future__ import annotations

from itertools import product

import pytest

from interlock.kernel.evaluator import State

from . import families, puzzles
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
    """Positions after n jumps, up to symmetry, free centre: 1, 1, 2, 8, 39, 171, 719, 2757 [read] A112737."""
    found = levels(puzzles.peg_solitaire(), 7)
    assert [len({_up_to_symmetry(state) for state in level}) for level in found] == [1, 1, 2, 8, 39, 171, 719, 2757]


@pytest.mark.slow
def test_peg_solitaire_eighth_jump() -> None:
    """After eight jumps there are 9751 positions up to symmetry [read] oeis A112737."""
    assert len({_up_to_symmetry(state) for state in levels(puzzles.peg_solitaire(), 8)[8]}) == 9751


def test_five_by_five_zones() -> None:
    """A square of 25 zones whose neighbours exclude one another has 55,447 safe states [read] oeis A006506."""
    assert sum(map(len, levels(families.grid_exclusion(5, 5), 13))) == 55_447


# [read] oeis A089473: 3 by 3 tray, gap at home in a corner; the sum 181,440 = 9!/2 and the diameter 31 [recomputed]
CORNER_PROFILE = (
    *(1, 2, 4, 8, 16, 20, 39, 62, 116, 152, 286, 396, 748, 1024, 1893, 2512, 4485, 5638, 9529, 10878, 16993),
    *(17110, 23952, 20224, 24047, 15578, 14560, 6274, 3910, 760, 221, 2),
)


def test_tray_of_eight_first_slides() -> None:
    """The first fifteen levels of the 3 by 3 tray from a corner are as published."""
    assert tuple(map(len, levels(puzzles.sliding(3, 3, (0, 0)), 14))) == CORNER_PROFILE[:15]


@pytest.mark.slow
def test_tray_of_eight_from_a_corner() -> None:
    """All 181,440 arrangements, 31 slides deep, level by level as published."""
    assert sum(CORNER_PROFILE) == 181_440
    assert tuple(map(len, levels(puzzles.sliding(3, 3, (0, 0)), 32))) == (*CORNER_PROFILE, 0)


@pytest.mark.slow
def test_tray_of_eight_from_the_centre() -> None:
    """From a gap in the centre the farthest arrangements are 148 at 30 slides [read] oeis A089473, A087725."""
    profile = tuple(map(len, levels(puzzles.sliding(3, 3, (1, 1)), 31)))
    assert profile[30:] == (148, 0)
    assert sum(profile) == 181_440
