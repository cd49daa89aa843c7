"""The table of slips as lines of text."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from interlock.report.text.lines import BLANK, Line, Tone
from interlock.report.views.slips import EFFECT_HEADS, KindFacts


def slip_table(rows: Iterable[KindFacts]) -> Iterator[Line]:
    """Kinds of slip against what they lead to; the error mode in brackets."""
    yield Line(f"  {'':<28}" + "".join(f"{word:>10}" for word in EFFECT_HEADS.values()), Tone.FAINT)
    for row in rows:
        name = row.kind + (f" ({row.error_mode})" if row.error_mode else "")
        yield Line(f"  {name:<28}" + "".join(f"{number:>10}" for number in row.counts))
    yield BLANK
