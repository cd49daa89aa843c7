"""From which files a result was made, as text."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from interlock.diagnostics.said import say
from interlock.report.text.lines import Line, heading, labelled
from interlock.report.views.identification import Identification


def identified_lines(made: Identification, tell: Callable[[str], str] = str) -> Iterator[Line]:
    """Every file with its digest, and what made it; nothing where nothing was read.  `tell` says it in a language."""
    if not made.files:
        return
    yield from heading(tell(say("Made from")))
    for one in made.files:
        yield from labelled(f"{tell(say(one.part.value))}:", one.name, 2)
        yield Line(f"    SHA-256 {one.sha256}")
    yield from labelled(tell(say("with:")), tell(made.made_with), 2)
