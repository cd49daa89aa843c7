"""`interlock contacts`: what each contact is for."""

from __future__ import annotations

from pathlib import Path
from time import monotonic

import click

from interlock.cli.exit_codes import PURPOSES, code_of_contacts
from interlock.cli.formats import chosen_format, format_option
from interlock.cli.options import requirements_option, seconds_left, situation_option, standing_option, time_option
from interlock.cli.screen import Screen, color_option, output_option


@click.command(
    name="contacts",
    help="Say what each contact of the wiring is for: which requirement breaks, and what can no longer be done, where "
    "it is as if it were not there, and what its opposite does. Contacts that nothing needs are named. HOLD is a "
    "description file, '-' for standard input, or 'demo:NAME'.",
    epilog=PURPOSES,
)
@click.argument("hold")
@requirements_option("Requirements to add; one with the id of a standing requirement replaces it.")
@standing_option("Ask")
@click.option("--only", multiple=True, metavar="ID", help="Ask only this requirement. May be repeated.")
@situation_option
@click.option(
    "--together",
    "size",
    type=click.IntRange(min=1, max=2),
    default=1,
    show_default=True,
    help="Ask about one contact alone, or about pairs as well, with one more contact or declared failure.",
)
@time_option("Give up after this many seconds.")
@format_option("contacts", "'json' is for other programs.")
@output_option
@click.option("-v", "--verbose", is_flag=True, help="Name every requirement and every step.")
@color_option
def command(
    hold: str,
    files: tuple[str, ...],
    standing: bool,
    only: tuple[str, ...],
    situation: str | None,
    size: int,
    seconds: float | None,
    layout: str | None,
    output: Path | None,
    verbose: bool,
    color: str,
) -> int:
    """Opens, analyses, shows."""
    from interlock.cli.opening import check_only, open_catalogue, open_texts
    from interlock.cli.progress import shown_progress
    from interlock.cli.refusals import usable, usable_hold
    from interlock.cli.stopping import noted_stop
    from interlock.hold.compile.contacts import contact_items
    from interlock.kernel.claims import Limits
    from interlock.report.views.contacts import contacts_view
    from interlock.study.contacts.purposes import analyse_contacts, failing_contacts

    began = monotonic()
    shape = chosen_format("contacts", layout, output)
    known = usable("failures", open_catalogue(None))
    texts = usable("requirements", open_texts(files, standing))
    opened = usable_hold(hold, texts, situation, lambda hold: failing_contacts(hold, known).hold)
    if not contact_items(opened.compiled.hold, opened.compiled.world):
        raise click.UsageError(f"{opened.label}: there is no contact in it, as far as it is described.")
    check_only([opened], only)
    screen = Screen(output, color)
    with noted_stop() as stop:
        limits = Limits(seconds=seconds_left(seconds, began), stop=stop.is_asked)
        with stop.tearing(), shown_progress(opened.label, False) as report:
            analysis = analyse_contacts(opened.compiled, size, limits, report, only or None)
        reckoned = failing_contacts(opened.compiled.hold, known)
        view = contacts_view(opened.label, analysis, reckoned, code_of_contacts(analysis))
        parts = {"view": view, "facts": view.facts, "verbose": verbose, "seconds": monotonic() - began}
        screen.show(shape.render(parts))
        screen.close()
    return view.facts.exit_code
