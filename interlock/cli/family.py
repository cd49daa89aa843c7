"""`interlock family`: every allowed combination of the options of a hold, proved in one run."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from interlock.cli.exit_codes import OPTIONS, code_of_family
from interlock.cli.options import only_option, situation_option
from interlock.cli.session import Session, study_options

if TYPE_CHECKING:
    from interlock.hold.language.model import Hold, RequirementText


@click.command(
    name="family",
    help="Prove the requirements for every allowed combination of the options that a description declares, in one "
    "run. Of each requirement that fails it says with which options, by the smallest combination, and shows how. All "
    "combinations are made into one machine whose options are choices; so many of them are compiled and compared with "
    "it that what depends on three options together is seen; where there are no more than 64, or with --every, all.",
    epilog=OPTIONS,
)
@click.argument("hold")
@only_option
@click.option("--every", is_flag=True, help="Compile and compare every combination, however many there are.")
@click.option(
    "--runs",
    "told",
    metavar="NUMBER",
    type=click.IntRange(min=0),
    default=0,
    show_default=True,
    help="Of so many requirements that fail, show step by step how.",
)
@situation_option
@study_options(
    "family",
    "Requirements to add",
    "Ask",
    time="Give up after this many seconds.",
    verbose="Name every requirement that fails, and every combination.",
)
def command(asked: Session, hold: str, only: tuple[str, ...], every: bool, told: int) -> int:
    """Opens, proves, shows."""
    from interlock.report.views.family import family_view
    from interlock.study.families.configurations import TooManyOptions
    from interlock.study.families.families import prove_family

    texts = asked.texts()
    opened = asked.open(hold, texts)

    def given(described: Hold) -> tuple[RequirementText, ...]:
        return described.not_replaced(texts.by_id.values())

    with asked.work() as work:
        try:
            with work.shown(opened.label) as report:
                family = prove_family(
                    opened.family(), given, asked.situation, work.limits(), report, only or None, every=every
                )
        except TooManyOptions as fault:
            raise click.UsageError(f"{opened.label}: {fault}.") from fault
        code = code_of_family(family)
        work.show(family_view(opened.label, opened.compiled, family, code, opened.read), told=told)
    return code
