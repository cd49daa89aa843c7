"""What a description contains, as text."""

from __future__ import annotations

from collections.abc import Iterator

from interlock.report.text.floor import floor_lines
from interlock.report.text.lines import BLANK, Line, Tone, bullets, flow, heading, labelled, row_lines
from interlock.report.views.assumptions import CAUTIONS
from interlock.report.views.description import DescriptionView


def description_lines(view: DescriptionView) -> Iterator[Line]:
    """Everything that the description says, section by section."""
    yield from flow(view.title, tone=Tone.HEAD)
    yield from flow(view.about, 2)
    yield from row_lines(view.head)
    yield from heading("Floor")
    yield from floor_lines(view.compiled)
    yield BLANK
    yield from row_lines(view.floor)
    for title, entries in view.sections:
        yield from heading(title)
        for entry in entries:
            yield from flow(entry.text, 2, 4)
            for row in entry.details:
                yield from labelled(row.label, row.text, 6, row.tone) if row.label else flow(row.text, 6, 0, row.tone)
    yield from heading("What a proof would assume")
    yield from bullets(view.assumptions)
    yield from heading("Caution")
    for text in CAUTIONS:
        yield from flow(text, 2)
