"""The default strategy on nets, protocols and puzzles beside three other ways: `python -m tests.benchmarks.nets`.

Each contestant answers all questions about a machine alone in a process of its own, within a limit of seconds of the
processor; building the machine is not counted, confirming is told apart.  The limits and orders of the strategy were
fitted on the machines marked so, the others were only reported.  A cell says how many questions were answered, where
not all, and in how many seconds; `library` is `dd` with reordering (`tests/published/symbolic.py`), breadth first,
`arrays` the program's own engine that visits all states, `plain` a search over tuples (`plain.py`).
"""

from __future__ import annotations

import argparse
import resource
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from math import ceil
from multiprocessing.connection import Connection
from time import process_time

from interlock.kernel.claims import Claim, Limits, Unknown
from interlock.kernel.machine import Machine, Question, question_of
from tests.published import families, nets, puzzles

from .__main__ import machine_line
from .contestants import MOST_BYTES, Outcome, diagrams, run_alone

CONTESTANTS = ("decide", "diagrams", "library", "arrays", "plain")


@dataclass(frozen=True, slots=True)
class Case:
    """A machine, and whether the strategy was fitted on it."""

    build: Callable[[], Machine]
    fitted: bool


def _cases() -> dict[str, Case]:
    """Families in two or three sizes; the fitted ones are those at which times were looked at while working."""
    made: dict[str, Case] = {}

    def family(name: str, build: Callable[..., Machine], fitted: Sequence[int], held_out: Sequence[int]) -> None:
        for size in sorted((*fitted, *held_out)):
            made[f"{name} {size}"] = Case(partial(build, size), size in fitted)

    family("philosophers", families.philosophers, (8, 24), (36,))
    family("forks", nets.forks, (10, 20), (32,))
    family("seated philosophers", lambda n: families.dining_hall(n, n - 1), (8,), (6, 10))
    family("kanban", nets.kanban, (3,), (2, 4))
    family("manufacturing", nets.manufacturing, (), (2, 4))
    family("scheduler", nets.scheduler, (10, 30), (20,))
    family("readers and writers", nets.readers_writers, (15, 20), (28,))
    family("token ring", nets.token_ring, (), (8, 16, 28))
    family("slotted ring", nets.slotted_ring, (), (5, 10, 15))
    family("pipeline", nets.pipeline, (), (12, 32))
    family("counter", nets.counter, (), (12, 32))
    family("filter lock", nets.filter_lock, (3, 4), (5,))
    family("lift", nets.lift, (), (5, 12, 20))
    family("square of zones", lambda n: families.grid_exclusion(n, n), (5, 7), (6,))
    family("rings", families.rings, (10,), (14,))
    family("hanoi", partial(puzzles.hanoi, 3), (8,), (10,))
    family("four-peg hanoi", partial(puzzles.hanoi, 4), (), (6, 8))
    family("parity grid", puzzles.parity_grid, (4,), (3, 5))
    family("tray 2 by", lambda n: puzzles.sliding(2, n, (0, 0)), (4,), (3,))
    family("tray 3 by", lambda n: puzzles.sliding(3, n, (0, 0)), (3,), ())
    family("crossing with boat", lambda n: puzzles.missionaries(n, n - 2), (), (5, 6))
    family("couples", lambda n: puzzles.jealous_husbands(n, 3), (), (4, 5))
    family("at most 3 of", lambda n: families.at_most(3, n), (), (8, 14))
    made["Dekker"] = Case(nets.dekker, False)
    made["Peterson"] = Case(families.peterson, False)
    made["wolf, goat, cabbage"] = Case(puzzles.wolf_goat_cabbage, False)
    return made


CASES: Mapping[str, Case] = _cases()


def settle(pipe: Connection, name: str, case: str, seconds: float) -> None:
    """In a process of its own: builds, says so, answers within the limit, says what was answered and how long it took.

    `numbers` are: answered, milliseconds for confirming, confirmed.
    """
    from interlock.confirm.confirm import confirm
    from interlock.kernel.claims import Fails, Holds
    from interlock.prove import engine as clocks

    # limits, too, are in seconds of the processor here
    clocks.__dict__["monotonic"] = process_time
    machine = CASES[case].build()
    questions = [question_of(machine, requirement) for requirement in machine.requirements]
    ask = _asking(name, seconds)
    ask(TINY, [question_of(TINY, TINY.requirements[0])])
    pipe.send((len(machine.variables), len(machine.rules), len(questions)))
    _, most = resource.getrlimit(resource.RLIMIT_CPU)
    resource.setrlimit(resource.RLIMIT_CPU, (ceil(process_time() + seconds + 60), most))
    resource.setrlimit(resource.RLIMIT_AS, (MOST_BYTES, MOST_BYTES))
    begun = process_time()
    claims = ask(machine, questions)
    took = process_time() - begun
    answered = sum(not isinstance(claim, Unknown) for claim in claims)
    confirmed, confirming = 0, 0.0
    if name == "decide":
        begun = process_time()
        findings = confirm(machine, questions, claims, 60)
        confirming = process_time() - begun
        confirmed = sum(isinstance(finding, Holds | Fails) for finding in findings)
    verdicts = tuple(type(claim).__name__ for claim in claims)
    pipe.send(Outcome(took, verdicts, (answered, int(1000 * confirming), confirmed)))


TINY = families.philosophers(2)


def _asking(name: str, seconds: float) -> Callable[[Machine, Sequence[Question]], Sequence[Claim]]:
    limits = Limits(seconds=seconds)
    if name == "library":
        return partial(_library, seconds=seconds)
    if name == "plain":
        from .plain import plain

        return partial(plain, limits=limits)
    if name == "arrays":
        from interlock.prove.search.enumeration import enumeration

        return partial(enumeration, limits=limits)
    if name == "diagrams":
        from interlock.prove.diagrams.saturation import diagrams as saturated

        return partial(saturated, limits=limits)
    from interlock.prove.decide import decide

    return partial(decide, limits=limits)


def _library(machine: Machine, questions: Sequence[Question], seconds: float) -> Sequence[Claim]:
    """All or nothing: its one fixed point answers every question, or the process is ended."""
    _, most = resource.getrlimit(resource.RLIMIT_CPU)
    resource.setrlimit(resource.RLIMIT_CPU, (ceil(process_time() + seconds), most))
    return diagrams(machine, questions)


def cell(outcome: Outcome, asked: int, limit: float) -> str:
    """What a contestant did with so many questions."""
    if outcome.seconds is None:
        return f"0 of {asked}, > {limit:g} s"
    answered = outcome.numbers[0]
    share = "" if answered == asked else f"{answered} of {asked}, "
    return f"{share}{outcome.seconds:.2f} s"


def main() -> None:
    """Prints the table and the sums."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks.nets", description="Times engines on nets.")
    parser.add_argument("--only", nargs="*", default=[], metavar="WORD", help="machines whose name has one of these")
    parser.add_argument("--contestants", nargs="*", choices=CONTESTANTS, default=list(CONTESTANTS))
    parser.add_argument("--limit", type=float, default=5.0, metavar="SECONDS", help="of the processor, for each")
    given = parser.parse_args()
    print(machine_line() + "\n")
    print(
        "| machine | variables | rules | asked |" + "".join(f" {name} |" for name in given.contestants) + " confirmed |"
    )
    print("|---|---|---|---|" + "---|" * len(given.contestants) + "---|")
    sums: dict[tuple[bool, str], list[float]] = {}
    asked_in_all = {True: 0, False: 0}
    for case, about in CASES.items():
        if given.only and not any(word in case for word in given.only):
            continue
        row, told, first = "", "", None
        for name in given.contestants:
            sizes, outcome = run_alone(settle, name, case, given.limit)
            took = given.limit if outcome.seconds is None else outcome.seconds
            total = sums.setdefault((about.fitted, name), [0, 0.0])
            total[0] += outcome.numbers[0] if outcome.numbers else 0
            total[1] += took
            row += f" {cell(outcome, sizes[2], given.limit)} |"
            if name == "decide" and outcome.numbers:
                told = f"{outcome.numbers[2]} of {outcome.numbers[0]}, {outcome.numbers[1] / 1000:.2f} s"
            first = outcome if first is None else first
            both = zip(first.verdicts, outcome.verdicts, strict=False)
            assert all(one == two or Unknown.__name__ in (one, two) for one, two in both), (case, name)
        asked_in_all[about.fitted] += sizes[2]
        mark = " (fitted)" if about.fitted else ""
        print(f"| {case}{mark} | {' | '.join(map(str, sizes))} |{row} {told} |", flush=True)
    print()
    for (fitted, name), (answered, seconds) in sums.items():
        which = "fitted" if fitted else "held out"
        print(f"{which}, {name}: {answered:.0f} of {asked_in_all[fitted]} answered in {seconds:.1f} s")


if __name__ == "__main__":
    main()
