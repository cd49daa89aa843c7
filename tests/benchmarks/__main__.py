"""How the default strategy grows, beside three other ways; how fast states are counted: `python -m tests.benchmarks`.

Real holds of 6 to 120 bays (`holds.py`), all standing requirements.  Each contestant runs alone in a process of its
own, one after the other, and is ended at its limit; reading and compiling the hold is not counted.  Times are seconds
of the processor, because the wall clock says more about who else used the machine.

| column | what it is |
|---|---|
| decide | the program's default strategy |
| horn | z3's own engine for Horn clauses, one clause per rule (`horn.py`) |
| diagrams | decision diagrams of the `dd` library with reordering, level by level (`tests/published/symbolic.py`) |
| plain | breadth-first search over tuples (`plain.py`) |

The other table counts states: arrays, as the program does, against `plain`, to the end.
"""

from __future__ import annotations

import argparse
import os
import platform
from collections.abc import Mapping, Sequence
from importlib.metadata import version
from itertools import pairwise
from math import log
from statistics import linear_regression

from interlock.kernel.claims import Unknown

from .contestants import RIVALS, Outcome, answer, count, run_alone

BAYS = (6, 12, 30, 60, 120)
OURS_SECONDS = 1_800.0
COMPARED = 12
"""Bays of the hold that every rival is given its time for."""
SMALLEST_FITTED = 12
"""Bays from which on growth is fitted: what is smaller is mostly overhead."""


def shown(outcome: Outcome, limit: float, base: float | None = None) -> str:
    """Seconds, or that the limit was met; and how many times as long as `base` that is."""
    took = limit if outcome.seconds is None else outcome.seconds
    over = "> " if outcome.seconds is None else ""
    ratio = "" if base is None else f" ({over}{took / base:.0f}x)"
    return f"{over}{took:.1f} s{ratio}"


def contradictions(ours: Outcome, theirs: Outcome) -> int:
    """How many questions both decided, differently."""
    unknown = Unknown.__name__
    pairs = zip(ours.verdicts, theirs.verdicts, strict=True) if theirs.seconds is not None else ()
    return sum(one != other and unknown not in (one, other) for one, other in pairs)


def deciding(bays: Sequence[int], rivals: Sequence[str], limit: float) -> None:
    """Prints the first table and the growth of `decide`."""
    print("| bays | variables | rules | requirements | decide |" + "".join(f" {rival} |" for rival in rivals))
    print("|---|---|---|---|---|" + "---|" * len(rivals))
    taken: dict[int, float] = {}
    beaten: set[str] = set()
    for size in bays:
        sizes, ours = run_alone(answer, "decide", size // 2, OURS_SECONDS)
        if ours.seconds is not None:
            taken[size] = ours.seconds
        open_left = ours.verdicts.count(Unknown.__name__)
        mine = shown(ours, OURS_SECONDS) + (f", {open_left} open" if open_left else "")
        print(f"| {' | '.join([*map(str, (size, *sizes)), mine])} |", end="", flush=True)
        for rival in rivals:
            # what did not end on a smaller hold is not given the time again, but where everybody is compared
            cell = "not run again"
            if rival not in beaten or size == COMPARED:
                _, theirs = run_alone(answer, rival, size // 2, limit)
                differ = contradictions(ours, theirs)
                cell = shown(theirs, limit, taken.get(size)) + (f", {differ} DIFFER" if differ else "")
                if theirs.seconds is None:
                    beaten.add(rival)
            print(f" {cell} |", end="", flush=True)
        print()
    for first, last in pairwise(sorted(taken)):
        times = taken[last] / taken[first]
        print(f"decide from {first} to {last} bays: {times:.1f} times as long, n^{growth(taken, first, last):.2f}")
    fitted = [size for size in taken if size >= SMALLEST_FITTED]
    if len(fitted) > 1:
        exponent = growth(taken, min(fitted), max(fitted))
        print(f"decide grows as n^{exponent:.2f}: least squares over {', '.join(map(str, sorted(fitted)))} bays")


def growth(taken: Mapping[int, float], first: int, last: int) -> float:
    """The exponent of the size that fits the times from `first` to `last` best: least squares of logarithms."""
    points = [(log(size), log(seconds)) for size, seconds in taken.items() if first <= size <= last]
    return linear_regression(*zip(*points, strict=True)).slope


def counting() -> None:
    """Prints the second table."""
    print("| machine | variables | rules | states | steps | depth | arrays | plain | ratio |")
    print("|---|---|---|---|---|---|---|---|---|")
    for case in ("tray of eight", "lane of 5 bays", "single-lane hold"):
        sizes, ours = run_alone(count, "arrays", case, OURS_SECONDS)
        _, theirs = run_alone(count, "plain", case, OURS_SECONDS)
        assert ours.seconds is not None and theirs.seconds is not None
        assert ours.numbers == theirs.numbers, case
        states, steps, depth, *_ = ours.numbers
        numbers = f"{sizes[0]} | {sizes[1]} | {states:,} | {steps:,} | {depth}"
        times = f"{ours.seconds:.2f} s | {theirs.seconds:.1f} s | {theirs.seconds / ours.seconds:.0f}x"
        print(f"| {case} | {numbers} | {times} |", flush=True)


def machine_line() -> str:
    """What this was run on, and how busy that was when it began."""
    libraries = ", ".join(f"{name} {version(name)}" for name in ("z3-solver", "python-sat", "dd", "numpy"))
    load = ", ".join(f"{load:.1f}" for load in os.getloadavg())
    system = f"{platform.system()} {platform.machine()}, {os.cpu_count()} cores, Python {platform.python_version()}"
    return f"{system}; {libraries}; load average at the start {load}"


def main() -> None:
    """Prints both tables."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks", description="Times engines on growing holds.")
    parser.add_argument("--bays", nargs="*", type=int, default=list(BAYS), metavar="N", help="even, 6 to 400")
    parser.add_argument("--rivals", nargs="*", choices=RIVALS, default=list(RIVALS))
    parser.add_argument(
        "--limit", type=float, default=80.0, metavar="SECONDS", help="of the processor, for each rival and size"
    )
    parser.add_argument("--no-counting", action="store_true", help="leave the table of counting out")
    given = parser.parse_args()
    print(machine_line() + "\n")
    if not given.no_counting:
        counting()
        print()
    deciding(given.bays, given.rivals, given.limit)


if __name__ == "__main__":
    main()
