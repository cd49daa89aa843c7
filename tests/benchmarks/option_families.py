"""Families against each configuration by itself: `python -m tests.benchmarks.option_families HOLD FIRST COUNT`.

Of each seed a hold with options drawn by lot (`tests/agreement/written_options.py`) is proved as a family, and a sample
of its configurations one by one: every verdict must be the same.  Seconds are those of the processor, both in one run.
"""

from __future__ import annotations

import argparse
import random
from dataclasses import dataclass
from time import process_time

from interlock.hold.compile.compiler import compile_hold
from interlock.hold.language.model import Hold, RequirementText
from interlock.hold.loader import Source, load_family, load_hold
from interlock.kernel.claims import Limits
from interlock.prove.decide import decide
from interlock.study.families.families import Family, prove_family
from interlock.study.verify import Status, verify
from tests.agreement.hold_texts import fetch, standing
from tests.agreement.written_options import options_text


@dataclass(frozen=True, slots=True)
class Judged:
    """What one seed came to: seconds for the family, and for one configuration by itself on average."""

    family: Family
    seconds: float
    each: float
    sampled: int
    compared: int
    open: int
    different: tuple[str, ...]


def given(hold: Hold) -> tuple[RequirementText, ...]:
    """The standing requirements that the hold does not replace."""
    return hold.not_replaced(standing())


def judge(base: str, seed: int, count: int, sample: int, seconds: float | None = None) -> Judged:
    """Proves the family of a hold of `models`, and a sample of its configurations one by one."""
    source = fetch(f"models/{base}.yaml")
    assert source is not None
    hold = load_hold(source, fetch).value
    assert hold is not None
    text = options_text(hold, f"{base}.yaml", seed, count)
    fitting = load_family(Source("models/with-options.yaml", text.encode()), fetch)
    began = process_time()
    family = prove_family(fitting, given, None, Limits(seconds=seconds))
    took = process_time() - began
    space = family.space
    every = list(space.each(family.compiling))
    chosen = random.Random(seed).sample(every, min(sample, len(every)))
    began, compared, undecided, different = process_time(), 0, 0, []
    for fitted in chosen:
        described = fitting(fitted).value
        assert described is not None, fitted
        compiled = compile_hold(described, given(described)).compiled
        assert compiled is not None, fitted
        answers = {
            a.instance.requirement.id: a.status for a in verify(compiled, decide, Limits(seconds=seconds)).answers
        }
        here = {one.instance.requirement.id: one.status_in(space.alone(fitted)) for one in family.outcomes}
        for id in answers.keys() | {id for id, status in here.items() if status is not None}:
            if Status.UNDECIDED in (answers.get(id), here.get(id)):
                undecided += 1
            elif answers.get(id) is not here.get(id):
                different.append(f"{sorted(fitted)} {id}: {here.get(id)} in the family, {answers.get(id)} alone")
            compared += 1
    each = (process_time() - began) / max(1, len(chosen))
    return Judged(family, took, each, len(chosen), compared, undecided, tuple(different))


def main() -> None:
    """Prints a line for each seed."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("hold", help="a hold of models, without its ending")
    parser.add_argument("first", type=int)
    parser.add_argument("count", type=int)
    parser.add_argument("--options", type=int, default=8)
    parser.add_argument("--sample", type=int, default=8)
    parser.add_argument("--limit", type=float, default=None, help="seconds for the family, and for each by itself")
    asked = parser.parse_args()
    for seed in range(asked.first, asked.first + asked.count):
        found = judge(asked.hold, seed, asked.options, asked.sample, asked.limit)
        space = found.family.space
        print(
            f"{asked.hold} {seed}: {found.family.compiling.bit_count()} of {space.allowed.bit_count()} configurations, "
            f"{found.family.compared.bit_count()} compared, {found.seconds:.1f} s; alone {found.each:.2f} s each, "
            f"{found.family.compiling.bit_count() * found.each / found.seconds:.0f} times; {found.compared} verdicts "
            f"of {found.sampled} compared, {found.open} undecided, {len(found.different)} different"
            + (f"; not merged: {found.family.unmerged}" if found.family.unmerged else ""),
            flush=True,
        )
        for line in found.different[:5]:
            print("  ", line, flush=True)


if __name__ == "__main__":
    main()
