"""`interlock requirements`: what is asked of every hold."""

from __future__ import annotations

from pathlib import Path

import click

from interlock.cli.exit_codes import REJECTED
from interlock.cli.screen import Screen, color_option, output_option


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
    from interlock.cli.opening import Rejected, open_texts
    from interlock.cli.refusals import show_rejection
    from interlock.report.text.requirement import list_lines, requirement_lines
    from interlock.report.views.requirements import requirement_view

    texts = open_texts(files, True)
    if isinstance(texts, Rejected):
        show_rejection("requirements", texts)
        return REJECTED
    screen = Screen(output, color)
    found = [requirement_view(text) for text in texts.by_id.values()]
    if verbose:
        for text in found:
            screen.show(requirement_lines(text))
    else:
        screen.show(list_lines(found))
    screen.close()
    return 0
