"""An analysis of failures as text of at most 80 columns."""

from __future__ import annotations

from collections.abc import Iterator

from interlock.report.text.identified import identified_lines
from interlock.report.text.lines import BLANK, Line, Tone, flow, heading, labelled
from interlock.report.text.proof import story_lines
from interlock.report.views.failure_noticing import noticing_of
from interlock.report.views.failure_rates import figure
from interlock.report.views.failure_tables import (
    BY_REQUIREMENT,
    BY_SEVERITY,
    by_requirement,
    by_severity,
    length_of,
    severity_words,
)
from interlock.report.views.failures import FailuresView, SetView
from interlock.report.views.wording import count_of, listed, seconds_as_text, sentence, shortened

MOST_NAMED = 6
MOST_OPEN = 12
MOST_DORMANT = 20


def failures_report(view: FailuresView, verbose: bool, seconds: float) -> tuple[Line, ...]:
    """The whole report; `verbose` names every requirement that a set breaks and every failure that breaks nothing."""
    return tuple(_lines(view, verbose, seconds))


def _lines(view: FailuresView, verbose: bool, seconds: float) -> Iterator[Line]:
    facts = view.facts
    yield from flow(facts.title, tone=Tone.HEAD)
    yield from labelled("description:", facts.description, 2)
    yield from labelled("may fail:", f"{count_of(len(facts.failures), 'way')} to fail, at any time, none must", 2)
    if facts.rates_from is not None:
        yield from labelled("rates:", f"{facts.rates_from}, of {count_of(len(facts.rates), 'failure')}", 2)
    asked = f"{count_of(len(facts.requirements), 'requirement')}, up to {count_of(facts.size, 'failure')} together"
    yield from labelled("asked:", asked, 2)
    if facts.left_out:
        yield from labelled("not asked, as they say what can be done:", ", ".join(facts.left_out), 2)
    yield BLANK
    yield from flow(view.completeness, 2, tone=view.tone)
    yield from heading(BY_SEVERITY)
    for row in by_severity(view):
        yield from labelled(f"severity {row.severity}:", severity_words(row), 2)
    for group in view.groups:
        found = view.of_group(group)
        if found:
            yield from heading(group.title)
            for one in found:
                yield from _set(view, one, verbose)
    yield from _noticed(view, verbose)
    yield from _harmless(view, verbose)
    yield from heading(BY_REQUIREMENT)
    for table in by_requirement(view):
        head = f"{table.first.from_} (severity {table.first.severity}, {count_of(table.asked, 'place')})"
        yield from flow(f"- {head}: {table.short}", 2, 2)
    yield from _open(view)
    yield from _excluded(view)
    yield from _chattering(view)
    for one in view.sets:
        requirement, shown = one.shown
        if shown.story is not None:
            yield BLANK
            yield Line("-" * 80, Tone.FAINT)
            yield from flow(f"{view.said_of(one.failures)}: {requirement.id} is broken", tone=Tone.BAD)
            yield from flow(length_of(shown), 2)
            yield from story_lines(shown.story, ())
    yield from heading("What this analysis assumes")
    for text in facts.assumptions:
        yield from flow(f"- {text}", 2, 2)
    yield from identified_lines(facts.identification)
    yield from heading("Caution")
    for text in facts.cautions:
        yield from flow(text, 2)
    yield BLANK
    yield from flow(f"{view.summary()}, in {seconds_as_text(seconds)}", tone=view.tone)


def _noticed(view: FailuresView, verbose: bool) -> Iterator[Line]:
    for section in noticing_of(view):
        yield from heading(section.title)
        for text in section.texts:
            yield from flow(text, 2)
        if not section.rows:
            yield from flow("None of the sets above.", 2)
        for severity, said, where in section.rows[: len(section.rows) if verbose else MOST_DORMANT]:
            shown = f": {where}" if where else ""
            yield from flow(f"- {said} (severity {severity}){shown}", 2, 2, Tone.PLAIN if where else Tone.BAD)
        if not verbose and len(section.rows) > MOST_DORMANT:
            yield from flow(f"and {len(section.rows) - MOST_DORMANT} more (-v names all)", 2)


def _set(view: FailuresView, one: SetView, verbose: bool) -> Iterator[Line]:
    yield from flow(f"- {view.said_of(one.failures)}", 2, 2, Tone.BAD)
    for item in view.facts.failures:
        if verbose and item.id in one.failures and item.noticed:
            yield from labelled("noticed:", item.noticed, 6)
    if one.failures and view.facts.rates_from is not None:
        yield from labelled("probability:", figure(one.probability), 6)
    by_text: dict[str, list[str]] = {}
    severity: dict[str, str] = {}
    for requirement, _ in one.breaks:
        by_text.setdefault(requirement.from_, []).append(requirement.id)
        severity[requirement.from_] = requirement.severity
    for text, ids in by_text.items():
        number = "" if len(ids) == 1 else f" ({len(ids)} times)"
        named = f": {shortened(ids, len(ids) if verbose else MOST_NAMED)}" if verbose and len(ids) > 1 else ""
        yield from flow(f"severity {severity[text]}: {text}{number}{named}", 6, 2)


def _harmless(view: FailuresView, verbose: bool) -> Iterator[Line]:
    if any(one.complete < 1 or one.open for one in view.facts.requirements):
        return
    alone = {one.failures[0] for one in view.sets if len(one.failures) == 1}
    rest = [item.text for item in view.facts.failures if item.id not in alone]
    if rest:
        yield from heading("Break nothing alone")
        yield from flow(sentence(shortened(rest, len(rest) if verbose else MOST_NAMED)), 2, 2)


def _excluded(view: FailuresView) -> Iterator[Line]:
    if view.facts.excluded:
        yield from heading("Taken not to fail, as the description says")
        for one in view.facts.excluded:
            yield from flow(f"- {one.of}, {one.mode}: {one.because}", 2, 2)


def _chattering(view: FailuresView) -> Iterator[Line]:
    if view.facts.chattering:
        yield from heading("Not analysed: the mechanism would never come to rest")
        for one in view.facts.chattering:
            beside = f" (where {listed(list(one.others))} too)" if one.others else ""
            yield from flow(f"- {sentence(one.text).rstrip('.')}{beside}: {one.chain}", 2, 2)


def _open(view: FailuresView) -> Iterator[Line]:
    ordered = view.open_sets
    if ordered:
        yield from heading("Not settled")
        for one in ordered[:MOST_OPEN]:
            yield from flow(f"- {view.said_of(one)}", 2, 2)
        if len(ordered) > MOST_OPEN:
            yield from flow(f"and {len(ordered) - MOST_OPEN:,} more", 2)
        yield from flow("What may settle them: more time (--time), fewer requirements at a time (--only).", 2)
    for requirement in view.facts.requirements:
        if requirement.disputed is not None:
            yield from flow(f"DISPUTED {requirement.id}: {requirement.disputed}", 2, tone=Tone.LOUD)
