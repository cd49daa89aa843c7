"""Requirement texts as they are told."""

from __future__ import annotations

import re
from collections.abc import Iterator

from interlock.diagnostics.frozen import frozen
from interlock.hold.language.model import RequirementText
from interlock.hold.language.printer import print_step, print_syntax
from interlock.hold.said_words import MEMBERS
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


@frozen
class RequirementView:
    """One text: its sentence, in short why it matters, and in `rows` all that is written, expressions as written."""

    id: str
    text: str
    short: str
    rows: tuple[Row, ...]


def sentence_of_all(text: RequirementText) -> str:
    """The text's sentence about all that its variables run through: "a unit in {b}" is "a unit in any bay".

    What is spoken of again is "that bay".  A part of something that the sentence does not name is told with it.
    """
    groups = {variable: group.parts for variable, group in text.each}
    named: set[str] = set()

    def said(variable: str, determiner: str) -> str:
        *owner, group = groups[variable]
        noun, *rest = MEMBERS.get(group, (f"one of {group}",))
        if determiner == "that":
            return f"that {noun}"
        if owner and owner[0] not in groups:
            rest += "of", ".".join(owner)
        elif owner and f"{{{owner[0]}}}" not in text.text:
            rest += "of", said(owner[0], "any")
        return " ".join((determiner, noun, *rest))

    def place(found: re.Match[str]) -> str:
        variable = found[1]
        if variable not in groups:
            return found[0]
        determiner = "that" if variable in named else "any" if found.start() else "each"
        named.add(variable)
        return said(variable, determiner)

    told = re.sub(r"\{([^{}]*)\}", place, text.text)
    return told[:1].upper() + told[1:]


def requirement_view(text: RequirementText) -> RequirementView:
    """What is told of the text."""
    severity = severity_words(text)
    short = f"severity {severity}; hazard: {text.hazard}; source: {text.source}"
    return RequirementView(text.id, sentence(sentence_of_all(text)), short, tuple(_rows(text, severity)))


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
