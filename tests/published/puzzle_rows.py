"""The rows of the table that are puzzles."""

from __future__ import annotations

from functools import partial

from . import puzzles
from .row import Row
from .sliding import THIRTEEN_PIECES, TWELVE_PIECES, WALL, sliding_pieces

TRAY_LEVELS = (
    *(1, 2, 4, 8, 16, 20, 39, 62, 116, 152, 286, 396, 748, 1024, 1893, 2512, 4485, 5638, 9529, 10878, 16993),
    *(17110, 23952, 20224, 24047, 15578, 14560, 6274, 3910, 760, 221, 2),
)
"""3 by 3 tray, gap at home in a corner: arrangements by fewest slides OEIS A089473 [read]."""
NARROW_TRAY_LEVELS = (
    *(1, 2, 3, 6, 10, 14, 19, 28, 42, 61, 85, 119, 161, 215, 293, 396, 506, 632, 788, 985, 1194, 1414, 1664, 1884),
    *(1999, 1958, 1770, 1463, 1076, 667, 361, 190, 88, 39, 19, 7, 1),
)
"""2 by 4 tray, gap in a corner: arrangements by fewest slides, OEIS A090035 [read second hand]."""


COUPLES = "Pressman and Singmaster, The jealous husbands, The Mathematical Gazette 73 (464), 1989"
"""The paper from which the numbers of the couples are remembered."""


def _missionaries() -> list[Row]:
    solution = (
        "11: Amarel, On representations of problems of reasoning about actions, Machine Intelligence 3, 1968 [memory]"
    )
    solvable = {(2, 2): (12, 5), (4, 3): (22, 9), (5, 3): (28, 11), (6, 4): (34, 9)}
    rows = [
        Row(
            "missionaries 3, boat 2",
            f"{solution}; 16 states, four shortest ways [recomputed]",
            partial(puzzles.missionaries, 3, 2),
            states=16,
            goal="goal",
            shortest=11,
            runs=4,
        )
    ]
    rows += [
        Row(
            f"missionaries {n}, boat {boat}",
            "[recomputed]",
            partial(puzzles.missionaries, n, boat),
            states=states,
            goal="goal",
            shortest=shortest,
        )
        for (n, boat), (states, shortest) in solvable.items()
    ]
    rows += [
        Row(
            f"missionaries {n}, boat {boat}, no way",
            "[recomputed]",
            partial(puzzles.missionaries, n, boat),
            states=states,
            goal="goal",
        )
        for (n, boat), states in {(4, 2): 11, (6, 3): 17}.items()
    ]
    return rows


def _couples() -> list[Row]:
    return [
        Row(
            "couples 3, boat 2",
            f"11: {COUPLES} [memory]; 40 states [recomputed]",
            partial(puzzles.jealous_husbands, 3, 2),
            states=40,
            goal="goal",
            shortest=11,
        ),
        Row(
            "couples 3, boat 2, relaxed",
            f"9: {COUPLES} [memory]",
            partial(puzzles.jealous_husbands, 3, 2, relaxed=True),
            goal="goal",
            shortest=9,
        ),
        Row(
            "couples 5, boat 3",
            f"11: {COUPLES} [memory]; 184 states and 11 [recomputed]",
            partial(puzzles.jealous_husbands, 5, 3),
            states=184,
            goal="goal",
            shortest=11,
        ),
        Row(
            "couples 4, boat 3",
            "[recomputed]",
            partial(puzzles.jealous_husbands, 4, 3),
            states=88,
            goal="goal",
            shortest=9,
        ),
        Row(
            "couples 4, boat 2, no way",
            "[recomputed]",
            partial(puzzles.jealous_husbands, 4, 2),
            goal="goal",
        ),
        Row(
            "couples 6, boat 3, no way",
            f"five couples are the most: {COUPLES} [memory]",
            partial(puzzles.jealous_husbands, 6, 3),
            goal="goal",
        ),
    ]


def _liquids() -> list[Row]:
    rows = [
        Row(
            "jugs 3 and 5",
            "6 [memory]; 16 states, 6, all within 7 [recomputed]",
            partial(puzzles.jugs, 3, 5, 4),
            states=16,
            farthest=7,
            goal="goal",
            shortest=6,
        ),
        Row(
            "decanting 8-5-3",
            "7 pourings [memory]; 16 states, 7 [recomputed]",
            partial(puzzles.decanting, 8, 5, 3),
            states=16,
            goal="goal",
            shortest=7,
        ),
    ]
    rows += [
        Row(
            f"jugs {a} and {b}",
            "[recomputed]",
            partial(puzzles.jugs, a, b, 6),
            states=states,
            goal="goal",
            shortest=shortest,
        )
        for a, b, states, shortest in ((4, 9, 26, 8), (5, 8, 26, 6), (7, 11, 36, 10))
    ]
    return rows


def _hanoi() -> list[Row]:
    rows = [
        Row(
            f"hanoi 3 pegs, {n} discs",
            "3^n, 2^n-1 [memory] A000244, A000225; with 3(3^n-1) moves [recomputed]",
            partial(puzzles.hanoi, 3, n),
            states=3**n,
            steps=3 * (3**n - 1),
            goal="goal",
            shortest=2**n - 1,
        )
        for n in range(1, 7)
    ]
    rows += [
        Row(
            f"hanoi 4 pegs, {n} discs",
            "OEIS A007664 [read] (optimal: Bousch 2014); [recomputed]",
            partial(puzzles.hanoi, 4, n),
            states=4**n,
            goal="goal",
            shortest=shortest,
            deep=n > 6,
            large=n > 6,
        )
        for n, shortest in enumerate((1, 3, 5, 9, 13, 17, 25, 33, 41, 49), 1)
    ]
    for n, (one_on, two_on) in enumerate(zip((1, 5, 15, 43, 119, 327), (2, 7, 21, 59, 163, 447), strict=True), 1):
        for pegs_on, shortest, source in ((1, one_on, "OEIS A005665 [read]"), (2, two_on, "A005666")):
            rows.append(
                Row(
                    f"clockwise hanoi, {n} discs, {pegs_on} on",
                    f"{source}; [recomputed]",
                    partial(puzzles.hanoi, 3, n, "clockwise", pegs_on),
                    goal="goal",
                    shortest=shortest,
                    deep=n > 4,
                )
            )
    rows += [
        Row(
            f"adjacent hanoi, {n} discs",
            "3^n-1, the shortest path visits every state [recomputed]",
            partial(puzzles.hanoi, 3, n, "adjacent"),
            states=3**n,
            profile=(1,) * 3**n,
            goal="goal",
            shortest=3**n - 1,
            deep=n > 4,
        )
        for n in range(1, 6)
    ]
    return rows


def _trays_and_parities() -> list[Row]:
    grids = {2: (16, 4), 3: (512, 9), 4: (4096, 7)}
    rows = [
        Row(
            f"parity grid {n} by {n}",
            "[recomputed]; states 2^(n^2 - nullity), nullity OEIS A159257 [read]",
            partial(puzzles.parity_grid, n),
            states=states,
            steps=n * n * states,
            farthest=farthest,
            large=n > 3,
        )
        for n, (states, farthest) in grids.items()
    ]
    rows += [
        Row(
            "tray 2 by 2",
            "6 OEIS A087725 [read]; an odd permutation is unreachable [memory]",
            partial(puzzles.sliding, 2, 2, (0, 0)),
            states=12,
            farthest=6,
            goal="goal",
        ),
        Row(
            "tray 2 by 3",
            "360, 21, one state at 21: comment [read] in A087725; [recomputed]",
            partial(puzzles.sliding, 2, 3, (0, 0)),
            states=360,
            farthest=21,
            goal="goal",
        ),
        Row(
            "tray 2 by 4",
            "levels OEIS A090035 [read second hand]; 20,160 = 8!/2",
            partial(puzzles.sliding, 2, 4, (0, 0)),
            states=20_160,
            farthest=36,
            profile=NARROW_TRAY_LEVELS,
            goal="goal",
            large=True,
        ),
        Row(
            "tray 3 by 3 from a corner",
            "levels OEIS A089473 [read], diameter OEIS A087725 [read]; 181,440 = 9!/2, 31 with 2 states [recomputed]",
            partial(puzzles.sliding, 3, 3, (0, 0)),
            states=181_440,
            farthest=31,
            profile=TRAY_LEVELS,
            goal="goal",
            large=True,
        ),
        Row(
            "tray 3 by 3 from the centre",
            "30 with 148 states OEIS A089473, A087725 [read] (the 148 is asked in `test_larger.py`)",
            partial(puzzles.sliding, 3, 3, (1, 1)),
            states=181_440,
            farthest=30,
            goal="goal",
            large=True,
        ),
    ]
    return rows


def _pieces() -> list[Row]:
    starts = ((THIRTEEN_PIECES, frozenset[tuple[int, int]](), 51, 4780), (TWELVE_PIECES, WALL, 60, 2332))
    return [
        Row(
            f"sliding pieces, {slides} slides",
            "the fewest slides, of any length, from a list of such starts [memory]; both numbers [recomputed]",
            partial(sliding_pieces, pieces, walls),
            states=states,
            goal="goal",
            shortest=slides,
            deep=True,
            large=True,
        )
        for pieces, walls, slides, states in starts
    ]


PUZZLES: tuple[Row, ...] = (
    *_missionaries(),
    *_couples(),
    *_liquids(),
    *_hanoi(),
    *_trays_and_parities(),
    *_pieces(),
)
"""Every puzzle of the table."""
