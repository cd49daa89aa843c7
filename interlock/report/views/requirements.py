"""Requirement texts as they are told."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from interlock.hold.language.model import RequirementText
from interlock.hold.language.printer import print_step, print_syntax
from interlock.report.views.harm import severity_words
from interlock.report.views.rows import Row
from interlock.report.views.tones import Tone
from interlock.report.views.wording import sentence

KINDS = {
    "never": "no reachable state is as it says",
    "always": "in every reachable state where the situation arises, the condition is true",
    "only if": "each of the steps happens only where the condition is true",
    "order": "each of the steps happens only after one of the first steps",
    "can": "some sequence of steps brings it about",
    "can always": "however far things have gone, some sequence of steps without a failure still brings it about",
}
"""What is proved for each kind of requirement."""


@dataclass(frozen=True, slots=True)
class RequirementView:
    """One text: its sentence, in short why it matters, and in `rows` all that is written, expressions as written."""

    id: str
    text: str
    short: str
    rows: tuple[Row, ...]


def requirement_view(text: RequirementText) -> RequirementView:
    """What is told of the text."""
    severity = severity_words(text)
    short = f"severity {severity}; hazard: {text.hazard}; source: {text.source}"
    return RequirementView(text.id, sentence(text.text), short, tuple(_rows(text, severity)))


def _rows(text: RequirementText, severity: str) -> Iterator[Row]:
    yield Row("kind:", f"{text.kind} ({KINDS[text.kind]})" if text.kind in KINDS else text.kind)
    for variable, group in text.each:
        yield Row("for every", f"{variable} in {'.'.join(group.parts)}")
    for label, syntax in (("where", text.where), ("situation:", text.when), ("condition:", text.condition)):
        if syntax is not None:
            yield Row(label, print_syntax(syntax))
    for label, steps in (("steps:", text.steps), ("first:", text.first), ("not since:", text.since)):
        if steps:
            yield Row(label, ", ".join(map(print_step, steps)))
    yield Row("hazard:", text.hazard)
    yield Row("severity:", severity)
    yield Row("source:", text.source)
    yield Row("written in:", f"{text.span.file}, line {text.span.line}", Tone.FAINT)
