"""A fleet as text of at most 80 columns."""

from __future__ import annotations

from collections.abc import Iterator

from interlock.report.text.lines import BLANK, WIDTH, Line, Tone, bullets, flow, heading, labelled
from interlock.report.text.proof import story_lines
from interlock.report.views.fleet import TONES, WORDS, Effort, FleetView
from interlock.report.views.fleet_facts import BrokenFacts, FleetHoldFacts, GroupFacts, OpenFacts
from interlock.report.views.wording import count_of, seconds_as_text, shortened

MOST_TAILS = 12
MOST_FAILING = 8
MOST_CONFIGURATIONS = 4


def fleet_report(view: FleetView, told: int, verbose: bool, seconds: float, how: Effort) -> tuple[Line, ...]:
    """The whole report; of each group the runs of so many requirements that fail are told."""
    return tuple(_lines(view, told, verbose, seconds, how))


def _lines(view: FleetView, told: int, verbose: bool, seconds: float, how: Effort) -> Iterator[Line]:
    facts = view.facts
    yield from flow(facts.title, tone=Tone.HEAD)
    yield from labelled("fleet:", facts.file, 2)
    for hold in facts.holds:
        yield BLANK
        yield Line("-" * WIDTH, Tone.FAINT)
        yield from flow(f"{hold.title} ({hold.file})", 0, 2, Tone.HEAD)
        numbers = f"{hold.aircraft:,} aircraft in {count_of(hold.configurations, 'configuration')}"
        yield from labelled("who has it:", numbers, 2)
        yield from _differences(hold)
        for group in view.groups_of(hold):
            yield BLANK
            yield from _group(view, group, told, verbose)
        if verbose:
            yield from heading(f"What is assumed of every aircraft with {hold.file}")
            yield from bullets(hold.assumptions)
    if verbose:
        yield from heading("Aircraft by aircraft")
        for one in facts.aircraft:
            text = f"{one.tail}: {one.result} (configuration {one.configuration})"
            yield from flow(text, 2, 2, TONES[one.result])
    yield from heading("What this assumes")
    yield from bullets(facts.assumptions)
    if not verbose:
        yield from flow("- What each proof takes for granted of its hold is told with -v, and in the JSON.", 2, 2)
    yield from heading("Caution")
    for text in facts.cautions:
        yield from flow(text, 2)
    yield BLANK
    yield from flow(how.text, tone=Tone.FAINT)
    yield from flow(f"{view.summary}, in {seconds_as_text(seconds)}", tone=view.tone)


def _differences(hold: FleetHoldFacts) -> Iterator[Line]:
    if hold.differences:
        yield from flow("What tells the aircraft apart: each of these fails", 2)
    where: dict[str, list[str]] = {}
    for one in hold.differences:
        where.setdefault(FleetView.telling(one), []).append(one.id)
    for text, ids in where.items():
        yield from flow(f"- {shortened(ids, 3)}: {text}", 4, 2)


def _group(view: FleetView, group: GroupFacts, told: int, verbose: bool) -> Iterator[Line]:
    most = len(group.tails) if verbose else MOST_TAILS
    head = f"Group {group.number}: {WORDS[group.result]} ({len(group.tails):,} aircraft)"
    yield from flow(head, 2, 2, TONES[group.result])
    yield from labelled("tails:", shortened(group.tails, most), 4)
    shown = len(group.configurations) if verbose else MOST_CONFIGURATIONS
    for number in group.configurations[:shown]:
        configuration = view.configuration(number)
        text = view.fitted(configuration)
        yield from labelled(f"configuration {number}:", f"{text} ({len(configuration.tails):,} aircraft)", 4)
        if verbose and configuration.assumes:
            yield from labelled("assumes besides:", " ".join(configuration.assumes), 6)
    if len(group.configurations) > shown:
        yield from flow(f"and {len(group.configurations) - shown} more configurations (-v names all)", 4)
    if group.why:
        yield from labelled("why:", group.why, 4)
    for refusal in group.refusals:
        place = f"{refusal.at.file}:{refusal.at.line}:{refusal.at.column}"
        yield from flow(f"- {place}: {refusal.message} [{refusal.code}]", 4, 2, Tone.BAD)
    cut = len(group.failing) if verbose else MOST_FAILING
    for one in group.failing[:cut]:
        yield from _failing(one)
    if len(group.failing) > cut:
        yield from flow(f"and {len(group.failing) - cut} more that fail (-v names all)", 4)
    yield from _open("undecided", group.open, Tone.OPEN, cut)
    yield from _open("DISPUTED", group.disputed, Tone.LOUD, cut)
    for one in [one for one in group.failing if one.story is not None][:told]:
        first = view.configuration(group.configurations[0])
        yield from heading(f"How {one.id} breaks on {first.tails[0]}")
        if one.story is not None:
            yield from story_lines(one.story, ())


def _failing(one: BrokenFacts) -> Iterator[Line]:
    yield from flow(f"- fails: {one.id}: {one.text}", 4, 2, Tone.BAD)
    run = f"; {count_of(len(one.story.steps), 'step')} (--runs shows how)" if one.story is not None else ""
    yield from labelled("hazard:", f"{one.hazard}; severity {one.severity} ({one.scheme}){run}", 8)


def _open(word: str, those: tuple[OpenFacts, ...], tone: Tone, cut: int) -> Iterator[Line]:
    for one in those[:cut]:
        yield from flow(f"- {word}: {one.id}: {one.why}", 4, 2, tone)
    if len(those) > cut:
        yield from flow(f"and {len(those) - cut} more {word}", 4)
