"""How a piece of a report may be shown where there are colours; no meaning rests on it."""

from __future__ import annotations

from enum import StrEnum


class Tone(StrEnum):
    """Whether it is good or bad to read, or how much it matters."""

    PLAIN = "plain"
    HEAD = "head"
    GOOD = "good"
    BAD = "bad"
    OPEN = "open"
    LOUD = "loud"
    FAINT = "faint"
