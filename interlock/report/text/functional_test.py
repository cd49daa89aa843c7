"""A functional test as text of 80 columns."""

from __future__ import annotations

from collections.abc import Iterator

from interlock.report.text.identified import identified_lines
from interlock.report.text.lines import BLANK, Line, Tone, bullets, flow, heading, labelled
from interlock.report.views.checklist_facts import Guard
from interlock.report.views.functional_test import KEEP_CLEAR, FunctionalTestView
from interlock.report.views.harm import CAUTION, NOTE
from interlock.report.views.wording import count_of, sentence

MOST_NAMED = 8
_TONES = {NOTE: Tone.FAINT, CAUTION: Tone.OPEN}


def functional_test_report(view: FunctionalTestView, verbose: bool) -> tuple[Line, ...]:
    """The test; with `verbose` every failure by name, where it shows or why it does not."""
    return tuple(_lines(view, verbose))


def _lines(view: FunctionalTestView, verbose: bool) -> Iterator[Line]:
    facts = view.facts
    scope = ", of what the modification touches" if facts.only_changed else ""
    yield from flow(f"FUNCTIONAL TEST{scope}: {facts.title}", 0, 4, Tone.HEAD)
    yield from labelled("description:", facts.description, 2)
    yield BLANK
    for caution in facts.cautions:
        yield from flow(caution, tone=Tone.OPEN)
    yield from heading("Before you start")
    yield from _guard(KEEP_CLEAR)
    for text in facts.before:
        yield from flow(f"[ ] {text}", 2, 4)
    yield from heading("Steps")
    for step in facts.steps:
        for guard in step.guards:
            yield from _guard(guard)
        yield from flow(f"[ ] {step.number:>3}. {step.instruction}", 2, 9)
        for text in step.told:
            yield from flow(f"-> {text}", 11, 3, Tone.FAINT)
    yield from flow(view.end, 2)
    yield from heading("What it shows")
    last = None
    for one in view.shown if verbose else ():
        if one.step != last:
            yield from flow(f"step {one.step}:", 2)
            last = one.step
        yield from flow(f"- {one.text}", 4, 2)
    if not verbose:
        numbers = [f"{step.number} ({len(step.shows)})" for step in facts.steps if step.shows]
        yield from labelled("steps, with how many failures each shows first:", ", ".join(numbers) or "none", 2)
    for why, some in view.hidden.items():
        yield BLANK
        yield from flow(sentence(f"not shown, {count_of(len(some), 'failure')}: {why}"), 2, 2, Tone.BAD)
        for one in some if verbose else some[:MOST_NAMED]:
            yield from flow(f"- {one.text}", 4, 2)
        if not verbose and len(some) > MOST_NAMED:
            yield from flow(f"and {len(some) - MOST_NAMED} more (--verbose)", 4)
    yield from heading("What is known")
    yield from bullets(facts.claims)
    yield from identified_lines(facts.identification)
    yield BLANK
    yield from flow(facts.scheme, tone=Tone.FAINT)
    yield BLANK
    yield from flow(view.summary(), tone=view.tone)


def _guard(guard: Guard) -> Iterator[Line]:
    yield from labelled(f"{guard.label}:", guard.text, 6, _TONES.get(guard.label, Tone.BAD))
