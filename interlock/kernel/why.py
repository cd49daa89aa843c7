"""Why there is no answer, with what may help: said by whatever looked for one, told by whatever reports."""

from __future__ import annotations

from enum import Enum
from typing import Self

from interlock.diagnostics.said import Said, say


class Helps(Enum):
    """What may bring an answer where there is none: more of what was limited, not being stopped, or another way."""

    TIME = "time"
    MEMORY = "memory"
    DEPTH = "depth"
    END = "end"
    METHOD = "method"


class Why(Said):
    """Why there is no answer, in words that people who know no solver understand, and what may help."""

    helps: Helps

    def __new__(cls, words: Said, helps: Helps) -> Self:
        """The text itself, with that beside it."""
        made = super().__new__(cls, words.message, words.parts, words.many, words.capital, words.theirs)
        made.helps = helps
        return made

    def __getnewargs__(self) -> tuple[Said, Helps]:  # type: ignore[override]
        return Said(self.message, self.parts, self.many, self.capital, self.theirs), self.helps


def not_rechecked(engine: str, why: str, helps: Helps = Helps.TIME) -> Why:
    """Why what an engine claims is no finding: nobody came to the end of checking it."""
    return Why(say("found by engine '{engine}', but not re-checked: {why}", engine=engine, why=why), helps)
