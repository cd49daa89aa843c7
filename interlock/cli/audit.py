"""`interlock audit`: is a written procedure right, and what do slips lead to?"""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from interlock.cli.exit_codes import code_of_audit, help_text
from interlock.cli.session import Session, study_options
from interlock.cli.watching import watch_option
from interlock.diagnostics.visible import visible

if TYPE_CHECKING:
    from interlock.hold.compile.compiler import CompiledHold
    from interlock.hold.loader import FileRead
    from interlock.hold.procedure.binding import BoundProcedure


@click.command(
    name="audit",
    help="Audit a written PROCEDURE against the hold that it names: is each action possible, is every requirement kept "
    "and the goal reached, what if people are called away or power is lost, what do slips lead to, and what holds each "
    "requirement: the interlock, or only the procedure. PROCEDURE is a file, or 'demo:procedures/NAME'.",
    epilog=help_text(
        "nothing was found, but perhaps slips that nobody notices",
        "an action, a requirement, the goal, an interruption, a slip or a\n      failure goes wrong",
        "something is undecided (a limit was reached)",
    ),
)
@click.argument("procedure", metavar="PROCEDURE")
@click.option("--slips/--no-slips", default=True, help="Follow every slip and every pair of slips, or none.")
@click.option(
    "--interlock/--no-interlock",
    "alone",
    default=True,
    help="Prove what the interlock holds by itself, or leave that open.",
)
@watch_option("procedure", "files")
@study_options(
    "audit",
    "Requirements to add",
    "Ask",
    time="Give up after this many seconds, the reading of files included.",
    verbose="List every slip and every interruption.",
)
def command(asked: Session, procedure: str, slips: bool, alone: bool) -> int:
    """Opens, audits, shows."""
    from interlock.cli.methods import engine_of
    from interlock.report.views.audit import audit_view
    from interlock.study.procedure.audit import audit_procedure

    bound, free, read = open_procedure(procedure, asked.files, asked.standing)
    with asked.work() as work:
        engine = engine_of("combined") if alone else None
        with work.shown(procedure) as report:
            audit = audit_procedure(bound, engine, work.limits(), report, slips=slips, alone=free)
        view = audit_view(audit, procedure, code_of_audit(audit.overall), read)
        took = work.show(view)
        if asked.shape.name != "text" or asked.output is not None:
            click.echo(f"{visible(procedure)}: {view.summary(took)}", err=True)
    return view.facts.exit_code


def open_procedure(
    name: str, files: tuple[str, ...], standing: bool
) -> tuple[BoundProcedure, CompiledHold | None, tuple[FileRead, ...]]:
    """Reads a procedure and the hold that it names, and binds one to the other.

    Gives the hold started freely as well, and the files that were read.

    Shows what is doubtful.  Raises click.UsageError where a file cannot be read, and as `usable` does.
    """
    from interlock.cli.opening import Rejected, open_texts
    from interlock.cli.reading import fetch, read_source
    from interlock.cli.refusals import show_warnings, usable
    from interlock.hold import procedures

    texts = usable(name, open_texts(files, standing))
    opened = procedures.open_procedure(read_source(name), fetch, texts.by_id.values())
    told = Rejected(opened.diagnostics, {**texts.sources, **opened.sources})
    bound = usable(name, told if opened.bound is None else opened.bound)
    show_warnings(told)
    return bound, opened.freely, (*opened.read, *texts.read)
