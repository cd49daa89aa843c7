"""Rejections on standard error: every fault at once, by place, and how many there are."""

from __future__ import annotations

import click

from interlock.cli.opening import Rejected


def show_rejection(label: str, rejected: Rejected) -> None:
    """Writes all diagnostics and a line with their number."""
    for one in rejected.diagnostics:
        click.echo(f"{one.span.file}:{one.span.line}:{one.span.column}: {one.code}: {one.message}", err=True)
    number = len(rejected.diagnostics)
    click.echo(f"{label}: rejected, {number} {'fault' if number == 1 else 'faults'}", err=True)
