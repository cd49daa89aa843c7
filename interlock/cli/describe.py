"""`interlock describe`: what a description says, for checking it against the equipment."""

from __future__ import annotations

from pathlib import Path

import click

from interlock.cli.exit_codes import REJECTED
from interlock.cli.screen import Screen, color_option, output_option


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
    from interlock.cli.opening import Rejected, Texts, open_hold
    from interlock.cli.refusals import show_rejection, show_warnings
    from interlock.report.text.description import description_lines
    from interlock.report.views.description import description_view

    opened = open_hold(hold, Texts(), None)
    if isinstance(opened, Rejected):
        show_rejection(hold, opened)
        return REJECTED
    show_warnings(opened.warnings)
    screen = Screen(output, color)
    screen.show(description_lines(description_view(hold, opened.compiled)))
    screen.close()
    return 0
