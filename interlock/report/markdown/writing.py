"""Pieces of Markdown: paragraphs, lists, tables, each text of a description escaped."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from interlock.report.languages import in_markdown
from interlock.report.views.identification import Identification
from interlock.report.views.slips import EFFECT_HEADS, EFFECTS_EXPLAINED, KindFacts


def heading(text: str, depth: int = 2) -> Iterator[str]:
    """A heading and the line after it."""
    yield from (f"{'#' * depth} {in_markdown(text)}", "")


def table(head: Sequence[str], rows: Iterable[Sequence[str]]) -> Iterator[str]:
    """A table and the line after it."""
    yield "| " + " | ".join(head) + " |"
    yield "|" + "---|" * len(head)
    for row in rows:
        yield "| " + " | ".join(map(in_markdown, row)) + " |"
    yield ""


def slips_by_kind(kinds: Iterable[KindFacts]) -> Iterator[str]:
    """Kinds of slip against what they lead to, and what those words mean."""
    yield from table(
        ("slip", "error mode", *EFFECT_HEADS.values()),
        ((row.kind, row.error_mode or "", *map(str, row.counts)) for row in kinds),
    )
    yield from (in_markdown(EFFECTS_EXPLAINED), "")


def identified(made: Identification) -> Iterator[str]:
    """Every file that was read with its digest, and what made the result."""
    yield from heading("Made from")
    yield from bullets(f"{one.part}: {one.name}, SHA-256 {one.sha256}" for one in made.files)
    yield in_markdown(f"With {made.made_with}.")
    yield ""


def signature() -> Iterator[str]:
    """A line to sign, behind all that is signed."""
    yield "Reviewed by: ______________________ signature: ______________________ date: ____________"


def bullets(texts: Iterable[str]) -> Iterator[str]:
    """A list and the line after it."""
    yield from (f"- {in_markdown(text)}" for text in texts)
    yield ""
