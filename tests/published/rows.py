"""The table: one row per published number that a machine of ours must reproduce.

Left out, and why:

| example | why it is not here |
|---|---|
| 2x2x2 cube (3,674,160 positions) | constant updates: 68,040 rules for each of 6 turns, see below |
| peg solitaire to its end | 23,475,688 positions up to symmetry; its first jumps: `test_larger.py`, `test_arrays.py` |
| 5x5 lamps, 6x6 exclusion grid, four pegs with 11 and 12 discs | millions of states: in `test_arrays.py` |
| 4x4 sliding tray (16!/2 states) | beyond any explicit engine; the diameter 80 is a published computation |
| 6x6 sliding cars | the start layout was not seen |
| linear extensions, omission probabilities | they are about procedures, not about machines |
| tank failure probabilities | they are about cut sets with numbers, not about machines |
| railway crossing, traffic light | the sources state no number |

A turn of the 2x2x2 cube (one corner held) moves four of seven pieces, each with its twist, at once: one rule for each
of 7*6*5*4 * 3^4 = 68,040 cases.  Turning piece by piece would need few rules, but other states and other depths.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

from interlock.kernel.machine import Machine

from . import families, puzzles, stories


@dataclass(frozen=True, slots=True)
class Row:
    """A machine and the published numbers that it must show.  None: the source states no such number.

    `steps` counts rule firings from reachable states.  With `goal` (the id of a requirement whose question is asked),
    `shortest` None says that the goal is unreachable.  `deep`: too many steps for a bounded search in test time.
    `large`: too many states for the reference evaluator in test time.
    """

    name: str
    source: str
    build: Callable[[], Machine]
    states: int | None = None
    steps: int | None = None
    dead: int | None = None
    farthest: int | None = None
    profile: tuple[int, ...] | None = None
    goal: str | None = None
    shortest: int | None = None
    runs: int | None = None
    deep: bool = False
    large: bool = False


TRAY_LEVELS = (
    *(1, 2, 4, 8, 16, 20, 39, 62, 116, 152, 286, 396, 748, 1024, 1893, 2512, 4485, 5638, 9529, 10878, 16993),
    *(17110, 23952, 20224, 24047, 15578, 14560, 6274, 3910, 760, 221, 2),
)
"""3 by 3 tray, gap at home in a corner: arrangements by fewest slides [read] oeis A089473."""


def _missionaries() -> list[Row]:
    solution = "[read] liquisearch.com missionaries_and_cannibals_problem/solution: 11, 'one of four shortest'"
    solvable = {(2, 2): (12, 5), (4, 3): (22, 9), (5, 3): (28, 11), (6, 4): (34, 9)}
    rows = [
        Row(
            "missionaries 3, boat 2",
            f"{solution}; 16 states [recomputed]",
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
            "11 [read] liquisearch.com; 40 states [recomputed]",
            partial(puzzles.jealous_husbands, 3, 2),
            states=40,
            goal="goal",
            shortest=11,
        ),
        Row(
            "couples 3, boat 2, relaxed",
            "9 [read] liquisearch.com",
            partial(puzzles.jealous_husbands, 3, 2, relaxed=True),
            goal="goal",
            shortest=9,
        ),
        Row(
            "couples 5, boat 3",
            "11 [read] puzzling.stackexchange 24863; 184 states and 11 [recomputed]",
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
            "'5 is the maximum number of couples' [read] puzzling.stackexchange 24863",
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
            "[read] oeis A007664 (optimal: Bousch 2014); [recomputed]",
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
        for pegs_on, shortest, source in ((1, one_on, "[read] A005665"), (2, two_on, "A005666")):
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


def _trays_and_lamps() -> list[Row]:
    lamps = {2: (16, 4), 3: (512, 9), 4: (4096, 7)}
    rows = [
        Row(
            f"lamps {n} by {n}",
            "[recomputed]; states 2^(n^2 - nullity), nullity [read] A159257",
            partial(puzzles.lights_out, n),
            states=states,
            steps=n * n * states,
            farthest=farthest,
            large=n > 3,
        )
        for n, (states, farthest) in lamps.items()
    ]
    rows += [
        Row(
            "tray 2 by 2",
            "6 [read] A087725; an odd permutation is unreachable [memory]",
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
            "tray 3 by 3 from a corner",
            "levels [read] A089473, diameter [read] A087725; 181,440 = 9!/2, 31 with 2 states [recomputed]",
            partial(puzzles.sliding, 3, 3, (0, 0)),
            states=181_440,
            farthest=31,
            profile=TRAY_LEVELS,
            goal="goal",
            large=True,
        ),
        Row(
            "tray 3 by 3 from the centre",
            "30 with 148 states [read] A089473, A087725 (the 148 is asked in `test_larger.py`)",
            partial(puzzles.sliding, 3, 3, (1, 1)),
            states=181_440,
            farthest=30,
            goal="goal",
            large=True,
        ),
    ]
    return rows


def _families() -> list[Row]:
    rows = [
        Row(
            "wolf, goat, cabbage",
            "10 states, 7 crossings, 2 ways [read] mathhelpforum.com/discrete-math/15443; [recomputed]",
            puzzles.wolf_goat_cabbage,
            states=10,
            steps=20,
            goal="goal",
            shortest=7,
            runs=2,
        )
    ]
    for n, all_on in enumerate((1, 2, 5, 10, 21, 42, 85, 170, 341, 682), 1):
        rows.append(
            Row(
                f"rings {n}",
                "[read] A000975 (comments); one path of 2^n states, farthest 2^n-1; [recomputed]",
                partial(families.rings, n),
                states=2**n,
                steps=2 * (2**n - 1),
                farthest=2**n - 1,
                profile=(1,) * 2**n,
                goal="goal",
                shortest=all_on,
                runs=1,
                deep=n > 7,
            )
        )
    for n in range(1, 9):
        rows += [
            Row(
                f"independent latches {n}",
                "2^n [trivial]",
                partial(families.independent, n),
                states=2**n,
                steps=n * 2**n,
                goal="goal",
                shortest=n,
            ),
            Row(
                f"strict chain {n}",
                "n+1 states, longest distance n [own derivation]",
                partial(families.strict_chain, n),
                states=n + 1,
                farthest=n,
                goal="goal",
                shortest=n,
            ),
        ]
    for n, states in enumerate((2, 3, 5, 8, 13, 21, 34, 55, 89, 144), 1):
        rows.append(
            Row(
                f"row of zones {n}",
                "A000045 [memory]; [recomputed]",
                partial(families.row_exclusion, n),
                states=states,
                goal="conflict",
            )
        )
    for n, states in enumerate((4, 7, 11, 18, 29, 47, 76, 123), 3):
        rows.append(
            Row(
                f"ring of zones {n}",
                "[read] A000032: independent vertex sets of the cycle graph; [recomputed]",
                partial(families.ring_exclusion, n),
                states=states,
                goal="conflict",
            )
        )
    for n, states in enumerate((3, 7, 17, 41, 99, 239, 577), 1):
        rows.append(
            Row(
                f"two lanes of zones {n}",
                "A001333 [recomputed]; via A002203 = 2*A001333 [read]",
                partial(families.grid_exclusion, 2, n),
                states=states,
                goal="conflict",
            )
        )
    for n, states in enumerate((2, 7, 63, 1234, 55447), 1):
        rows.append(
            Row(
                f"square of zones {n}",
                "[read] A006506; [recomputed]",
                partial(families.grid_exclusion, n, n),
                states=states,
                goal="conflict",
                large=n > 4,
            )
        )
    # sum of C(6, i) for i up to k
    for k, states in ((1, 7), (2, 22), (3, 42)):
        rows.append(
            Row(f"at most {k} of 6", "[trivial]", partial(families.at_most, k, 6), states=states, goal="too many")
        )
    for k, states in enumerate((3, 5, 9, 17, 33), 1):
        hazard = "closed over an open latch"
        rows += [
            Row(
                f"door over {k} latches",
                "2^k+1 [recomputed]",
                partial(families.door_and_latches, k, True),
                states=states,
                goal=hazard,
            ),
            Row(
                f"door over {k} latches, no interlock",
                "2^(k+1) [own derivation]; the door closes at once [own derivation]",
                partial(families.door_and_latches, k, False),
                states=2 ** (k + 1),
                goal=hazard,
                shortest=1,
            ),
        ]
    dining = zip((6, 14, 34, 82, 198, 478, 1154), (8, 27, 88, 265, 768, 2163, 5968), strict=True)
    for n, (states, steps) in enumerate(dining, 2):
        rows.append(
            Row(
                f"philosophers {n}",
                "A002203 [read], that it equals this model [recomputed]; transitions, deadlock at depth n [recomputed]",
                partial(families.philosophers, n),
                states=states,
                steps=steps,
                dead=1,
                goal="deadlock",
                shortest=n,
            )
        )
    return rows


def _protocols() -> list[Row]:
    label = "[recomputed] (depends on the encoding)"
    exclusive, dead = "both critical", "deadlock"
    return [
        Row("two-process turn", label, families.peterson, states=20, steps=34, dead=0, goal=exclusive),
        Row("two-process turn, deadlock", label, families.peterson, states=20, steps=34, dead=0, goal=dead),
        Row("test then set", "[recomputed]", families.test_then_set, states=9, goal=exclusive, shortest=4),
        Row("set then wait", "[recomputed]", families.set_then_wait, states=8, dead=1, goal=exclusive),
        Row("set then wait, deadlock", "[recomputed]", families.set_then_wait, states=8, dead=1, goal=dead, shortest=2),
    ]


def _stories() -> list[Row]:
    oven = "Clarke, Grumberg, Peled, Model Checking, MIT Press 1999, pp. 38-49 [read in three independent encodings]"
    door = "closing-cargo-door page of the public lessons-learned library, faa.gov/lessonslearned [read]"
    flag = "Leveson and Turner, IEEE Computer 26(7), July 1993; the one-byte flag [read] slideplayer 13807799"
    hands = "no stroke unless both hands: interpretation of 14 Jan 1977, osha.gov [read]; re-release [memory]"
    vent, rearm = "vent closed only over engaged pins", "both released before the next stroke"
    return [
        Row("oven can heat", f"{oven}; depth 3 [recomputed]", stories.microwave, goal="it can heat", shortest=3),
        Row("oven heat only while closed", oven, stories.microwave, states=7, steps=12, goal="heat only while closed"),
        Row("oven no heat in error", oven, stories.microwave, profile=(1, 2, 2, 1, 1), goal="heat in error"),
        # the page tells the failure, not the number of steps: press, door closes, handle forced in
        Row(
            "cargo door, open loop", f"{door}; 3 [own count]", partial(stories.cargo_door, False), goal=vent, shortest=3
        ),
        Row("cargo door, closed loop", door, partial(stories.cargo_door, True), goal=vent),
        Row(
            "counter as a flag",
            f"{flag}; 256 passes and the beam [own count]",
            stories.counter_flag,
            goal="beam out of place",
            shortest=257,
            deep=True,
        ),
        Row("flag set, not counted", flag, partial(stories.counter_flag, 256, False), goal="beam out of place"),
        Row("two hands", hands, partial(stories.two_hand_control, True), goal="stroke with a hand free"),
        Row("two hands, re-release", hands, partial(stories.two_hand_control, True), goal=rearm),
        Row(
            "one hand tied down",
            f"{hands}; 2 [own count]",
            partial(stories.two_hand_control, False),
            goal="stroke with a hand free",
            shortest=2,
        ),
    ]


ROWS: tuple[Row, ...] = (
    *_missionaries(),
    *_couples(),
    *_liquids(),
    *_hanoi(),
    *_trays_and_lamps(),
    *_families(),
    *_protocols(),
    *_stories(),
)
