"""Faults of descriptions on standard error: all at once, by place, and how many there are."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, TypeVar

import click

from interlock.cli.exit_codes import REJECTED
from interlock.cli.opening import Opened, Rejected, Texts
from interlock.diagnostics.visible import visible

if TYPE_CHECKING:
    from interlock.hold.language.model import Hold

T = TypeVar("T")


def usable(label: str, opened: T | Rejected) -> T:
    """What was opened; where it is rejected, shows why and raises click.exceptions.Exit."""
    if isinstance(opened, Rejected):
        show_rejection(label, opened)
        raise click.exceptions.Exit(REJECTED)
    return opened


def usable_hold(
    name: str,
    texts: Texts | None = None,
    situation: str | None = None,
    prepare: Callable[[Hold], Hold] | None = None,
) -> Opened:
    """The hold of that name, what is doubtful in it shown; raises as `open_hold` and `usable` do."""
    from interlock.cli.opening import open_hold

    opened = usable(name, open_hold(name, texts or Texts(), situation, prepare))
    show_warnings(opened.warnings)
    return opened


def show_rejection(label: str, rejected: Rejected) -> None:
    """Writes all diagnostics and a line with their number."""
    from interlock.diagnostics.render import render_diagnostics

    click.echo(render_diagnostics(rejected.diagnostics, rejected.sources), err=True)
    number = len(rejected.diagnostics)
    click.echo(f"{visible(label)}: rejected, {number} {'fault' if number == 1 else 'faults'}", err=True)
    codes = sorted({one.code for one in rejected.diagnostics})
    each = ", and so on for each code" if len(codes) > 1 else ""
    click.echo(f"'interlock explain {codes[0]}' says more{each}.", err=True)


def show_warnings(warnings: Rejected) -> None:
    """Writes what is doubtful in a description that can be used."""
    if warnings.diagnostics:
        from interlock.diagnostics.render import render_diagnostics  # here, because most descriptions have none

        click.echo(render_diagnostics(warnings.diagnostics, warnings.sources), err=True)
