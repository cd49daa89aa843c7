"""`interlock explain`: what a code, a requirement or a kind of thing means, without a network."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

import click

from interlock.cli.screen import color_option, show_whole

if TYPE_CHECKING:
    from interlock.report.text.lines import Line

STEPS = "steps"
"""What `explain` is asked for the forms of steps."""
WORDS = "words"
"""What it is asked for the words of the trade that it knows."""


@click.command(
    name="explain",
    help="Explain NAME: a code of a message, as in 'unknown-name', the id of a requirement, a kind of device or "
    "control, as in 'spring-latch', or what can be written in a section or a file, as in 'devices', 'procedure'. "
    "'steps' lists what a step of a procedure can say. A word of the language, as in 'locking', 'stuck', 'doors', or "
    "of the trade, as in 'split', 'hydraulic', 'taper', is looked up; 'words' lists them.",
)
@click.argument("parts", nargs=-1, required=True, metavar="NAME")
@click.option(
    "--requirements", "files", multiple=True, metavar="FILE", help="Look for requirements in this file as well."
)
@color_option
def command(parts: tuple[str, ...], files: tuple[str, ...], color: str) -> int:
    """Looks in each table; a name of several words needs no quotes."""
    from interlock.cli import COMMANDS
    from interlock.cli.opening import named_instead, open_texts
    from interlock.cli.refusals import usable
    from interlock.diagnostics.codes import CODES
    from interlock.hold.said_words import all_words, said_word
    from interlock.hold.trade_words import TRADE_WORDS, trade_word
    from interlock.report.drawing.lifecycle import kinds_drawn
    from interlock.report.text.language import (
        RECORDS,
        command_lines,
        index_lines,
        kind_lines,
        record_lines,
        said_lines,
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
    word, said = trade_word(name), said_word(name, kinds)
    lines: list[Line] = []
    if id in texts.by_id:
        lines += full_lines([requirement_view(texts.by_id[id])])
    elif name in (STEPS, WORDS):
        lines += step_lines() if name == STEPS else index_lines(all_words(kinds), COMMANDS)
    else:
        lines += record_lines(name) if name in RECORDS else ()
        lines += kind_lines("selector" if kind == "selector" else kinds[kind].id, kinds[kind]) if kind in kinds else ()
        lines += word_lines(word) if word is not None else ()
        lines += command_lines(name, COMMANDS[name]) if name in COMMANDS else ()
        lines += said_lines(said, _effects()) if said.is_known and name not in RECORDS else ()
    if not lines:
        told = f"{name!r} is no code, no standing requirement, no section, no kind of thing, no known word."
        words = [one for word in TRADE_WORDS for one in word.words]
        known = (*CODES, *texts.by_id, *kinds, *RECORDS, *words, *all_words(kinds), *COMMANDS, STEPS, WORDS)
        raise click.UsageError(told + named_instead(id, known))
    return show_whole(lines, None, color)


def _effects() -> Mapping[tuple[str, str], tuple[str, str]]:
    """What each failure of the standing catalogue does, and how people would notice, by sort of item and mode."""
    from interlock.cli.opening import open_catalogue
    from interlock.cli.refusals import usable

    catalogue, _ = usable("catalogue", open_catalogue(None))
    return {(one.item, one.mode): (one.effect, one.noticed.rstrip(".")) for one in catalogue.failures}
