"""Facts that are told one under another: what each is about, and what is so."""

from __future__ import annotations

from dataclasses import dataclass

from interlock.report.views.tones import Tone


@dataclass(frozen=True, slots=True)
class Row:
    """`label` ends as it is to be read: with a colon, or as the begin of the sentence that `text` goes on with."""

    label: str
    text: str
    tone: Tone = Tone.PLAIN
