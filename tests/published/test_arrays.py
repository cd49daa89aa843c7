"""Published numbers of millions of states, by the engine on arrays."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest

from interlock.kernel.claims import Limits, Refuted
from interlock.kernel.evaluator import fire, is_enabled
from interlock.kernel.machine import question_of, with_monitors
from interlock.prove.search.arrays import Words
from interlock.prove.search.enumeration import enumeration
from interlock.prove.search.vectorised import MOST_BYTES, Levels, count_states
from tests.some import swept

from . import families, puzzles
from .cube import cube
from .puzzle_rows import TRAY_LEVELS
from .row import Row
from .rows import ROWS
from .test_larger import HOLES

LISTED = [row for row in ROWS if row.states is not None and row.name != "tray 3 by 3 from the centre"]


@pytest.mark.parametrize("row", swept(LISTED, 4), ids=lambda row: row.name)
def test_rows_as_arrays(row: Row) -> None:
    """Every row of the table, small or large, has its published numbers by arrays too."""
    count = count_states(with_monitors(row.build()))
    expected = (row.states, row.steps, row.dead, row.farthest, row.profile)
    found = (count.states, count.steps, count.dead, count.depth, count.per_depth)
    assert [one for one, wanted in zip(found, expected, strict=True) if wanted is not None] == [
        wanted for wanted in expected if wanted is not None
    ]


def test_tray_of_eight() -> None:
    """The 3 by 3 tray from a corner: levels 1, 2, 4, ... 221, 2 OEIS A089473 [read]; 181,440 = 9!/2 in all."""
    assert count_states(puzzles.sliding(3, 3, (0, 0))).per_depth == TRAY_LEVELS


@pytest.mark.parametrize(
    ("discs", "shortest"),
    [
        (8, 33),
        pytest.param(10, 49, marks=pytest.mark.thorough),
        pytest.param(11, 65, marks=pytest.mark.slow),
        pytest.param(12, 81, marks=pytest.mark.slow),
    ],
)
def test_four_pegs(discs: int, shortest: int) -> None:
    """Four pegs: 4^n states; 33, 49 moves for 8, 10 discs OEIS A007664 [read], 65, 81 for 11, 12 [memory]."""
    machine = puzzles.hanoi(4, discs)
    assert count_states(machine).states == 4**discs
    question = question_of(machine, machine.requirements[0])
    (claim,) = enumeration(machine, [question])
    assert isinstance(claim, Refuted)
    assert claim.engine == "vectorised" and claim.shortest and claim.trace.depth == shortest
    states = claim.trace.states
    for before, name, after in zip(states, claim.trace.rules, states[1:], strict=False):
        assert is_enabled(machine, machine.rule(name), before) and fire(machine, machine.rule(name), before) == after


@pytest.mark.slow
def test_square_of_zones_six() -> None:
    """6 by 6 zones, neighbours never both on: 5,598,861 states OEIS A006506 [read]; the farthest has 18 on [own]."""
    count = count_states(families.grid_exclusion(6, 6))
    assert count.states == 5_598_861
    # from all off, at n steps lie the sets of n zones; most of them by the two colours of a chess board
    assert count.depth == 18 and count.per_depth[-1] == 2 and count.per_depth[1] == 36


@pytest.mark.slow
def test_parity_grid_of_five() -> None:
    """Parity grid 5 by 5: 2^(25 - 2) states, nullity 2 OEIS A159257 [read]; 25 steps each; farthest at 15 [memory]."""
    count = count_states(puzzles.parity_grid(5))
    assert (count.states, count.steps, count.depth, count.dead) == (2**23, 25 * 2**23, 15, 0)
    assert count.per_depth[:2] == (1, 25)


CUBE_BY_QUARTERS = (*(1, 6, 27, 120, 534, 2256, 8969, 33058, 114149, 360508, 930588, 1350852, 782536, 90280, 276),)
CUBE_WITH_HALVES = (1, 9, 54, 321, 1847, 9992, 50136, 227536, 870072, 1887748, 623800, 2644)


@pytest.mark.parametrize(
    ("with_halves", "turns"),
    [
        (False, 7),
        pytest.param(False, None, marks=pytest.mark.slow),
        (True, 5),
        pytest.param(True, None, marks=pytest.mark.slow),
    ],
)
def test_cube(with_halves: bool, turns: int | None) -> None:
    """Positions of the 2x2x2 cube by fewest turns OEIS A079762 [read] (quarter turns, 3,674,160 in all), A079761.

    A turn is several steps of the machine (`cube.py`); of the states in between there are as many per position and
    turn as steps less one [own count].
    """
    machine, length = cube(with_halves)
    count = count_states(machine, Limits(depth=None if turns is None else turns * length))
    published = CUBE_WITH_HALVES if with_halves else CUBE_BY_QUARTERS
    assert sum(published) == 3_674_160
    assert count.per_depth[::length] == published[: None if turns is None else turns + 1]
    if turns is None:
        assert count.complete and count.dead == 0
        assert count.states == 3_674_160 * (1 + (9 if with_halves else 6) * (length - 1))


@pytest.mark.parametrize("slides", [14, pytest.param(20, marks=pytest.mark.slow)])
def test_tray_of_fifteen_first_slides(slides: int) -> None:
    """The first levels of the 4 by 4 tray, gap in a corner OEIS A089484 [read second hand]."""
    known = (
        *(1, 2, 4, 10, 24, 54, 107, 212, 446, 946, 1948, 3938, 7808, 15544, 30821, 60842, 119000, 231844, 447342),
        *(859744, 1637383),
    )
    count = count_states(puzzles.sliding(4, 4, (0, 0)), Limits(depth=slides))
    assert count.per_depth == known[: slides + 1]


def up_to_symmetry(words: Words) -> int:
    """How many boards there are, of those that turn or mirror into one another only one."""
    place = {hole: at for at, hole in enumerate(HOLES)}
    smallest = words
    for turns, is_mirrored in product(range(4), (False, True)):
        image = np.zeros_like(words)
        for (row, col), at in place.items():
            to = (row, 6 - col) if is_mirrored else (row, col)
            for _ in range(turns):
                to = (to[1], 6 - to[0])
            image |= ((words >> np.uint64(at)) & np.uint64(1)) << np.uint64(place[to])
        smallest = np.minimum(smallest, image)
    return len(np.unique(smallest))


PEGS = (
    *(1, 1, 2, 8, 39, 171, 719, 2757, 9751, 31312, 89927, 229614, 517854, 1022224, 1753737, 2598215, 3312423, 3626632),
    *(3413313, 2765623, 1930324, 1160977, 600372, 265865, 100565, 32250, 8688, 1917, 348, 50, 7, 2),
)


@pytest.mark.parametrize(
    "jumps", [9, pytest.param(12, marks=pytest.mark.slow), pytest.param(31, marks=pytest.mark.slow)]
)
def test_peg_solitaire(jumps: int) -> None:
    """Boards after n jumps up to symmetry, free centre, 23,475,688 to the end OEIS A112737 [read]."""
    assert sum(PEGS) == 23_475_688
    walk = Levels(puzzles.peg_solitaire(), Limits(depth=jumps), 2 * MOST_BYTES, counting=True)
    assert tuple(up_to_symmetry(walk.keys.decode(level)[0]) for level in walk) == PEGS[: jumps + 1]
    assert bool(walk.stopped) == (jumps < 31)
