"""A diagnostic as text: place, message, the line with a caret under the fault, and what would be right.

Plain text without colours.  Only the first line, which other programs may look for, can be longer than WIDTH.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable, Mapping, Sequence
from textwrap import wrap

from interlock.diagnostics.codes import severity_of
from interlock.diagnostics.spans import Diagnostic, Span
from interlock.diagnostics.visible import is_hidden, visible

WIDTH = 80
"""Columns of a terminal."""

WIDEST = 66
"""Cells of a source line that are shown: what WIDTH leaves beside the number of the line and two ellipses."""

_BEFORE = 30
_MOST_SHOWN = 300
"""Characters of a source line that are shown: some take no cell."""
_ELLIPSIS = "..."


def render_diagnostic(diagnostic: Diagnostic, source_lines: Mapping[str, Sequence[str]]) -> str:
    """The text of one diagnostic, without a line end behind it; the line is left out where its file is not given."""
    span = diagnostic.span
    severity = severity_of(diagnostic.code)
    head = f"{_flat(span.file)}:{span.line}:{span.column}: {severity}[{diagnostic.code}]: {_flat(diagnostic.message)}"
    lines = [head, *_excerpt(span, source_lines.get(span.file, ()))]
    if diagnostic.expected is not None:
        lines.extend(_hint(f"expected {diagnostic.expected}"))
    if diagnostic.nearest is not None:
        lines.extend(_hint(f"did you mean '{diagnostic.nearest}'?"))
    for said in diagnostic.context:
        first, *rest = said.split("\n")
        lines.extend(_hint(first))
        lines.extend(f"      {visible(line)}" for line in rest)
    return "\n".join(lines)


def render_diagnostics(diagnostics: Iterable[Diagnostic], source_lines: Mapping[str, Sequence[str]]) -> str:
    """All diagnostics, one after the other."""
    return "\n".join(render_diagnostic(one, source_lines) for one in diagnostics)


def _hint(text: str) -> list[str]:
    return wrap(
        _flat(text),
        WIDTH,
        initial_indent="  = ",
        subsequent_indent="    ",
        break_long_words=False,
        break_on_hyphens=False,
    )


def _flat(text: str) -> str:
    return visible(" ".join(text.split()))


def _cells(text: str) -> int:
    return sum(map(_width, text))


def _width(letter: str) -> int:
    """Cells that a character takes: two for wide ones, none for those that combine with the one before."""
    if letter != "\t" and is_hidden(letter):
        return len(visible(letter))
    if unicodedata.combining(letter) or unicodedata.category(letter) in ("Mn", "Me"):
        return 0
    return 2 if unicodedata.east_asian_width(letter) in ("W", "F") else 1


def _excerpt(span: Span, lines: Sequence[str]) -> list[str]:
    """The source line, clipped around the fault where it is long, and the caret below it."""
    if not 1 <= span.line <= len(lines):
        return []
    line = lines[span.line - 1]
    start = min(span.column - 1, len(line))
    end = min(start + span.length, max(len(line), start + 1))
    low, high = _window(line, start, end)
    before = _ELLIPSIS if low > 0 else ""
    after = _ELLIPSIS if high < len(line) else ""
    number = f" {span.line} | "
    shown = visible(line[low:high])
    # a tab in the pad keeps the caret under its place, however wide the terminal makes tabs
    pad = "".join("\t" if letter == "\t" else " " * _width(letter) for letter in line[low:start])
    marked = max(1, _cells(line[start : min(end, high)]))
    gutter = " " * (len(number) - 2) + "| "
    return [
        f"{number}{before}{shown}{after}",
        f"{gutter}{' ' * len(before)}{pad}^{'~' * (marked - 1)}",
    ]


def _window(line: str, start: int, end: int) -> tuple[int, int]:
    """The part of a line to show, by characters: all of it, or WIDEST cells around the fault."""
    if len(line) <= _MOST_SHOWN and _cells(line) <= WIDEST:
        return 0, len(line)
    low, room = start, _BEFORE
    while low > max(0, start - _MOST_SHOWN) and room >= _width(line[low - 1]):
        low -= 1
        room -= _width(line[low])
    if low <= len(_ELLIPSIS):
        low = 0
    high, room = low, WIDEST
    while high < min(len(line), low + _MOST_SHOWN) and room >= _width(line[high]):
        room -= _width(line[high])
        high += 1
    return low, high
