"""`interlock explain`: what a code, a requirement or a kind of thing means, without a network."""

from __future__ import annotations

from itertools import chain

import click

from interlock.cli.screen import color_option, show_whole

STEPS = "steps"
"""What `explain` is asked for the forms of steps."""
WORDS = "words"
"""What it is asked for the words of the trade that it knows."""


@click.command(
    name="explain",
    help="Explain NAME: a code of a message, as in 'unknown-name', the id of a requirement, a kind of device or "
    "control, as in 'spring-latch', or what can be written in a section or a file, as in 'devices', 'procedure'. "
    "'steps' lists what a step of a procedure can say. A word of the trade, as in 'split', 'hydraulic', 'taper', is "
    "looked up with an example; 'words' lists them.",
)
@click.argument("parts", nargs=-1, required=True, metavar="NAME")
@click.option(
    "--requirements", "files", multiple=True, metavar="FILE", help="Look for requirements in this file as well."
)
@color_option
def command(parts: tuple[str, ...], files: tuple[str, ...], color: str) -> int:
    """Looks in each table; a name of several words needs no quotes."""
    from interlock.cli.opening import named_instead, open_texts
    from interlock.cli.refusals import usable
    from interlock.diagnostics.codes import CODES
    from interlock.hold.trade_words import TRADE_WORDS, trade_word
    from interlock.report.drawing.lifecycle import kinds_drawn
    from interlock.report.text.language import (
        RECORDS,
        index_lines,
        kind_lines,
        record_lines,
        step_lines,
        word_lines,
    )
    from interlock.report.text.requirement import code_lines, full_lines
    from interlock.report.views.requirements import requirement_view

    name = " ".join(parts)
    if name in CODES:
        return show_whole(code_lines(CODES[name]), None, color)
    texts = usable("requirements", open_texts(files, True))
    # an instance is explained by its text
    id = name.partition("[")[0]
    kinds = kinds_drawn()
    kind = name.casefold().replace(" ", "-")
    if id in texts.by_id:
        lines = full_lines([requirement_view(texts.by_id[id])])
    elif name == STEPS:
        lines = step_lines()
    elif name in RECORDS:
        lines = record_lines(name)
    elif kind in kinds:
        word = trade_word(name)
        about = kind_lines("selector" if kind == "selector" else kinds[kind].id, kinds[kind])
        lines = chain(about, () if word is None else word_lines(word))
    elif (word := trade_word(name)) is not None:
        lines = word_lines(word)
    elif name == WORDS:
        lines = index_lines()
    else:
        said = f"{name!r} is no code, no standing requirement, no section, no kind of device or control, no trade word."
        words = [one for word in TRADE_WORDS for one in word.words]
        raise click.UsageError(said + named_instead(id, (*CODES, *texts.by_id, *kinds, *RECORDS, *words, STEPS, WORDS)))
    return show_whole(lines, None, color)
