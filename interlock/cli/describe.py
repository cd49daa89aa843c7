"""`interlock describe`: what a description says, for checking it against the equipment."""

from __future__ import annotations

from pathlib import Path

import click

from interlock.cli.screen import color_option, output_option, show_whole


@click.command(
    name="describe",
    help="Say what the description HOLD contains: the floor, every device with what it stops and restrains and its "
    "locking position, circuits as written, modifications, and what a proof would assume.",
)
@click.argument("hold")
@output_option
@color_option
def command(hold: str, output: Path | None, color: str) -> int:
    """Opens and describes."""
    from interlock.cli.refusals import usable_hold
    from interlock.report.text.description import description_lines
    from interlock.report.views.description import description_view

    compiled = usable_hold(hold).compiled
    return show_whole(description_lines(description_view(hold, compiled)), output, color)
