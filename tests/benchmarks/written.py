"""Holds that nobody fitted the program to: `python -m tests.benchmarks.written FIRST COUNT --limit S`.

One hold per seed, as somebody might write it (`tests/teeth/written_holds.py`); every third has one flaw.  Each is
proved whole by the command itself, `interlock prove`, alone in a process of its own.  Seconds are those of the
processor, from the start of the interpreter to its end; the clock that limits look at is that of the processor too.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from subprocess import run
from tempfile import TemporaryDirectory
from typing import Any

from interlock.cli.exit_codes import REJECTED
from tests.teeth.written_holds import Choices, chosen, with_flaw, written

CAN_ALWAYS = "can always"
STAGES = ("reading", "compiling", "deciding", "ways back", "confirming", "confirming ways back")
"""What is timed apart; the rest is loading of libraries and telling."""


def benchmark_choices(seed: int) -> Choices:
    """What the hold of this seed is."""
    choices = chosen(seed)
    return with_flaw(choices, seed // 3) if seed % 3 == 2 else choices


@dataclass(frozen=True, slots=True)
class Measured:
    """What one call came to; `stages` are seconds, `failing` ids of requirements without what they are about."""

    seed: int
    seconds: float
    stages: dict[str, float]
    bays: int
    variables: int
    rules: int
    requirements: int
    undecided: tuple[str, ...]
    ways_undecided: int
    disputed: int
    failing: tuple[str, ...]
    reason: str

    @property
    def is_whole(self) -> bool:
        """All was decided."""
        return not self.undecided and not self.ways_undecided and not self.disputed


def time_parts(taken: dict[str, float], put: Callable[[Any, str, Any], None] = setattr) -> None:
    """From now on adds to `taken`, by stage, the seconds of the processor; nothing else is otherwise than without."""
    import time

    from interlock.hold import loader
    from interlock.hold.compile import compiler
    from interlock.prove import decide
    from interlock.study import sessions, verify

    def timed(stage: str, work: Callable[..., Any]) -> Callable[..., Any]:
        def working(*given: Any, **named: Any) -> Any:
            began = time.process_time()
            try:
                return work(*given, **named)
            finally:
                taken[stage] += time.process_time() - began

        return working

    # not `decide` itself: whether it is the engine that is asked is looked at, and another has no lemmas to hand on
    strategy = vars(decide)["_Strategy"]
    parts: Any = ((loader, "load_hold"), (compiler, "compile_hold"), (strategy, "run"), (verify, "recover"))
    parts += ((sessions, "confirm"), (sessions, "confirm_recovery"))
    for stage, (owner, name) in zip(STAGES, parts, strict=True):
        put(owner, name, timed(stage, getattr(owner, name)))


def proved(path: str, limit: float) -> None:
    """In a process of its own: the command, with its parts timed; prints what it took."""
    import gc
    import time

    from interlock.__main__ import OBJECTS_BETWEEN_COLLECTIONS

    gc.set_threshold(OBJECTS_BETWEEN_COLLECTIONS)
    time.monotonic = time.process_time
    taken: dict[str, float] = dict.fromkeys(STAGES, 0.0)
    time_parts(taken)
    from interlock import cli

    out = str(Path(path).with_suffix(".json"))
    code = cli.run(["prove", path, "--no-cache", "--time", f"{limit:g}", "--output", out])
    print(json.dumps({"code": code, "stages": taken, "seconds": time.process_time()}))


@dataclass(frozen=True, slots=True)
class Refused:
    """The hold of this seed was refused as described: no fault of the program, unless the description has none."""

    seed: int
    why: str


def measured(seed: int, limit: float) -> Measured | Refused:
    """Runs the command on the hold of this seed.  Raises RuntimeError where it ends without a result."""
    choices = benchmark_choices(seed)
    with TemporaryDirectory() as folder:
        path = Path(folder) / "hold.yaml"
        path.write_text(written(choices), encoding="utf-8")
        call = [sys.executable, "-m", "tests.benchmarks.written", "--prove", str(path), "--limit", f"{limit:g}"]
        done = run(call, capture_output=True, text=True, check=False)
        try:
            took = json.loads(done.stdout.splitlines()[-1])
            if took["code"] == REJECTED:
                return Refused(seed, next(iter(done.stderr.splitlines()), ""))
            found = json.loads(path.with_suffix(".json").read_text(encoding="utf-8"))["holds"][0]
        except (IndexError, ValueError, OSError) as why:
            raise RuntimeError(f"seed {seed} ended with {done.returncode}: {done.stderr[-2000:]}") from why
    asked = found["requirements"]
    open_left = [one for one in asked if one["status"] == "undecided"]
    ways = [one for one in open_left if one["kind"] == CAN_ALWAYS]
    return Measured(
        seed,
        took["seconds"],
        took["stages"],
        len(choices.bays),
        found["machine"]["variables"],
        found["machine"]["rules"],
        len(asked),
        tuple(one["id"] for one in open_left if one["kind"] != CAN_ALWAYS),
        len(ways),
        found["counts"]["disputed"],
        tuple(sorted({one["from"] for one in asked if one["status"] == "fails"})),
        "; ".join(sorted({one["finding"]["reason"] for one in open_left})),
    )


def _line(one: Measured) -> str:
    stages = ", ".join(f"{stage} {one.stages[stage]:.1f}" for stage in STAGES if one.stages.get(stage, 0) >= 0.05)
    flaw = benchmark_choices(one.seed).flaw
    said = []
    if one.undecided:
        said.append(f"{len(one.undecided)} UNDECIDED ({', '.join(one.undecided[:3])})")
    if one.ways_undecided:
        said.append("ways back UNDECIDED")
    if one.disputed:
        said.append("DISPUTED")
    if one.reason:
        said.append(one.reason)
    if one.failing:
        said.append(f"fails ({flaw or 'SOUND'}): {', '.join(one.failing)}")
    size = f"{one.bays} bays, {one.variables} variables, {one.rules} rules, {one.requirements} requirements"
    return f"{one.seed}: {one.seconds:.1f} s ({stages}); {size}; {'; '.join(said) or 'all hold'}"


def summary(all_of: Sequence[Measured], within: float) -> str:
    """The table."""
    times = sorted(one.seconds for one in all_of)
    whole = [one for one in all_of if one.is_whole]
    lines = [
        f"{len(all_of)} holds, {len(whole)} decided whole, {sum(one.seconds <= within for one in whole)} of these "
        f"within {within:g} s",
        f"main requirements left undecided on {sum(bool(one.undecided) for one in all_of)}, ways back on "
        f"{sum(bool(one.ways_undecided) for one in all_of)}, disputed on {sum(bool(one.disputed) for one in all_of)}",
        f"seconds: mean {sum(times) / len(times):.1f}, median {times[len(times) // 2]:.1f}, "
        f"95 of 100 within {times[min(len(times) - 1, len(times) * 95 // 100)]:.1f}, most {times[-1]:.1f}",
        "| stage | seconds a hold | share |",
        "|---|---|---|",
    ]
    total = sum(times)
    rest = total
    for stage in STAGES:
        took = sum(one.stages.get(stage, 0.0) for one in all_of)
        rest -= took
        lines.append(f"| {stage} | {took / len(all_of):.2f} | {100 * took / total:.0f} % |")
    lines.append(f"| loading libraries, telling | {rest / len(all_of):.2f} | {100 * rest / total:.0f} % |")
    return "\n".join(lines)


def main() -> None:
    """Prints a line for each hold, then the table."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks.written", description="Proves unseen holds.")
    parser.add_argument("first", nargs="?", type=int, default=0)
    parser.add_argument("count", nargs="?", type=int, default=20)
    parser.add_argument("--limit", type=float, default=60.0, metavar="SECONDS", help="of the processor, for each hold")
    parser.add_argument("--within", type=float, default=10.0, metavar="SECONDS", help="count those decided in these")
    parser.add_argument("--text", action="store_true", help="print the description of FIRST instead")
    parser.add_argument("--prove", metavar="FILE", help=argparse.SUPPRESS)
    given = parser.parse_args()
    if given.prove:
        proved(given.prove, given.limit)
        return
    if given.text:
        print(written(benchmark_choices(given.first)), end="")
        return
    found: list[Measured] = []
    refused = 0
    for seed in range(given.first, given.first + given.count):
        match measured(seed, given.limit):
            case Refused(_, why):
                refused += 1
                print(f"{seed}: REFUSED ({why})", flush=True)
            case one:
                found.append(one)
                print(_line(one), flush=True)
    print(f"\n{refused} refused" if refused else "")
    if found:
        print(summary(found, given.within))


if __name__ == "__main__":
    main()
