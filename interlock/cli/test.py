"""`interlock test`: a functional test, and which failures it shows."""

from __future__ import annotations

from pathlib import Path
from time import monotonic

import click

from interlock.cli.exit_codes import TESTING, code_of_test
from interlock.cli.formats import chosen_format, format_option
from interlock.cli.options import requirements_option, seconds_left, situation_option, standing_option, time_option
from interlock.cli.screen import Screen, color_option, output_option


@click.command(
    name="test",
    help="Make a functional test of HOLD: steps that people take, with what must be seen after each. On a sound hold "
    "every observation is certain; each failure that the test shows makes at least one differ for certain. HOLD is a "
    "description file, '-' for standard input, or 'demo:NAME'.",
    epilog=TESTING,
)
@click.argument("hold")
@requirements_option("Requirements to keep on the way; one with the id of a standing requirement replaces it.")
@standing_option("Keep")
@click.option("--catalogue", metavar="FILE", help="Take what can fail from this file in place of the standing one.")
@click.option("--changed", is_flag=True, help="Test only what the modification touches that HOLD is.")
@click.option("--units", is_flag=True, help="Units may be brought in; else the hold stays empty.")
@situation_option
@time_option("Look no longer than so many seconds for steps that show more.")
@format_option("test", "'html' is a page to print; 'json' is for other programs.")
@output_option
@click.option("-v", "--verbose", is_flag=True, help="Name every failure, with the step that shows it or why none does.")
@color_option
def command(
    hold: str,
    files: tuple[str, ...],
    standing: bool,
    catalogue: str | None,
    changed: bool,
    units: bool,
    situation: str | None,
    seconds: float | None,
    layout: str | None,
    output: Path | None,
    verbose: bool,
    color: str,
) -> int:
    """Opens, makes, shows."""
    from interlock.cli.opening import open_catalogue, open_texts
    from interlock.cli.progress import shown_progress
    from interlock.cli.refusals import usable, usable_hold
    from interlock.cli.stopping import noted_stop
    from interlock.hold.catalogue import everything_fails
    from interlock.hold.compile.compiler import compile_hold
    from interlock.kernel.claims import Limits
    from interlock.report.views.functional_test import functional_test_view
    from interlock.study.functional_test.changed import touched_failures
    from interlock.study.functional_test.making import make_test

    began = monotonic()
    shape = chosen_format("test", layout, output)
    known = usable("failures", open_catalogue(catalogue))
    texts = usable("requirements", open_texts(files, standing))
    opened = usable_hold(hold, texts, situation, lambda hold: everything_fails(hold, known).hold)
    compiled = opened.compiled
    if not compiled.hold.failures:
        raise click.UsageError(f"{opened.label}: there is nothing in it that could fail, as far as it is described.")
    asked = None
    if changed:
        old = opened.without(frozenset(change.item for change in compiled.hold.changes))
        before = None if old is None else compile_hold(everything_fails(old, known).hold, (), situation).compiled
        if not compiled.hold.changes or before is None:
            raise click.UsageError(f"--changed: {opened.label} is no modification of a hold that stands by itself.")
        asked = touched_failures(compiled, before)
    screen = Screen(output, color)
    with noted_stop() as stop:
        limits = Limits(seconds=seconds_left(seconds, began), stop=stop.is_asked)
        with stop.tearing(), shown_progress(opened.label, shape.name != "text") as report:
            test = make_test(compiled, limits, report, asked, units)
        if test is None:
            raise click.UsageError(f"{opened.label}: it has no way to begin.")
        view = functional_test_view(
            opened.label, test, everything_fails(compiled.hold, known), code_of_test(test), changed
        )
        screen.show(shape.render({"view": view, "facts": view.facts, "verbose": verbose}))
        screen.close()
    return view.facts.exit_code
