"""Arguments, files, standard output, progress and exit codes; starts without loading a solver."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from importlib import import_module
from textwrap import fill

import click

from interlock import __version__
from interlock.cli.exit_codes import DONE, INTERNAL_FAULT, PIPE_CLOSED, PROVING, REJECTED, STOPPED
from interlock.cli.streams import Unwritten, watched_streams
from interlock.diagnostics.nearest import nearest_name
from interlock.diagnostics.visible import visible

COMMANDS = {
    "prove": "Prove the requirements of holds, or show how each one breaks.",
    "failures": "Find which failures break a requirement, alone or together.",
    "compare": "Compare a modified hold with the old one.",
    "contacts": "Say what each contact is for: what fails without it.",
    "defer": "Find what fails with an item inoperative, and what suffices.",
    "family": "Prove every combination of the options of a hold in one run.",
    "repair": "Find the smallest changes that mend what fails.",
    "fleet": "Prove all aircraft of a fleet, and say what tells them apart.",
    "audit": "Audit a written procedure, and what slips in it lead to.",
    "checklist": "Make a checklist that is proved: load, unload, or reach a goal.",
    "test": "Make a functional test: steps in which failures show.",
    "teach": "Make a page on which a hold can be worked, followed and exercised.",
    "questions": "Make a sheet of questions for a class, with its answers.",
    "describe": "Say what a description contains and what a proof would assume.",
    "draw": "Draw the plan, the unit moves or a kind of device.",
    "count": "Count the reachable states of a hold exactly.",
    "walk": "Work a hold by hand, one step after another.",
    "requirements": "List the standing requirements with their sources.",
    "explain": "Explain a message, a requirement or a word of the trade.",
    "edit-server": "Help an editor while descriptions are written (LSP).",
    "schema": "Print the JSON Schema of a file format.",
}
"""Every command with its one line; each lives in the module of its name and is loaded when it is called."""


class Commands(click.Group):
    """Loads a command's module only when it is called; help needs none of them."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """In the order of the table."""
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, name: str) -> click.Command | None:
        """The command, or None for an unknown name."""
        if name not in COMMANDS:
            return None
        command = import_module(f"interlock.cli.{name.replace('-', '_')}").command
        assert isinstance(command, click.Command)  # noqa: S101 -- each of our own modules defines one
        return command

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """As click does it, with a hint for a name that is nearly one of ours."""
        if args and args[0] not in COMMANDS and not args[0].startswith("-"):
            hint = nearest_name(args[0], COMMANDS)
            ctx.fail(f"No such command {args[0]!r}." + (f" Did you mean {hint!r}?" if hint else ""))
        return super().resolve_command(ctx, args)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """From the table, so that no module is loaded."""
        with formatter.section("Commands"):
            formatter.write_dl(list(COMMANDS.items()))


@click.command(
    cls=Commands,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 80},
    epilog=PROVING,
    help="Proves that no sequence of operation of a powered aircraft cargo hold breaks its interlocks, or shows the "
    "shortest sequence of steps that does.",
)
@click.option("--debug", is_flag=True, help="Show where inside the program a fault happened.")
@click.version_option(__version__, prog_name="interlock", message="%(prog)s %(version)s")
def commands(debug: bool) -> None:
    """The program; each command does the work."""


def run(args: Sequence[str]) -> int:
    """Runs one command line and gives its exit code; nothing but a fault of our own gets past it.

    The code is 0 only where everything that was to be written was.
    """
    with watched_streams() as is_lost:
        code = _run(args)
        return REJECTED if code == DONE and is_lost() else code


def _run(args: Sequence[str]) -> int:
    try:
        code = commands.main(args=list(args), prog_name="interlock", standalone_mode=False)
        sys.stdout.flush()
    except click.ClickException as fault:
        _show(fault)
        return REJECTED
    except (click.Abort, KeyboardInterrupt):
        click.echo("Stopped.", err=True)
        return STOPPED
    except Unwritten as fault:
        if fault.reader_is_gone:
            return PIPE_CLOSED
        _show(click.ClickException(f"cannot write the output: {fault}"))
        return REJECTED
    except Exception as fault:
        return _own(fault, args)
    return code if isinstance(code, int) else DONE


def _own(fault: Exception, args: Sequence[str]) -> int:
    """Says that the fault is ours; with --debug it goes on instead."""
    if "--debug" in args:
        raise fault
    click.echo(
        f"interlock {__version__}: a fault inside this program, not in what you wrote: "
        f"{type(fault).__name__}: {visible(str(fault))}\n"
        "Run 'interlock --debug ...' to see where, and send that with your files to the maintainers.",
        err=True,
    )
    return INTERNAL_FAULT


def _show(fault: click.ClickException) -> None:
    """As click does it, in lines of at most 80 columns; names are never broken."""
    if isinstance(fault, click.exceptions.NoArgsIsHelpError):
        click.echo(fault.format_message(), err=True)
        return
    if isinstance(fault, click.UsageError) and fault.ctx is not None:
        click.echo(fault.ctx.get_usage(), err=True)
        click.echo(f"Try '{fault.ctx.command_path} --help' for help.\n", err=True)
    for line in visible(f"Error: {fault.format_message()}").split("\n"):
        click.echo(fill(line, 80, subsequent_indent="  ", break_long_words=False, break_on_hyphens=False), err=True)
