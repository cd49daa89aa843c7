"""`interlock questions`: a sheet of questions for a class."""

from __future__ import annotations

import click

from interlock.cli.languages import chosen_language, language_option
from interlock.cli.options import situation_option
from interlock.cli.session import Session, study_options
from interlock.cli.teach import identified, refuse, rehearse

MOST = 40


@click.command(
    name="questions",
    help="Make a sheet of questions about working HOLD towards a goal, with a sheet of answers: what can be done next, "
    "why nothing moves, which step stands too early. Wrong answers are what people do wrong. Another --seed gives "
    "another sheet. HOLD is a description file, '-' for standard input, or 'demo:NAME'.",
)
@click.argument("hold", metavar="HOLD")
@click.option("--load", "load", metavar="LOAD", help="About loading: 'all:KIND', or '3L=HALF,3R=HALF'.")
@click.option("--unload", "unload", metavar="BAYS", help="About unloading: 'all', or bays: '3L,3R'.")
@click.option("--goal", "goal", metavar="EXPR", help="About this goal, such as 'D1 is open and PWR is off'.")
@click.option(
    "--seed", metavar="NUMBER", type=click.IntRange(0, 2**31), default=1, show_default=True, help="Which sheet."
)
@click.option(
    "--number",
    metavar="NUMBER",
    type=click.IntRange(1, MOST),
    default=6,
    show_default=True,
    help="How many questions at most.",
)
@language_option
@situation_option
@study_options(
    "questions",
    "Keep these requirements on the way as well",
    "Keep",
    time="Give up planning after this many seconds.",
    verbose=None,
)
def command(
    asked: Session,
    hold: str,
    load: str | None,
    unload: str | None,
    goal: str | None,
    seed: int,
    number: int,
    language: str,
) -> int:
    """Opens, plans, asks, shows."""
    from interlock.report.views.exercises import Rehearsed
    from interlock.report.views.questions import sheet_view

    wanted = load, unload, goal
    if sum(text is not None for text in wanted) != 1:
        raise click.UsageError("Say what is asked about: one of --load, --unload and --goal, and only one.")
    told_in = chosen_language(language, asked)
    opened = asked.open(hold, asked.texts())
    with asked.work() as work:
        planned, code = rehearse(opened, wanted, work)
        if not isinstance(planned, Rehearsed):
            refuse(planned, told_in)
            return code
        view = sheet_view(identified(opened), planned, seed, number)
        if not view.questions:
            raise click.ClickException("Nothing can be asked about so short an order of work; ask about a larger load.")
        work.screen.show(asked.shape.render({"view": view, "language": told_in}))
        work.screen.close()
    if len(view.questions) < number:
        click.echo(f"{len(view.questions)} questions: this order of work gives no more.", err=True)
    return code
