"""What a message offers in the place of what is wrong, as an edit of the text."""

from __future__ import annotations

import re

from interlock.diagnostics.spans import Diagnostic, Span
from interlock.hold.editing.known import Known
from interlock.hold.editing.renaming import Edit

_WORD_BEFORE = re.compile(r"[\w-]+[ \t]*\Z")


def mend(fault: Diagnostic, known: Known) -> Edit | None:
    """The edit that puts the nearest name in the place of what was found; None where there is none to be offered.

    Where a repetition filled the text in, what stands there is not what was read, and where the fault is told at the
    name of a thing, what is wrong stands elsewhere: then nothing is offered.
    """
    nearest, span = fault.nearest, fault.span
    if nearest is None or span.file != known.source.name or not 1 <= span.line <= len(known.lines):
        return None
    given = [(one.span.line, one.span.column) for one in known.mentions if one.section is not None]
    if (span.line, span.column) in given or (span.line, span.column + 1) in given:
        return None
    line = known.lines[span.line - 1]
    start, end = span.column - 1, span.column - 1 + span.length
    found = line[start:end]
    if not found or "{" in found or "\\" in found:
        return None
    if found[0] in "'\"" and found[-1] == found[0] and len(found) > 2:
        return Edit(Span(span.file, span.line, span.column + 1, span.length - 2), nearest)
    before = _WORD_BEFORE.search(line[:start])
    # some hints take in the word before: `is closed` after `D1`, `half_way` after `half`
    if before is not None and nearest != found and nearest.endswith(found):
        word = before.group().rstrip()
        if nearest.startswith(word) and nearest != word + found:
            start = before.start()
    return Edit(Span(span.file, span.line, start + 1, end - start), nearest)
