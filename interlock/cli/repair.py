"""`interlock repair`: what would mend a hold in which a requirement fails."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from interlock.cli.exit_codes import MENDING, code_of_repair
from interlock.cli.options import only_option, situation_option
from interlock.cli.reading import seen_from
from interlock.cli.session import Session, study_options, told_instead

if TYPE_CHECKING:
    from interlock.cli.opening import Opened
    from interlock.hold.language.model import Hold
    from interlock.study.repair.results import Part, Writer, Written


@click.command(
    name="repair",
    help="Where a requirement fails: find the smallest changes after which everything that is asked holds, what can "
    "be done included. One contact is tried in each circuit, command and inhibit, whatever of what the hold has it "
    "reads; then other changes. Up to three are offered, each as a modification that was proved as it is written. It "
    "proposes; it approves nothing.",
    epilog=MENDING,
)
@click.argument("hold")
@only_option
@click.option(
    "--every",
    is_flag=True,
    help="Settle every change of each sort that is looked at, and give all that do: this may take long.",
)
@click.option(
    "--number",
    metavar="NUMBER",
    type=click.IntRange(min=1),
    default=1,
    show_default=True,
    help="Which of the proposals is written as a modification file (--format modification).",
)
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
    "repair",
    "Requirements to add",
    "Ask",
    time="Give up after this many seconds.",
    verbose="Name all that fails, and show every modification.",
)
def command(asked: Session, hold: str, only: tuple[str, ...], every: bool, number: int, told: int) -> int:
    """Opens, looks for changes, shows."""
    from interlock.cli.opening import check_only
    from interlock.report.text.lines import as_text
    from interlock.report.text.repair import repair_report
    from interlock.report.views.repair import repair_view
    from interlock.study.repair.repair import MOST_OFFERED, repair

    if hold == "-":
        raise click.UsageError("Name a file: what is proposed is a modification of it, which names it.")
    opened = asked.open(hold, asked.texts())
    check_only([opened], only)
    is_file = asked.shape.name == "modification"
    writer = writer_of(opened, asked.output if is_file else None)
    chosen, most = only or None, None if every else MOST_OFFERED
    with asked.work() as work:
        with work.shown(opened.label) as report:
            found = repair(
                opened.compiled,
                writer,
                opened.without,
                work.limits(),
                report,
                chosen=chosen,
                most=most,
                thorough=every,
            )
        code = code_of_repair(found)
        view = repair_view(opened.label, opened.compiled, found, code, opened.read)
        if is_file and number > len(view.facts.proposals):
            told_instead(as_text(repair_report(view, told, asked.verbose, None)))
        else:
            work.show(view, told=told, number=number)
    return code


def writer_of(opened: Opened, output: Path | None) -> Writer:
    """Writes modifications of the hold as a file at that place, or in the working folder, would say them."""
    from interlock.cli.reading import fetch
    from interlock.hold.compile.compiler import compile_hold
    from interlock.hold.loader import Source, load_hold
    from interlock.report.views.repair import about_change, title_of
    from interlock.report.yaml.modification import modification_text
    from interlock.study.repair.results import Written

    here = Path("proposed-change.yaml") if output is None else output
    hold = opened.compiled.hold
    named = seen_from(opened.label, here)

    def write(changed: Hold, parts: Sequence[Part]) -> Written:
        try:
            text = modification_text(title_of(hold.title), about_change(tuple(parts)), named, hold, changed)
        except ValueError:
            # an item of a modification may say what was so already
            return Written("", None)
        loaded = load_hold(Source(here.as_posix(), text.encode()), fetch).value
        if loaded is None:
            return Written(text, None)
        return Written(text, compile_hold(loaded, opened.given, opened.compiled.situation).compiled)

    return write
