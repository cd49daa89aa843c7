"""`interlock contacts`: what each contact is for."""

from __future__ import annotations

import click

from interlock.cli.exit_codes import PURPOSES, code_of_contacts
from interlock.cli.options import only_option, situation_option
from interlock.cli.session import Session, study_options


@click.command(
    name="contacts",
    help="Say what each contact of the wiring is for: which requirement breaks, and what can no longer be done, where "
    "it is as if it were not there, and what its opposite does. Contacts that nothing needs are named. HOLD is a "
    "description file, '-' for standard input, or 'demo:NAME'.",
    epilog=PURPOSES,
)
@click.argument("hold")
@only_option
@click.option(
    "--together",
    "size",
    metavar="NUMBER",
    type=click.IntRange(min=1, max=2),
    default=1,
    show_default=True,
    help="Ask about one contact alone, or about pairs as well: one more contact is not there either, or something else "
    "has failed that the hold declares.",
)
@situation_option
@study_options(
    "contacts",
    "Requirements to add",
    "Ask",
    time="Give up after this many seconds.",
    verbose="Name every requirement and every step.",
)
def command(asked: Session, hold: str, only: tuple[str, ...], size: int) -> int:
    """Opens, analyses, shows."""
    from interlock.cli.opening import check_only, open_catalogue
    from interlock.cli.refusals import usable
    from interlock.hold.compile.contacts import contact_items
    from interlock.report.views.contacts import contacts_view
    from interlock.study.contacts.purposes import analyse_contacts, failing_contacts

    known, listed = usable("failures", open_catalogue(None))
    opened = asked.open(hold, asked.texts(), lambda hold: failing_contacts(hold, known).hold)
    if not contact_items(opened.compiled.hold, opened.compiled.world):
        raise click.UsageError(f"{opened.label}: there is no contact in it, as far as it is described.")
    check_only([opened], only)
    with asked.work() as work:
        with work.shown(opened.label) as report:
            analysis = analyse_contacts(opened.compiled, size, work.limits(), report, only or None)
        reckoned = failing_contacts(opened.compiled.hold, known)
        view = contacts_view(opened.label, analysis, reckoned, code_of_contacts(analysis), (*opened.read, *listed))
        work.show(view)
    return view.facts.exit_code
