"""`interlock compare`: what is otherwise in a hold than it was in another."""

from __future__ import annotations

from pathlib import Path
from time import monotonic

import click

from interlock.cli.exit_codes import COMPARING, code_of_comparison
from interlock.cli.formats import chosen_format, format_option
from interlock.cli.options import requirements_option, seconds_left, situation_option, standing_option, time_option
from interlock.cli.screen import Screen, color_option, output_option

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
@requirements_option("Requirements to add; one with the id of a standing requirement replaces it.")
@standing_option("Ask")
@click.option("--verdicts/--no-verdicts", default=True, help="Prove the requirements of both holds, or leave that out.")
@click.option("--every", is_flag=True, help="Ask about every single step and state of a kind that is otherwise.")
@click.option(
    "--same",
    "pairs",
    multiple=True,
    metavar="OLD=NEW",
    help="The thing OLD of the first hold is NEW in the second. May be repeated.",
)
@situation_option
@click.option(
    "--runs",
    "told",
    type=click.IntRange(min=0),
    default=MOST_TOLD,
    show_default=True,
    help="Of so many differences of each sort, the nearest first, show the sequence step by step.",
)
@time_option("Give up after this many seconds.")
@format_option("compare", "'json' is for other programs.")
@output_option
@click.option("-v", "--verbose", is_flag=True, help="Show every sequence and name every step.")
@color_option
def command(
    first: str,
    second: str | None,
    files: tuple[str, ...],
    standing: bool,
    verdicts: bool,
    every: bool,
    pairs: tuple[str, ...],
    situation: str | None,
    told: int,
    seconds: float | None,
    layout: str | None,
    output: Path | None,
    verbose: bool,
    color: str,
) -> int:
    """Opens both, compares, shows."""
    from interlock.cli.opening import base_of, named_pairs, open_texts
    from interlock.cli.progress import shown_progress
    from interlock.cli.refusals import usable, usable_hold
    from interlock.cli.stopping import noted_stop
    from interlock.kernel.claims import Limits
    from interlock.report.views.comparison import comparison_view
    from interlock.study.comparison.compare import compare_holds
    from interlock.study.comparison.matching import Unmatchable

    began = monotonic()
    shape = chosen_format("compare", layout, output)
    texts = usable("requirements", open_texts(files, standing))
    said = named_pairs(pairs)
    new = usable_hold(first if second is None else second, texts, situation)
    old = usable_hold(base_of(new) if second is None else first, texts, situation)
    screen = Screen(output, color)
    with noted_stop() as stop:
        limits = Limits(seconds=seconds_left(seconds, began), stop=stop.is_asked)
        try:
            with stop.tearing(), shown_progress(new.label, False) as report:
                comparison = compare_holds(
                    old.compiled, new.compiled, said, new.without, limits, report, verdicts=verdicts, every=every
                )
        except Unmatchable as fault:
            raise click.UsageError(f"--same: {fault}.") from fault
        code = code_of_comparison(comparison)
        view = comparison_view((old.label, new.label), comparison, code)
        parts = {"view": view, "facts": view.facts, "told": told, "verbose": verbose, "seconds": monotonic() - began}
        screen.show(shape.render(parts))
        screen.close()
    return code
