"""Requirement texts and codes of messages, explained."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from interlock.diagnostics.codes import Code
from interlock.report.text.lines import BLANK, Line, Tone, flow, row_lines
from interlock.report.views.assumptions import CAUTIONS
from interlock.report.views.requirements import RequirementView
from interlock.report.views.wording import count_of


def list_lines(texts: Sequence[RequirementView]) -> Iterator[Line]:
    """Each with its sentence, severity, hazard and source."""
    for text in texts:
        yield from flow(text.id, tone=Tone.HEAD)
        yield from flow(text.text, 2)
        yield from flow(text.short, 4, 2, Tone.FAINT)
    yield BLANK
    yield from flow(f"{count_of(len(texts), 'requirement text')}.")
    yield BLANK
    for caution in CAUTIONS:
        yield from flow(caution)


def full_lines(texts: Sequence[RequirementView]) -> Iterator[Line]:
    """Each in full, and what governs."""
    for text in texts:
        yield from requirement_lines(text)
    for caution in CAUTIONS:
        yield from flow(caution)


def requirement_lines(text: RequirementView) -> Iterator[Line]:
    """One requirement in full, with its expressions as written."""
    yield from flow(text.id, tone=Tone.HEAD)
    yield from flow(text.text, 2)
    yield from row_lines(text.rows)
    yield BLANK


def code_lines(code: Code) -> Iterator[Line]:
    """What a code means, with an example that raises it and one that does not."""
    yield from flow(f"{code.code} ({code.severity})", tone=Tone.HEAD)
    yield from flow(code.about, 2)
    for title, example in (("With this fault", code.wrong), ("Without it", code.right)):
        if example.strip():
            yield BLANK
            yield Line(f"  {title}", Tone.HEAD)
            yield from (Line(f"    {line}") for line in example.splitlines())
