"""What a hold is with every combination of its options, as text of at most 80 columns."""

from __future__ import annotations

from collections.abc import Iterator

from interlock.report.text.identified import identified_lines
from interlock.report.text.lines import BLANK, Line, Tone, bullets, flow, heading, labelled
from interlock.report.text.proof import story_lines
from interlock.report.views.family import FamilyView, SameFate
from interlock.report.views.wording import count_of, seconds_as_text, shortened

MOST_NAMED = 6


def family_report(view: FamilyView, told: int, verbose: bool, seconds: float) -> tuple[Line, ...]:
    """The whole report; the runs of so many requirements that fail are told."""
    return tuple(_lines(view, told, verbose, seconds))


def _lines(view: FamilyView, told: int, verbose: bool, seconds: float) -> Iterator[Line]:
    facts = view.facts
    yield from flow(facts.title, tone=Tone.HEAD)
    yield from labelled("description:", facts.description, 2)
    yield from heading("Options")
    if not facts.options:
        yield from flow("None are declared: this is one configuration, and 'interlock prove' says more of it.", 2)
    for one in facts.options:
        yield from flow(f"- {one.id}: {one.name}", 2, 2)
        for label, ids in (("never with:", one.excludes), ("only with:", one.needs)):
            if ids:
                yield from labelled(label, ", ".join(ids), 6)
    if facts.fitted:
        yield from labelled("fitted in all:", ", ".join(facts.fitted), 2)
    yield BLANK
    yield from flow(view.extent, 2)
    for unusable in facts.not_compiling:
        yield from flow(f"- {view.said(unusable.combination)}: no hold", 2, 2, Tone.BAD)
        for why in unusable.why:
            yield from flow(why, 6)
    for disputed in view.disputed:
        yield from flow(f"DISPUTED {disputed.id}: {disputed.disputed}", 2, tone=Tone.LOUD)
    if view.failing:
        yield from heading("What fails in some configuration")
    for fate in view.failing:
        yield from _failing(view, fate, verbose)
    if view.undecided:
        yield from heading("What is not decided")
    for fate in view.undecided:
        yield from flow(f"- {_ids(fate, verbose)}", 2, 2, Tone.OPEN)
        yield from labelled("in:", f"{fate.first.undecided_in} of {fate.first.asked_in}", 6)
        yield from labelled("why:", fate.first.reason, 6)
    if view.vacuous:
        yield from heading("What holds only because its situation never arises")
    for fate in view.vacuous:
        where = "in all" if fate.first.vacuous_in == fate.first.asked_in else f"in {fate.first.vacuous_in}"
        yield from flow(f"- {_ids(fate, verbose)}: {where} of {fate.first.asked_in}", 2, 2)
    for number, fate in enumerate(view.failing):
        for failing in fate.first.fails_with[:1]:
            if number < told and failing.story is not None:
                yield from heading(f"How {fate.first.id} breaks, {view.shown(failing)}")
                yield from story_lines(failing.story, ())
    yield from heading("What this assumes")
    yield from bullets(facts.assumptions)
    yield from identified_lines(facts.identification)
    yield from heading("Caution")
    for text in facts.cautions:
        yield from flow(text, 2)
    yield BLANK
    yield from flow(f"{view.summary}, in {seconds_as_text(seconds)}", tone=view.tone)


def _ids(fate: SameFate, verbose: bool) -> str:
    ids = [one.id for one in fate.outcomes]
    return shortened(ids, len(ids) if verbose else 3)


def _failing(view: FamilyView, fate: SameFate, verbose: bool) -> Iterator[Line]:
    first = fate.first
    yield from flow(f"- {_ids(fate, verbose)}", 2, 2, Tone.BAD)
    yield from flow(first.text, 6)
    yield from labelled("hazard:", f"{first.hazard}; severity {first.severity} ({first.scheme})", 6)
    where = view.where(first)
    for said in where[: len(where) if verbose else MOST_NAMED]:
        yield from flow(said, 6, 2, Tone.BAD)
    if not verbose and len(where) > MOST_NAMED:
        yield from flow(f"and {len(where) - MOST_NAMED} more combinations (-v names all)", 6)
    yield from labelled("in:", f"{first.fails_in} of {first.asked_in} configurations in which it is asked", 6)
    for failing in first.fails_with[:1]:
        if failing.story is not None:
            run = f"{count_of(len(failing.story.steps), 'step')}, {view.shown(failing)} (--runs shows it)"
            yield from labelled("run:", run, 6)
