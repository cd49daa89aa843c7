"""`interlock failures`: which failures, alone or together, break a requirement."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from time import monotonic

import click

from interlock.cli.exit_codes import FAILING, code_of_failures
from interlock.cli.formats import chosen_format, format_option
from interlock.cli.options import requirements_option, seconds_left, situation_option, standing_option, time_option
from interlock.cli.screen import Screen, color_option, output_option

MOST_TOLD = 3
"""Of so many sets the run is told where nobody says of how many."""
ANALYSING = 0.7
"""The part of the time for the sets where the normal course is followed too."""


@click.command(
    name="failures",
    help="Find which failures of the equipment break a requirement, alone or together: all smallest sets of them, with "
    "the proof that there are no others. Everything may fail that the catalogue of failures has and the description "
    "does not exclude. HOLD is a description file, '-' for standard input, or 'demo:NAME'.",
    epilog=FAILING,
)
@click.argument("hold")
@requirements_option("Requirements to add; one with the id of a standing requirement replaces it.")
@standing_option("Ask")
@click.option("--catalogue", metavar="FILE", help="Take what can fail from this file in place of the standing one.")
@click.option(
    "--rates",
    "rated",
    metavar="FILE",
    help="Work out how likely the sets are, from the failure rates and exposure times of this file, each with its "
    "source. None come with the program.",
)
@click.option("--declared", is_flag=True, help="Reckon only with the failures that the description declares.")
@click.option(
    "--course", is_flag=True, help="Say also which failures show while the hold is filled, shut and emptied again."
)
@click.option("--only", multiple=True, metavar="ID", help="Ask only this requirement. May be repeated.")
@situation_option
@click.option(
    "--together",
    "size",
    type=click.IntRange(min=1, max=3),
    default=1,
    show_default=True,
    help="How many failures are asked about together.",
)
@click.option(
    "--runs",
    "told",
    type=click.IntRange(min=0),
    default=MOST_TOLD,
    show_default=True,
    help="Of so many sets, the smallest first, show step by step how one requirement breaks.",
)
@time_option("Give up after this many seconds.")
@format_option("failures", "'json' is for other programs.")
@output_option
@click.option("-v", "--verbose", is_flag=True, help="Name every requirement that a set breaks.")
@color_option
def command(
    hold: str,
    files: tuple[str, ...],
    standing: bool,
    catalogue: str | None,
    rated: str | None,
    declared: bool,
    course: bool,
    only: tuple[str, ...],
    situation: str | None,
    size: int,
    told: int,
    seconds: float | None,
    layout: str | None,
    output: Path | None,
    verbose: bool,
    color: str,
) -> int:
    """Opens, analyses, shows."""
    from interlock.cli.opening import check_only, open_catalogue, open_rates, open_texts, rates_for
    from interlock.cli.progress import shown_progress
    from interlock.cli.refusals import usable, usable_hold
    from interlock.cli.stopping import noted_stop
    from interlock.hold.catalogue import everything_fails
    from interlock.kernel.claims import Limits
    from interlock.report.views.failure_rates import GivenRates
    from interlock.report.views.failures import failures_view
    from interlock.study.failures import analyse_failures
    from interlock.study.functional_test.course import follow_course

    if declared and catalogue is not None:
        raise click.UsageError("--declared and --catalogue: one of the two.")
    began = monotonic()
    shape = chosen_format("failures", layout, output)
    known = usable("failures", open_catalogue(catalogue))
    texts = usable("requirements", open_texts(files, standing))
    given = None if rated is None else usable(rated, open_rates(rated))
    prepare = None if declared else (lambda hold: everything_fails(hold, known).hold)
    opened = usable_hold(hold, texts, situation, prepare)
    if not opened.compiled.hold.failures:
        raise click.UsageError(f"{opened.label}: there is nothing in it that could fail, as far as it is described.")
    check_only([opened], only)
    reckoned = everything_fails(opened.compiled.hold, known)
    rates = None
    if given is not None and rated is not None:
        rates = GivenRates(rated, usable(rated, rates_for(*given, opened.compiled.hold, reckoned.failures)))
    screen = Screen(output, color)
    with noted_stop() as stop:
        limits = Limits(seconds=seconds_left(seconds, began), stop=stop.is_asked)
        with stop.tearing(), shown_progress(opened.label, False) as report:
            first = limits if seconds is None or not course else replace(limits, seconds=ANALYSING * seconds)
            analysis = analyse_failures(opened.compiled, size, first, report, only or None)
            rest = replace(limits, seconds=seconds_left(seconds, began))
            followed = follow_course(opened.compiled, rest, report) if course else None
        code = code_of_failures(analysis)
        shown = 0 if stop.asked else told
        left = seconds_left(seconds, began)
        view = failures_view(opened.label, analysis, reckoned, code, shown, left, rates, followed)
        parts = {"view": view, "facts": view.facts, "verbose": verbose, "seconds": monotonic() - began}
        screen.show(shape.render(parts))
        screen.close()
    return code
