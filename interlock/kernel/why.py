"""Why there is no answer, with what may help: said by whatever looked for one, told by whatever reports."""

from __future__ import annotations

from enum import Enum
from typing import Self


class Helps(Enum):
    """What may bring an answer where there is none: more of what was limited, not being stopped, or another way."""

    TIME = "time"
    MEMORY = "memory"
    DEPTH = "depth"
    END = "end"
    METHOD = "method"


class Why(str):
    """Why there is no answer, in words that people who know no solver understand, and what may help.

    `words` is the text as it was given: one that knows how it is made can be told in another language.
    """

    __slots__ = ("helps", "words")
    helps: Helps
    words: str

    def __new__(cls, words: str, helps: Helps) -> Self:
        """The text itself, with that beside it."""
        made = super().__new__(cls, words)
        made.helps, made.words = helps, words
        return made

    def __getnewargs__(self) -> tuple[str, Helps]:  # type: ignore[override]
        return self.words, self.helps


def not_rechecked(engine: str, why: str, helps: Helps = Helps.TIME) -> Why:
    """Why what an engine claims is no finding: nobody came to the end of checking it."""
    return Why(f"found by engine {engine!r}, but not re-checked: {why}", helps)
