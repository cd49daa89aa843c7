"""Runs, ways out and reasons as lines of text."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence

from interlock.diagnostics.said import say
from interlock.report.text.lines import WIDTH, Line, Tone, flow, labelled
from interlock.report.views.facts import Reason, Run, WayOut, WayStep
from interlock.report.views.wording import ACTORS, ALREADY, by_itself, count_of, sentence, shortened

LAST_STEPS = 12
"""Steps of a run that are shown: its end, where it is long; of a way out, its begin."""
MOST_NAMED = 8


def after_lines(
    responses: Sequence[str], after: Sequence[str], indent: int, tell: Callable[[str], str] = str
) -> Iterator[Line]:
    """What the mechanism did by itself, and what is then so; a text that comes twice is told once."""
    for response in responses:
        yield from labelled(f"{tell(say('by itself'))}:", by_itself(tell(response)), indent, Tone.FAINT)
    if after:
        yield from labelled(tell(say("now:")), "; ".join(map(tell, dict.fromkeys(after))), indent, Tone.FAINT)


def reason_lines(reasons: Sequence[Reason], indent: int = 4) -> Iterator[Line]:
    """Sentences, each with those that make it so further in."""
    for reason in reasons:
        yield from flow(f"- {reason.text}", min(indent, WIDTH // 2), 2)
        yield from reason_lines(reason.because, indent + 2)


def run_lines(run: Run) -> Iterator[Line]:
    """The end of a run, step by step, and why its last state is what it is."""
    shown = run.steps[-LAST_STEPS:]
    if shown:
        title = "Step by step" if len(shown) == len(run.steps) else f"Step by step, from step {shown[0].number}"
        yield Line(f"      {title}", Tone.HEAD)
    for step in shown:
        part = "" if step.action is None else f" (action {step.action})"
        text = f"{step.number}. {ACTORS[step.actor]}: {step.text}{part}"
        if step.slip == step.text:
            # nothing was done, or something that is a slip and no more: once is enough
            text = f"{step.number}. SLIP {step.text}{part}"
        yield from flow(text, 6, 3, Tone.BAD if step.slip == step.text else Tone.PLAIN)
        if step.slip not in (None, step.text):
            yield from labelled("SLIP", str(step.slip), 9, Tone.BAD)
        yield from after_lines(step.responses, step.after, 9)
    if run.because:
        yield Line("      Why", Tone.HEAD)
        yield from reason_lines(run.because, 6)


def way_lines(way: WayOut, title: str) -> Iterator[Line]:
    """A way to what is wanted, step by step, and what is broken on it."""
    if not way.steps:
        yield from flow(sentence(ALREADY), 6)
        return
    yield Line(f"      {title}", Tone.HEAD)
    yield from way_step_lines(way.steps)
    yield from broken_on_the_way(way)


def way_step_lines(steps: Sequence[WayStep]) -> Iterator[Line]:
    """The first steps of a way, numbered."""
    for at, step in enumerate(steps[:LAST_STEPS], 1):
        yield from flow(f"{at}. {ACTORS[step.actor]}: {step.text}", 6, 3)
    if len(steps) > LAST_STEPS:
        yield from flow(f"and {count_of(len(steps) - LAST_STEPS, 'more step')}", 6)


def broken_on_the_way(way: WayOut) -> Iterator[Line]:
    """The requirements that the way breaks."""
    if way.breaks:
        yield from flow(f"On that way these are broken: {shortened(way.breaks, MOST_NAMED)}.", 6, tone=Tone.BAD)
