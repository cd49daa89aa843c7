"""`interlock failures`: which failures, alone or together, break a requirement."""

from __future__ import annotations

import click

from interlock.cli.exit_codes import FAILING, code_of_failures
from interlock.cli.options import catalogue_option, only_option, situation_option
from interlock.cli.session import Session, study_options

MOST_TOLD = 3
"""Of so many sets the run is told where nobody says of how many."""
ANALYSING = 0.7
"""The part of the time for the sets where the normal course or a check is followed too."""


@click.command(
    name="failures",
    help="Find which failures of the equipment break a requirement, alone or together: all smallest sets of them, with "
    "the proof that there are no others. Everything may fail that the catalogue of failures has and the description "
    "does not exclude. HOLD is a description file, '-' for standard input, or 'demo:NAME'.",
    epilog=FAILING,
)
@click.argument("hold")
@catalogue_option
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
@click.option(
    "--check",
    "checked",
    multiple=True,
    metavar="PROCEDURE",
    help="Say also which failures show in this procedure, worked as a check of the equipment: only what it says must "
    "be so is looked at. It is worked on HOLD, whatever hold it names. May be repeated.",
)
@only_option
@click.option(
    "--together",
    "size",
    metavar="NUMBER",
    type=click.IntRange(min=1, max=3),
    default=1,
    show_default=True,
    help="How many failures are asked about together.",
)
@click.option(
    "--runs",
    "told",
    metavar="NUMBER",
    type=click.IntRange(min=0),
    default=MOST_TOLD,
    show_default=True,
    help="Of so many sets, the smallest first, show step by step how one requirement breaks.",
)
@situation_option
@study_options(
    "failures",
    "Requirements to add",
    "Ask",
    time="Give up after this many seconds.",
    verbose="Name every requirement that a set breaks.",
)
def command(
    asked: Session,
    hold: str,
    catalogue: str | None,
    rated: str | None,
    declared: bool,
    course: bool,
    checked: tuple[str, ...],
    only: tuple[str, ...],
    size: int,
    told: int,
) -> int:
    """Opens, analyses, shows."""
    from interlock.cli.opening import check_only, open_catalogue, open_check, open_rates, rates_for
    from interlock.cli.refusals import usable
    from interlock.hold.catalogue import everything_fails
    from interlock.report.views.failure_rates import GivenRates
    from interlock.report.views.failures import failures_view
    from interlock.study.failures import analyse_failures
    from interlock.study.functional_test.course import follow_course
    from interlock.study.functional_test.stated import follow_check

    if declared and catalogue is not None:
        raise click.UsageError("--declared and --catalogue: one of the two.")
    known, listed = usable("failures", open_catalogue(catalogue))
    texts = asked.texts()
    given = None if rated is None else usable(rated, open_rates(rated))
    prepare = None if declared else (lambda hold: everything_fails(hold, known).hold)
    opened = asked.open(hold, texts, prepare)
    compiled = opened.compiled
    if not compiled.hold.failures:
        raise click.UsageError(f"{opened.label}: there is nothing in it that could fail, as far as it is described.")
    check_only([opened], only)
    reckoned = everything_fails(compiled.hold, known)
    rates = None
    if given is not None and rated is not None:
        rates = GivenRates(rated, usable(rated, rates_for(given, compiled.hold, reckoned.failures)))
    checks = [(name, *usable(name, open_check(name, compiled.hold, texts))) for name in checked]
    with asked.work() as work:
        with work.shown(opened.label) as report:
            limits = work.limits(ANALYSING if course or checks else 1)
            analysis = analyse_failures(compiled, size, limits, report, only or None)
            followed = follow_course(compiled, work.limits(), report) if course else None
            shows = [(name, follow_check(bound, work.limits(), report)) for name, bound, _ in checks]
        code = code_of_failures(analysis)
        shown = 0 if work.stop.asked else told
        read = (*opened.read, *(() if declared else listed), *(() if given is None else given.read))
        read += tuple(one for _, _, files in checks for one in files)
        left = asked.left()
        view = failures_view(opened.label, analysis, reckoned, code, shown, left, rates, followed, shows, read)
        work.show(view)
    return code
