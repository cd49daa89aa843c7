"""An analysis of failures as Markdown: the tables that a reviewer reads and signs."""

from __future__ import annotations

from collections.abc import Iterator

from interlock.report.languages import in_markdown
from interlock.report.markdown.writing import bullets, heading, identified, signature, table
from interlock.report.views.failure_noticing import noticing_of
from interlock.report.views.failure_tables import (
    BY_FAILURE,
    BY_RATE,
    BY_REQUIREMENT,
    BY_SEVERITY,
    EXPLAINED,
    RATE_HEADS,
    ItemRow,
    ModeTable,
    by_failure,
    by_rate,
    by_requirement,
    by_severity,
    identification,
    severity_heads,
)
from interlock.report.views.failures import FailuresView
from interlock.report.views.wording import count_of, sentence


def failures_markdown(view: FailuresView) -> str:
    """All of it."""
    return "\n".join(_parts(view)) + "\n"


def _parts(view: FailuresView) -> Iterator[str]:
    facts = view.facts
    rated = facts.rates_from is not None
    yield from heading(f"Failures: {facts.title}", 1)
    yield from bullets(f"{label}: {text}" for label, text in identification(view))
    yield f"**{in_markdown(view.result)}**"
    yield ""
    yield from bullets(facts.cautions)
    yield from heading(BY_SEVERITY)
    yield from table(
        ("severity", *severity_heads(view)),
        (
            (row.severity, str(row.asked), *(str(number) for _, number in row.counts), row.open or "0")
            for row in by_severity(view)
        ),
    )
    yield from bullets(EXPLAINED)
    yield from heading(BY_REQUIREMENT)
    for one in by_requirement(view):
        first = one.first
        yield from heading(f"{first.from_} ({count_of(one.asked, 'place')})", 3)
        yield in_markdown(f"{sentence(first.text)} Hazard: {first.hazard}; severity {first.severity} ({first.scheme}).")
        yield ""
        if one.groups:
            yield from table(
                ("by", "failures", "places", *(("probability",) if rated else ())),
                (
                    (group.title, row.said, row.places, *((row.probability if group.size else "",) if rated else ()))
                    for group, rows in one.groups
                    for row in rows
                ),
            )
        if one.likely:
            yield in_markdown(f"Probability: {one.likely}.")
            yield ""
        yield in_markdown(one.rest)
        yield ""
    if view.open_sets:
        yield from heading("Not settled", 3)
        yield from bullets(map(view.said_of, view.open_sets))
    for section in noticing_of(view):
        yield from heading(section.title)
        yield from bullets(section.texts)
        yield from table(("severity", "failures", "shown by"), section.rows)
    yield from heading(BY_FAILURE)
    yield from table(
        ("item", "mode", "effect on the item", "how it is noticed", "alone or with what", "effect on the hold"),
        (line for mode in by_failure(view) for row in mode.rows for line in _item(mode, row)),
    )
    if rated:
        yield from heading(BY_RATE)
        yield from table(RATE_HEADS, by_rate(view))
    if facts.excluded:
        yield from heading("Taken not to fail, as the description says")
        yield from table(("item", "mode", "because"), ((one.of, one.mode, one.because) for one in facts.excluded))
    yield from heading("What this analysis assumes")
    yield from bullets(facts.assumptions)
    yield from identified(facts.identification)
    yield from signature()


def _item(mode: ModeTable, row: ItemRow) -> Iterator[tuple[str, ...]]:
    """What is the same for all lines of a row stands in the first."""
    known = mode.known
    head = ", ".join(row.names), f"{known.item}: {known.mode}", known.effect, known.noticed
    told = [(one.beside, "; ".join(one.broken)) for one in row.effects] + ([("", row.rest)] if row.rest else [])
    for at, line in enumerate(told):
        yield (*(head if at == 0 else ("",) * len(head)), *line)
