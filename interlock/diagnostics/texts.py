"""How the texts about one code are written down."""

from __future__ import annotations

from dataclasses import dataclass
from textwrap import dedent


@dataclass(frozen=True, slots=True)
class Text:
    """A code, what it means, an example with the fault and one without."""

    code: str
    about: str
    wrong: str
    right: str


def text(code: str, about: str, wrong: str, right: str) -> Text:
    """A text whose examples are written indented."""
    return Text(code, about, dedent(wrong).strip("\n") + "\n", dedent(right).strip("\n") + "\n")
