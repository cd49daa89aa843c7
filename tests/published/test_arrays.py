"""Published numbers of millions of states, by the engine on arrays."""

from __future__ import annotations

from functools import reduce
from itertools import product

import numpy as np
import pytest

from interlock.kernel.claims import Limits, Refuted
from interlock.kernel.evaluator import fire, is_enabled
from interlock.kernel.machine import question_of, with_monitors
from interlock.prove.arrays import Words
from interlock.prove.enumeration import enumeration
from interlock.prove.vectorised import MOST_BYTES, Levels, count_states

from . import families, puzzles
from .rows import ROWS, TRAY_LEVELS, Row
from .test_larger import HOLES

LISTED = [row for row in ROWS if row.states is not None and row.name != "tray 3 by 3 from the centre"]


@pytest.mark.parametrize("row", LISTED, ids=lambda row: row.name)
def test_rows_as_arrays(row: Row) -> None:
    """Every row of the table, small or large, has its published numbers by arrays too."""
    count = count_states(with_monitors(row.build()))
    expected = (row.states, row.steps, row.dead, row.farthest, row.profile)
    found = (count.states, count.steps, count.dead, count.depth, count.per_depth)
    assert [one for one, wanted in zip(found, expected, strict=True) if wanted is not None] == [
        wanted for wanted in expected if wanted is not None
    ]


def test_tray_of_eight() -> None:
    """The 3 by 3 tray from a corner: levels 1, 2, 4, ... 221, 2 [read] oeis A089473; 181,440 = 9!/2 in all."""
    assert count_states(puzzles.sliding(3, 3, (0, 0))).per_depth == TRAY_LEVELS


@pytest.mark.parametrize(
    ("discs", "shortest"),
    [(10, 49), pytest.param(11, 65, marks=pytest.mark.slow), pytest.param(12, 81, marks=pytest.mark.slow)],
)
def test_four_pegs(discs: int, shortest: int) -> None:
    """Four pegs: 4^n states; 49 moves for ten discs [read] oeis A007664, 65 for eleven and 81 for twelve [memory]."""
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
    """6 by 6 zones, neighbours never both on: 5,598,861 states [read] oeis A006506; the farthest has 18 on [own]."""
    count = count_states(families.grid_exclusion(6, 6))
    assert count.states == 5_598_861
    # from all off, at n steps lie the sets of n zones; most of them by the two colours of a chess board
    assert count.depth == 18 and count.per_depth[-1] == 2 and count.per_depth[1] == 36


@pytest.mark.slow
def test_lamps_five() -> None:
    """5 by 5 lamps: 2^(25 - 2) states, nullity 2 [read] oeis A159257; 25 steps from each; farthest at 15 [memory]."""
    count = count_states(puzzles.lights_out(5))
    assert (count.states, count.steps, count.depth, count.dead) == (2**23, 25 * 2**23, 15, 0)
    assert count.per_depth[:2] == (1, 25)


def up_to_symmetry(words: Words) -> int:
    """How many boards there are, of those that turn or mirror into one another only one."""
    place = {hole: at for at, hole in enumerate(HOLES)}
    images = []
    for turns, is_mirrored in product(range(4), (False, True)):
        image = np.zeros_like(words)
        for (row, col), at in place.items():
            to = (row, 6 - col) if is_mirrored else (row, col)
            for _ in range(turns):
                to = (to[1], 6 - to[0])
            image |= ((words >> np.uint64(at)) & np.uint64(1)) << np.uint64(place[to])
        images.append(image)
    return len(np.unique(reduce(np.minimum, images)))


@pytest.mark.parametrize(
    "jumps", [9, pytest.param(10, marks=pytest.mark.slow), pytest.param(12, marks=pytest.mark.slow)]
)
def test_peg_solitaire(jumps: int) -> None:
    """Boards after n jumps up to symmetry, free centre: ... 9751, 31312, 89927 [read] oeis A112737, 229614, 517854
    [memory].
    """
    known = (1, 1, 2, 8, 39, 171, 719, 2757, 9751, 31312, 89927, 229614, 517854)
    walk = Levels(puzzles.peg_solitaire(), Limits(depth=jumps), MOST_BYTES, counting=False)
    assert tuple(up_to_symmetry(walk.keys.decode(level)[0]) for level in walk) == known[: jumps + 1]
