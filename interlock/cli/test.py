"""`interlock test`: a functional test, and which failures it shows."""

from __future__ import annotations

import click

from interlock.cli.exit_codes import TESTING, code_of_test
from interlock.cli.options import catalogue_option, situation_option
from interlock.cli.session import Session, study_options


@click.command(
    name="test",
    help="Make a functional test of HOLD: steps that people take, with what must be seen after each. On a sound hold "
    "every observation is certain; each failure that the test shows makes at least one differ for certain. HOLD is a "
    "description file, '-' for standard input, or 'demo:NAME'.",
    epilog=TESTING,
)
@click.argument("hold")
@catalogue_option
@click.option("--changed", is_flag=True, help="Test only what the modification touches that HOLD is.")
@click.option("--units", is_flag=True, help="Units may be brought in; else the hold stays empty.")
@situation_option
@study_options(
    "test",
    "Requirements to keep on the way",
    "Keep",
    time="Look no longer than so many seconds for steps that show more.",
    verbose="Name every failure, with the step that shows it or why none does.",
)
def command(asked: Session, hold: str, catalogue: str | None, changed: bool, units: bool) -> int:
    """Opens, makes, shows."""
    from interlock.cli.opening import open_catalogue
    from interlock.cli.refusals import usable
    from interlock.hold.catalogue import everything_fails
    from interlock.hold.compile.compiler import compile_hold
    from interlock.report.views.functional_test import functional_test_view
    from interlock.study.functional_test.changed import touched_failures
    from interlock.study.functional_test.making import make_test

    known, listed = usable("failures", open_catalogue(catalogue))
    opened = asked.open(hold, asked.texts(), lambda hold: everything_fails(hold, known).hold)
    compiled = opened.compiled
    if not compiled.hold.failures:
        raise click.UsageError(f"{opened.label}: there is nothing in it that could fail, as far as it is described.")
    touched = None
    if changed:
        old = opened.without(frozenset(change.item for change in compiled.hold.changes))
        before = None if old is None else compile_hold(everything_fails(old, known).hold, (), asked.situation).compiled
        if not compiled.hold.changes or before is None:
            raise click.UsageError(f"--changed: {opened.label} is no modification of a hold that stands by itself.")
        touched = touched_failures(compiled, before)
    with asked.work() as work:
        with work.shown(opened.label, quiet=asked.shape.name != "text") as report:
            test = make_test(compiled, work.limits(), report, touched, units)
        if test is None:
            raise click.UsageError(f"{opened.label}: it has no way to begin.")
        reckoned = everything_fails(compiled.hold, known)
        view = functional_test_view(opened.label, test, reckoned, code_of_test(test), changed, (*opened.read, *listed))
        work.show(view)
    return view.facts.exit_code
