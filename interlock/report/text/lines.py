"""Text as lines with a tone: what a reader sees, before anybody decides on colours."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from textwrap import wrap

from interlock.diagnostics.frozen import frozen
from interlock.report.languages import in_line
from interlock.report.views.rows import Row
from interlock.report.views.tones import Tone as Tone

WIDTH = 80
"""No line is longer, in characters."""
WIDEST_SEVERITY = 12
"""In a table; a scheme may well name its categories in whole sentences."""


@frozen
class Line:
    """One line without its end; whoever makes it, nothing hidden is in it."""

    text: str
    tone: Tone = Tone.PLAIN

    def __post_init__(self) -> None:
        """Shows what is hidden."""
        object.__setattr__(self, "text", in_line(self.text))


BLANK = Line("")


def flow(text: str, indent: int = 0, hang: int = 0, tone: Tone = Tone.PLAIN) -> tuple[Line, ...]:
    """The text broken at blanks into lines of WIDTH; lines after the first stand `hang` further in."""
    parts = wrap(
        in_line(text),
        WIDTH,
        initial_indent=" " * indent,
        subsequent_indent=" " * (indent + hang),
        break_on_hyphens=False,
    )
    return tuple(Line(part, tone) for part in parts)


def labelled(label: str, text: str, indent: int = 0, tone: Tone = Tone.PLAIN) -> tuple[Line, ...]:
    """`label` and the text beside it; further lines stand under the text."""
    return flow(f"{label} {text}", indent, min(len(label) + 1, 24), tone)


def severity_cell(severity: str) -> tuple[str, tuple[str, ...]]:
    """What stands in the column of a table, and the note below the row that says what was too long for it."""
    if len(severity) <= WIDEST_SEVERITY:
        return severity, ()
    return "note", (f"severity: {severity}",)


def bullets(texts: Iterable[str], indent: int = 2) -> Iterator[Line]:
    """A list."""
    for text in texts:
        yield from flow(f"- {text}", indent, 2)


def row_lines(rows: Iterable[Row], indent: int = 2) -> Iterator[Line]:
    """Each fact with what it is about before it."""
    for row in rows:
        yield from labelled(row.label, row.text, indent, row.tone)


def heading(text: str) -> tuple[Line, ...]:
    """A section's title with the blank line before it."""
    return (BLANK, *flow(text.upper(), tone=Tone.HEAD))


def as_text(lines: Iterable[Line]) -> str:
    """The lines as one text, without tones; ends with a line end."""
    return "".join(line.text.rstrip() + "\n" for line in lines)
