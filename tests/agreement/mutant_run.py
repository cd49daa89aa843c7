"""More mutants of files than CI has time for: `python -m tests.agreement.mutant_run FIRST COUNT [--commands COUNT]`.

Each mutant is taken through reading, compiling and a bounded proof or audit within this process; of the first some more
are given to commands.  Whatever raises, hangs or ends with the code of a fault inside the program is shown at once, and
the run goes on.  Ends with 1 where anything went wrong.
"""

from __future__ import annotations

import argparse
import contextlib
import io
import os
import sys
import tempfile
from collections import Counter
from pathlib import Path
from time import monotonic

from interlock import cli

from .mutants import SECONDS_PER_MUTANT, TookTooLong, command_of, judge_mutant, make_mutant, within


def run_command(seed: int, folder: Path) -> tuple[str, str | None]:
    """The exit code of a command on the mutant of a seed, and what went wrong, if anything.  Works in the folder."""
    args = command_of(seed, folder)
    out, err = io.TextIOWrapper(io.BytesIO(), "utf-8"), io.TextIOWrapper(io.BytesIO(), "utf-8")
    folder.mkdir(parents=True, exist_ok=True)
    before = Path.cwd()
    os.chdir(folder)
    try:
        with within(SECONDS_PER_MUTANT), contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
            code = cli.run(args)
    except TookTooLong:
        return "hangs", f"{' '.join(args)}: not done within {SECONDS_PER_MUTANT} s"
    finally:
        os.chdir(before)
    err.seek(0)
    said = err.read()
    wrong = code not in (0, 1, 2, 3) or "Traceback" in said
    return f"exit code {code}", f"{' '.join(args)}: {code}\n{said}" if wrong else None


def main() -> int:
    """Judges the mutants that the command line asks for."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("first", type=int, help="the first seed")
    parser.add_argument("count", type=int, help="how many seeds")
    parser.add_argument("--commands", type=int, default=0, help="how many of the first to give to commands as well")
    parser.add_argument("--seconds", type=float, default=float("inf"), help="begin no other after so long")
    asked = parser.parse_args()
    began = monotonic()
    tally: Counter[str] = Counter()
    wrong = done = commands = 0
    for seed in range(asked.first, asked.first + asked.count):
        if monotonic() - began > asked.seconds:
            break
        outcomes = [judge_mutant(seed)]
        if commands < asked.commands:
            with tempfile.TemporaryDirectory() as folder:
                outcomes.append(run_command(seed, Path(folder)))
            commands += 1
        done += 1
        for became, fault in outcomes:
            tally[f"{make_mutant(seed).sort}: {became}"] += 1
            if fault is not None:
                wrong += 1
                print(f"seed {seed}: {fault}", file=sys.stderr, flush=True)
        if done % 500 == 0:
            print(f"{done} mutants, {wrong} wrong, {monotonic() - began:.0f} s", file=sys.stderr, flush=True)
    print(f"seeds {asked.first} to {asked.first + done - 1}: {done} mutants, {commands} commands, {wrong} wrong")
    for became, number in sorted(tally.items()):
        print(f"  {number:>6}  {became}")
    return 1 if wrong else 0


if __name__ == "__main__":
    raise SystemExit(main())
