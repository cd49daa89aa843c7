"""Facts that are told one under another: what each is about, and what is so."""

from __future__ import annotations

from interlock.diagnostics.frozen import frozen
from interlock.report.views.tones import Tone


@frozen
class Row:
    """`label` ends as it is to be read: with a colon, or as the begin of the sentence that `text` goes on with."""

    label: str
    text: str
    tone: Tone = Tone.PLAIN
