"""The table of slips as lines of text."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator

from interlock.diagnostics.said import say
from interlock.report.text.lines import BLANK, Line, Tone
from interlock.report.views.slips import EFFECT_HEADS, KindFacts


def slip_table(rows: Iterable[KindFacts], tell: Callable[[str], str] = str) -> Iterator[Line]:
    """Kinds of slip against what they lead to; the error mode in brackets."""
    heads = [tell(say(word)) for word in EFFECT_HEADS.values()]
    told = [(tell(say(row.kind)) + (f" ({row.error_mode})" if row.error_mode else ""), row.counts) for row in rows]
    first = max(28, *(len(name) + 1 for name, _ in told)) if told else 28
    wide = [max(10, len(head) + 1) for head in heads]
    yield Line(
        f"  {'':<{first}}" + "".join(f"{head:>{size}}" for head, size in zip(heads, wide, strict=True)), Tone.FAINT
    )
    for name, counts in told:
        yield Line(f"  {name:<{first}}" + "".join(f"{count:>{size}}" for count, size in zip(counts, wide, strict=True)))
    yield BLANK
