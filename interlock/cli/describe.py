"""`interlock describe`: what a description says, for checking it against the equipment."""

from __future__ import annotations

from pathlib import Path

import click

from interlock.cli.formats import chosen_format, format_option
from interlock.cli.screen import color_option, output_option, show_whole


@click.command(
    name="describe",
    help="Say what the description HOLD contains: the floor, every device with what it stops and restrains and its "
    "locking position, circuits as written, modifications, and what a proof would assume.",
)
@click.argument("hold")
@format_option("describe")
@output_option
@color_option
def command(hold: str, layout: str | None, output: Path | None, color: str) -> int:
    """Opens and describes."""
    from interlock.cli.refusals import usable_hold
    from interlock.report.views.description import description_view
    from interlock.report.views.description_facts import description_facts

    shape = chosen_format("describe", layout, output)
    opened = usable_hold(hold)
    view = description_view(hold, opened.compiled)
    parts = {"view": view, "facts": description_facts(hold, view, opened.read)}
    return show_whole(shape.render(parts), output, color)
