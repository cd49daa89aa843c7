"""`interlock explain`: what a code or a requirement means, without a network."""

from __future__ import annotations

import click

from interlock.cli.screen import Screen, color_option


@click.command(
    name="explain",
    help="Explain NAME: a code of a message, as in 'unknown-name', or the id of a requirement.",
)
@click.argument("name")
@click.option(
    "--requirements", "files", multiple=True, metavar="FILE", help="Look for requirements in this file as well."
)
@color_option
def command(name: str, files: tuple[str, ...], color: str) -> int:
    """Looks in both tables."""
    from interlock.cli.opening import Rejected, named_instead, open_texts
    from interlock.cli.refusals import show_rejection
    from interlock.diagnostics.codes import CODES
    from interlock.report.grouping import REJECTED
    from interlock.report.requirement_text import code_lines, requirement_lines

    screen = Screen(None, color)
    if name in CODES:
        screen.lines(code_lines(CODES[name]))
        return 0
    texts = open_texts(files, True)
    if isinstance(texts, Rejected):
        show_rejection("requirements", texts)
        return REJECTED
    # an instance is explained by its text
    id = name.partition("[")[0]
    if id not in texts.by_id:
        said = f"{name!r} is neither a code nor a standing requirement."
        raise click.UsageError(said + named_instead(id, (*CODES, *texts.by_id)))
    screen.lines(requirement_lines(texts.by_id[id]))
    return 0
