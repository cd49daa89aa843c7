"""Pieces of Markdown: paragraphs, lists, tables, each text of a description escaped."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from typing import TypeAlias

from interlock.diagnostics.said import say
from interlock.report.languages import in_markdown
from interlock.report.views.identification import Identification
from interlock.report.views.slips import EFFECT_HEADS, EFFECTS_EXPLAINED, KindFacts

Tell: TypeAlias = Callable[[str], str]
"""Says a text in the language of the sheet; what it says is escaped behind that."""


def heading(text: str, depth: int = 2, tell: Tell = str) -> Iterator[str]:
    """A heading and the line after it."""
    yield from (f"{'#' * depth} {in_markdown(tell(text))}", "")


def table(head: Sequence[str], rows: Iterable[Sequence[str]], tell: Tell = str) -> Iterator[str]:
    """A table and the line after it."""
    yield "| " + " | ".join(map(tell, head)) + " |"
    yield "|" + "---|" * len(head)
    for row in rows:
        yield "| " + " | ".join(in_markdown(tell(cell)) for cell in row) + " |"
    yield ""


def slips_by_kind(kinds: Iterable[KindFacts], tell: Tell = str) -> Iterator[str]:
    """Kinds of slip against what they lead to, and what those words mean."""
    yield from table(
        (say("slip"), say("error mode"), *map(say, EFFECT_HEADS.values())),
        ((say(row.kind), row.error_mode or "", *map(str, row.counts)) for row in kinds),
        tell,
    )
    yield from (in_markdown(tell(EFFECTS_EXPLAINED)), "")


def identified(made: Identification, tell: Tell = str) -> Iterator[str]:
    """Every file that was read with its digest, and what made the result."""
    yield from heading(say("Made from"), tell=tell)
    files = (
        say("{part}: {name}, SHA-256 {digest}", part=one.part, name=one.name, digest=one.sha256) for one in made.files
    )
    yield from bullets(files, tell)
    yield in_markdown(tell(say("With {tools}.", tools=made.made_with)))
    yield ""


def signature() -> Iterator[str]:
    """A line to sign, behind all that is signed."""
    yield "Reviewed by: ______________________ signature: ______________________ date: ____________"


def bullets(texts: Iterable[str], tell: Tell = str) -> Iterator[str]:
    """A list and the line after it."""
    yield from (f"- {in_markdown(tell(text))}" for text in texts)
    yield ""
