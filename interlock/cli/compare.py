"""`interlock compare`: what is otherwise in a hold than it was in another."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from interlock.cli.exit_codes import COMPARING, code_of_comparison, code_of_hold
from interlock.cli.options import situation_option
from interlock.cli.session import Session, study_options

if TYPE_CHECKING:
    from interlock.cli.opening import Opened
    from interlock.report.views.proof import ProofView
    from interlock.study.comparison.compare import Comparison

MOST_TOLD = 1
"""Of so many differences of each sort the sequence is told where nobody says of how many."""


@click.command(
    name="compare",
    help="Compare two holds: what is written otherwise, what became of each requirement, which steps are newly "
    "possible, no longer possible or lead elsewhere, and which equipment is driven, powered or on otherwise; each with "
    "a shortest sequence, or the proof that there is none. FIRST is the old hold and SECOND the new one; for a "
    "modification alone, the hold that it modifies is the old one.",
    epilog=COMPARING,
)
@click.argument("first")
@click.argument("second", required=False)
@click.option("--verdicts/--no-verdicts", default=True, help="Prove the requirements of both holds, or leave that out.")
@click.option("--every", is_flag=True, help="Ask about every single step and state of a kind that is otherwise.")
@click.option(
    "--same",
    "pairs",
    multiple=True,
    metavar="OLD=NEW",
    help="The thing OLD of the first hold is NEW in the second. May be repeated.",
)
@click.option(
    "--runs",
    "told",
    metavar="NUMBER",
    type=click.IntRange(min=0),
    default=MOST_TOLD,
    show_default=True,
    help="Of so many differences of each sort, the nearest first, show the sequence step by step.",
)
@situation_option
@study_options(
    "compare",
    "Requirements to add",
    "Ask",
    time="Give up after this many seconds.",
    verbose="Show every sequence and name every step.",
)
def command(
    asked: Session,
    first: str,
    second: str | None,
    verdicts: bool,
    every: bool,
    pairs: tuple[str, ...],
    told: int,
) -> int:
    """Opens both, compares, shows."""
    from interlock.cli.opening import base_of, named_pairs
    from interlock.report.views.comparison import comparison_view
    from interlock.study.comparison.compare import compare_holds
    from interlock.study.comparison.matching import Unmatchable

    texts = asked.texts()
    said = named_pairs(pairs)
    new = asked.open(first if second is None else second, texts)
    old = asked.open(base_of(new) if second is None else first, texts)
    with asked.work() as work:
        limits = work.limits()
        try:
            with work.shown(new.label) as report:
                comparison = compare_holds(
                    old.compiled, new.compiled, said, new.without, limits, report, verdicts=verdicts, every=every
                )
        except Unmatchable as fault:
            raise click.UsageError(f"--same: {fault}.") from fault
        code = code_of_comparison(comparison)
        view = comparison_view((old.label, new.label), comparison, code, new.read, old.read)
        both = both_proofs(comparison, old, new) if asked.shape.name == "sarif" else None
        work.show(view, told=told, both=both)
    return code


def both_proofs(comparison: Comparison, old: Opened, new: Opened) -> tuple[ProofView, ProofView] | None:
    """What is told of the proofs of both holds; None where they were left out."""
    from interlock.report.views.proof import proof_view

    if comparison.proofs is None:
        return None
    first, second = (
        proof_view(one.label, proof, one.texts, code_of_hold(proof), one.replaced, read=one.read)
        for one, proof in zip((old, new), comparison.proofs, strict=True)
    )
    return first, second
