"""The table: one row per published number that a machine of ours must reproduce.

Elsewhere in this folder, because it is more than one machine and its numbers:

| example | where |
|---|---|
| 5x5 parity grid, 6x6 exclusion grid, four pegs with 11 and 12 discs, peg solitaire, the cube | `test_arrays.py` |
| peg solitaire and the 3 by 3 tray by the reference evaluator, how many states lie farthest | `test_larger.py` |
| nullity of the parity grids, Hoare's bound, second programs for the puzzles | `test_recounted.py` |
| the oven: which states satisfy what, endless runs; the cut sets of the pressure tank | `test_stories.py` |
| how likely the pressure tank bursts | `test_tank.py` |
| orders as the program counts them, without a machine | `test_orders.py` |
| the sequence of steps in 29 CFR 1910.147 | `test_lockout.py` |

Left out, and why:

| example | why it is not here |
|---|---|
| 4x4 sliding tray, 16!/2 states and 80 slides | beyond any explicit engine; its first levels are in `test_arrays.py` |
| sliding pieces whose hardest start needs 93 moves | where they begin was not seen; two other starts are here |
| railway crossing, traffic light | the sources state no number |
| another tank (Barlow and Chatterjee, 1973) | its cut sets were not seen |
"""

from __future__ import annotations

from functools import partial

from . import families, puzzles, stories
from .puzzle_rows import PUZZLES
from .row import Row


def _families() -> list[Row]:
    rows = [
        Row(
            "wolf, goat, cabbage",
            "7 crossings: Alcuin, Propositiones ad acuendos juvenes, 18 [memory]; 10 states, 2 ways [recomputed]",
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
                "OEIS A000975 [read] (comments); one path of 2^n states, farthest 2^n-1; [recomputed]",
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
                "OEIS A000032 [read]: independent vertex sets of the cycle graph; [recomputed]",
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
                "OEIS A006506 [read]; [recomputed]",
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


def _checklists() -> list[Row]:
    """Runs from nothing done to all done are the orders; states are the sets of items that may be done first."""
    rows = [
        Row(
            f"checklist of two chains, {n} and {n}",
            "C(2n, n) orders, (n+1)^2 states: A000984 [memory]; [recomputed]",
            partial(families.two_chains, n, n),
            states=(n + 1) ** 2,
            goal="goal",
            shortest=2 * n,
            runs=orders,
            deep=n > 3,
        )
        for n, orders in ((2, 6), (3, 20), (4, 70))
    ]
    rows += [
        Row(
            f"checklist of two rows of {n}",
            "Catalan, A000108 [memory]; [recomputed]; pairs of a row's length and a shorter one [own derivation]",
            partial(families.two_rows, n),
            states=(n + 1) * (n + 2) // 2,
            goal="goal",
            shortest=2 * n,
            runs=orders,
            deep=n > 3,
        )
        for n, orders in enumerate((1, 2, 5, 14, 42, 132, 429), 1)
    ]
    rows += [
        Row(
            f"checklist in a zigzag of {n}",
            "A000111 [memory]; [recomputed]; states A000045 [memory]",
            partial(families.zigzag, n),
            states=states,
            goal="goal",
            shortest=n,
            runs=orders,
            deep=n > 6,
        )
        for n, (states, orders) in enumerate(
            ((2, 1), (3, 1), (5, 2), (8, 5), (13, 16), (21, 61), (34, 272), (55, 1385)), 1
        )
    ]
    rows += [
        Row(
            f"checklist of the subsets of {n}",
            "A046873 [read]; states: monotone functions, A000372 [memory]",
            partial(families.boolean_lattice, n),
            states=states,
            goal="goal",
            shortest=2**n,
            runs=orders,
            deep=n > 2,
        )
        for n, (states, orders) in enumerate(((2, 1), (3, 1), (6, 2), (20, 48), (168, 1_680_384)))
    ]
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
    oven = "Clarke, Grumberg, Peled, Model Checking, MIT Press 1999, pp. 38-49 [read second hand]"
    door = "no locked position over unlatched latches: 14 CFR 25.783(d)(5) [memory]"
    flag = "a flag of one byte: Leveson and Turner, IEEE Computer 26(7), July 1993, pp. 18-41 [memory]"
    hands = "no stroke unless both hands: interpretation of 29 CFR 1910.217, 14 Jan 1977 [read]; re-release [memory]"
    home, rearm = "handle home only over a lock that is in", "both released before the next stroke"
    return [
        Row("oven can heat", f"{oven}; depth 3 [recomputed]", stories.microwave, goal="it can heat", shortest=3),
        Row("oven heat only while closed", oven, stories.microwave, states=7, steps=12, goal="heat only while closed"),
        Row("oven no heat in error", oven, stories.microwave, profile=(1, 2, 2, 1, 1), goal="heat in error"),
        # hold the command, the door shuts, the handle is forced home
        Row(
            "door with a handle, not interlocked",
            f"{door}; 3 [own count]",
            partial(stories.door_with_handle, False),
            goal=home,
            shortest=3,
        ),
        Row("door with a handle, interlocked", door, partial(stories.door_with_handle, True), goal=home),
        Row(
            "counter as a flag",
            f"{flag}; 256 passes and the run [own count]",
            stories.counter_flag,
            goal="runs with the guard away",
            shortest=257,
            deep=True,
        ),
        Row("flag set, not counted", flag, partial(stories.counter_flag, 256, False), goal="runs with the guard away"),
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
    *PUZZLES,
    *_families(),
    *_checklists(),
    *_protocols(),
    *_stories(),
)
