"""From which files a result was made, as text."""

from __future__ import annotations

from collections.abc import Iterator

from interlock.report.text.lines import Line, heading, labelled
from interlock.report.views.identification import Identification


def identified_lines(made: Identification) -> Iterator[Line]:
    """Every file with its digest, and what made it; nothing where nothing was read."""
    if not made.files:
        return
    yield from heading("Made from")
    for one in made.files:
        yield from labelled(f"{one.part}:", one.name, 2)
        yield Line(f"    SHA-256 {one.sha256}")
    yield from labelled("with:", made.made_with, 2)
