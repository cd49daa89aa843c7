"""Where in which file something was written."""

from __future__ import annotations

from interlock.diagnostics.frozen import frozen


@frozen
class Span:
    """A stretch of one source line: `line` and `column` count from 1, in code points; `length` is at least 1."""

    file: str
    line: int
    column: int
    length: int = 1


@frozen
class Diagnostic:
    """One fault in a file that a person wrote.

    `code` is a kebab-case phrase, stable for ever (`interlock.diagnostics.codes` has the table).  `message` says
    what is wrong, `expected` what would be right, `nearest` the known name most like the one found.  `context` tells
    how the text came to be read where the line alone does not (a repetition, a modification).
    """

    code: str
    span: Span
    message: str
    expected: str | None = None
    nearest: str | None = None
    context: tuple[str, ...] = ()
