"""Times `decide` against the Horn rival: `python -m benchmarks.run [--rival-seconds S] BAYS ...`, in the tests folder.

Both are asked the same questions about the same machine in one process, one after the other; what counts is the
ratio, not the seconds.  A rival that was cut off gives a lower bound, printed with ">=".
"""

from __future__ import annotations

import argparse
from collections import Counter
from collections.abc import Sequence
from time import monotonic

from interlock.kernel.claims import Claim, Limits, Unknown
from interlock.kernel.machine import Machine, Question, question_of, with_monitors
from interlock.prove.engine import Engine
from interlock.prove.strategy import decide

from .families import SIZES, hold
from .horn import horn


def timed(engine: Engine, machine: Machine, questions: Sequence[Question], limits: Limits) -> tuple[float, list[Claim]]:
    """Seconds of wall clock, and the claims."""
    begun = monotonic()
    claims = engine(machine, questions, limits)
    return monotonic() - begun, list(claims)


def compare(machine: Machine, questions: Sequence[Question], rival_seconds: float) -> str:
    """One line: what `decide` took, what the rival took, and how many times longer that was.

    Raises AssertionError where both decided a question and disagree.
    """
    ours, claims = timed(decide, machine, questions, Limits(seconds=600))
    line = f"decide {ours:8.2f} s {_tally(claims)}"
    if rival_seconds <= 0:
        return line
    theirs, rival = timed(horn, machine, questions, Limits(seconds=rival_seconds))
    for one, other in zip(claims, rival, strict=True):
        if not isinstance(one, Unknown) and not isinstance(other, Unknown) and type(one) is not type(other):
            raise AssertionError(f"disagreement on {one.question}: {one} and {other}")
    cut_off = any(isinstance(claim, Unknown) for claim in rival)
    return f"{line}   rival {theirs:8.2f} s {_tally(rival)}   ratio {'>= ' if cut_off else ''}{theirs / ours:.0f}"


def _tally(claims: Sequence[Claim]) -> str:
    return str(dict(sorted(Counter(type(claim).__name__ for claim in claims).items())))


def main() -> None:
    """Prints one line per size."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("bays", nargs="*", type=int, default=sorted(SIZES), help=f"of {sorted(SIZES)}")
    parser.add_argument("--flaw", action="store_true", help="a hold in which one latch can be raised at the wrong time")
    parser.add_argument("--rival-seconds", type=float, default=100.0, help="0: leave the rival out")
    given = parser.parse_args()
    # The first call of a process loads the solvers; that is not what is measured here.
    warm = with_monitors(hold(6))
    decide(warm, [question_of(warm, requirement) for requirement in warm.requirements])
    for bays in given.bays:
        machine = with_monitors(hold(bays, flaw=given.flaw))
        questions = [question_of(machine, requirement) for requirement in machine.requirements]
        sizes = f"{bays:4} bays {len(machine.variables):4} variables {len(machine.rules):5} rules"
        print(f"{sizes} {len(questions):4} questions  {compare(machine, questions, given.rival_seconds)}", flush=True)


if __name__ == "__main__":
    main()
