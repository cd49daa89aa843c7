"""More random machines than CI has time for: `python -m tests.agreement.long_run FIRST COUNT --processes 2`.

On every machine every engine answers every question, counting engines count, and a question about ways back is asked;
each claim and its evidence is held against the machine written out by the reference evaluator (`judging.py`).  A
machine that something goes wrong with is recorded with what went wrong, and the run goes on.  Progress goes to standard
error, the summary to standard output and, with `--record`, to the end of a file, failures at once.  Ends with 1 where
anything went wrong.
"""

from __future__ import annotations

import argparse
import multiprocessing
import platform
import signal
import subprocess
import sys
import traceback
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from importlib.metadata import version
from pathlib import Path
from time import monotonic, process_time, strftime
from types import FrameType

from .judging import judge, judge_counts, judge_recovery

TASKS = {"claims": judge, "counts": judge_counts, "ways back": judge_recovery}
BLOCK = 50
"""Machines that a process is given at a time."""
BLOCKS_PER_PROCESS = 40
"""After so many blocks a process is replaced by a fresh one, so that nothing that solvers keep piles up."""
SECONDS_PER_TASK = 120
"""A task that takes longer is recorded as gone wrong; they take hundredths of a second."""


class TookTooLong(Exception):
    """A task did not end in time."""


@dataclass(slots=True)
class Outcome:
    """What was seen of some machines: claims by kind, what went wrong (seed, task, what), processor seconds."""

    machines: int = 0
    tally: Counter[str] = field(default_factory=Counter)
    failures: list[tuple[int, str, str]] = field(default_factory=list)
    seconds: float = 0.0

    def add(self, other: Outcome) -> None:
        """Counts the other's machines in."""
        self.machines += other.machines
        self.tally += other.tally
        self.failures += other.failures
        self.seconds += other.seconds


def judge_block(seeds: range) -> Outcome:
    """All tasks on all machines of the block."""
    outcome = Outcome(len(seeds))
    began = process_time()
    # the alarm is heard between two instructions of Python; a solver call is never that long on such machines
    signal.signal(signal.SIGALRM, _too_long)
    for seed in seeds:
        for name, task in TASKS.items():
            signal.alarm(SECONDS_PER_TASK)
            try:
                outcome.tally += task(seed)
            except Exception as error:
                where = traceback.extract_tb(error.__traceback__)[-1]
                what = f"{type(error).__name__} at {Path(where.filename).name}:{where.lineno}: {error}"
                outcome.failures.append((seed, name, " ".join(what.split())[:500]))
            finally:
                signal.alarm(0)
    outcome.seconds = process_time() - began
    return outcome


def _too_long(_number: int, _frame: FrameType | None) -> None:
    raise TookTooLong


def run(seeds: range, processes: int) -> Iterator[Outcome]:
    """The outcomes of all blocks, in whatever order they come."""
    blocks = [seeds[at : at + BLOCK] for at in range(0, len(seeds), BLOCK)]
    context = multiprocessing.get_context("spawn")
    with context.Pool(processes, maxtasksperchild=BLOCKS_PER_PROCESS) as pool:
        yield from pool.imap_unordered(judge_block, blocks)


def commit() -> str:
    """The commit that is checked out, and whether files differ from it."""

    def git(*words: str) -> str:
        done = subprocess.run(("git", *words), cwd=Path(__file__).parent, capture_output=True, text=True, check=False)
        return done.stdout.strip()

    return (git("rev-parse", "HEAD") or "unknown") + (" with changes" if git("status", "--porcelain") else "")


def summary(seeds: range, done: Outcome, elapsed: float, processes: int, at_commit: str) -> str:
    """The record of a run."""
    libraries = ", ".join(f"{name} {version(name)}" for name in ("z3-solver", "python-sat", "numpy"))
    lines = [
        f"{strftime('%Y-%m-%d')}: machines {seeds.start} to {seeds.stop - 1}, {done.machines} judged, "
        f"{len(done.failures)} went wrong",
        f"commit {at_commit}",
        f"{platform.system()} {platform.machine()}, Python {platform.python_version()}, {libraries}",
        f"{elapsed / 60:.1f} minutes in {processes} processes, {done.seconds / 60:.1f} of the processor, "
        f"{1000 * done.seconds / max(done.machines, 1):.1f} ms a machine",
        *(f"{number:9} {what}" for what, number in sorted(done.tally.items())),
    ]
    return "\n".join(lines)


def main() -> int:
    """Judges COUNT machines from seed FIRST on."""
    parser = argparse.ArgumentParser(prog="python -m tests.agreement.long_run", description="Judges random machines.")
    parser.add_argument("first", type=int, help="seed of the first machine")
    parser.add_argument("count", type=int, help="how many machines")
    parser.add_argument("--processes", type=int, default=1)
    parser.add_argument("--record", type=Path, metavar="FILE", help="add failures and the summary to this file")
    parser.add_argument("--every", type=float, default=60.0, metavar="SECONDS", help="between two lines of progress")
    given = parser.parse_args()
    seeds = range(given.first, given.first + given.count)
    at_commit = commit()
    began = told = monotonic()
    done = Outcome()

    def record(text: str) -> None:
        if given.record is not None:
            with given.record.open("a", encoding="utf-8") as file:
                file.write(text + "\n")

    try:
        for outcome in run(seeds, given.processes):
            done.add(outcome)
            for seed, task, what in outcome.failures:
                record(f"WRONG seed {seed}, {task}: {what}")
                print(f"WRONG seed {seed}, {task}: {what}", file=sys.stderr, flush=True)
            if monotonic() - told >= given.every:
                told = monotonic()
                left = (told - began) / done.machines * (len(seeds) - done.machines)
                so_far = f"{done.machines} of {len(seeds)} machines, {len(done.failures)} wrong"
                print(f"{so_far}, about {left / 60:.0f} min left", file=sys.stderr, flush=True)
    except KeyboardInterrupt:
        print("interrupted; what was judged until now:", file=sys.stderr)
    text = summary(seeds, done, monotonic() - began, given.processes, at_commit)
    print(text)
    record(text)
    return 1 if done.failures or done.machines < len(seeds) else 0


if __name__ == "__main__":
    sys.exit(main())
