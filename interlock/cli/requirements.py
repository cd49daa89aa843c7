"""`interlock requirements`: what is asked of every hold."""

from __future__ import annotations

from pathlib import Path

import click

from interlock.cli.screen import color_option, output_option, show_whole


@click.command(
    name="requirements",
    help="List the standing requirements, which are asked of every hold that has what they speak of, with their "
    "severity and source. Files with further requirements can be named.",
)
@click.argument("files", nargs=-1, metavar="[FILE]...")
@click.option("-v", "--verbose", is_flag=True, help="Show each requirement in full, as it is written.")
@output_option
@color_option
def command(files: tuple[str, ...], verbose: bool, output: Path | None, color: str) -> int:
    """Opens and lists."""
    from interlock.cli.opening import open_texts
    from interlock.cli.refusals import usable
    from interlock.report.text.requirement import full_lines, list_lines
    from interlock.report.views.requirements import requirement_view

    texts = usable("requirements", open_texts(files, True))
    found = [requirement_view(text) for text in texts.by_id.values()]
    lines = full_lines(found) if verbose else list_lines(found)
    return show_whole(lines, output, color)
