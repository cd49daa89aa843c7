"""Why something can never be, as text."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from interlock.diagnostics.said import say, say_many
from interlock.report.text.lines import BLANK, Line, Tone, flow
from interlock.report.text.runs import after_lines
from interlock.report.views.never import account_of, heading_of
from interlock.report.views.proof_facts import NeverFacts, StoryFacts
from interlock.report.views.wording import ACTORS, shortened

MOST_NAMED = 8


def never_lines(never: NeverFacts, tell: Callable[[str], str] = str) -> Iterator[Line]:
    """The smallest sets of hindrances, how far that is proved, and the run that exists without the first."""
    yield BLANK
    if never.without:
        yield Line(f"  {tell(heading_of(never))}", Tone.HEAD)
    numbered = any(len(way.hindrances) > 1 for way in never.without) and len(never.without) > 1
    for number, way in enumerate(never.without, 1):
        for place, one in enumerate(way.hindrances):
            mark = "-" if not numbered else f"{number}." if not place else " " * len(f"{number}.")
            where = say("({file}, line {line})", file=one.written_at.file, line=str(one.written_at.line))
            yield from flow(f"{mark} {tell(one.text)} {tell(where)}", 4, len(mark) + 1, Tone.BAD)
    yield from flow(tell(account_of(never)), 2)
    if never.without:
        first = never.without[0]
        yield BLANK
        title = say_many(
            "{number} step that would then bring it about", "{number} steps that would then bring it about", first.steps
        )
        if len(never.without) > 1:
            title = say("{title}, without the first", title=title)
        yield Line(f"  {tell(title)}", Tone.HEAD)
        yield from _steps(first.story, tell)
    also = [id for way in never.without for id in way.also]
    if also:
        yield BLANK
        yield from flow(tell(say("These could then be too: {ids}", ids=shortened(also, MOST_NAMED))), 2, 2)


def _steps(story: StoryFacts, tell: Callable[[str], str]) -> Iterator[Line]:
    wide = len(str(len(story.steps)))
    for step in story.steps:
        yield from flow(f"{step.number:>{wide}}. {tell(say(ACTORS[step.actor]))}: {tell(step.text)}", 4, wide + 2)
        yield from after_lines(step.responses, step.after, 8 + wide, tell)
