"""Faults of descriptions on standard error: all at once, by place, and how many there are."""

from __future__ import annotations

import click

from interlock.cli.opening import Rejected
from interlock.diagnostics.visible import visible


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
