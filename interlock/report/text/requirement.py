"""Requirement texts and codes of messages, explained."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from interlock.diagnostics.codes import Code
from interlock.hold.language.model import RequirementText
from interlock.hold.language.printer import print_step, print_syntax
from interlock.hold.language.syntax import Step
from interlock.report.text.lines import BLANK, Line, Tone, flow, labelled
from interlock.report.views.wording import count_of, sentence

KINDS = {
    "never": "no reachable state is as it says",
    "always": "in every reachable state where the situation arises, the condition is true",
    "only if": "each of the steps happens only where the condition is true",
    "order": "each of the steps happens only after one of the first steps",
    "can": "some order of steps brings it about",
    "can always": "however far things have gone, some order of steps without a failure still brings it about",
}
"""What is proved for each kind of requirement."""


def list_lines(texts: Sequence[RequirementText]) -> Iterator[Line]:
    """Each with its sentence, severity, hazard and source."""
    for text in texts:
        yield from flow(text.id, tone=Tone.HEAD)
        yield from flow(sentence(text.text), 2)
        severity = f"severity {text.severity}" + (f" ({text.scheme})" if text.scheme else "")
        yield from flow(f"{severity}; hazard: {text.hazard}; source: {text.source}", 4, 2, Tone.FAINT)
    yield BLANK
    yield from flow(f"{count_of(len(texts), 'requirement text')}; in braces: each thing of its sort.")


def requirement_lines(text: RequirementText) -> Iterator[Line]:
    """One requirement in full, with its expressions as written."""
    yield from flow(text.id, tone=Tone.HEAD)
    yield from flow(sentence(text.text), 2)
    yield from labelled("kind:", f"{text.kind} ({KINDS[text.kind]})" if text.kind in KINDS else text.kind, 2)
    for variable, group in text.each:
        yield from labelled("for every", f"{variable} in {'.'.join(group.parts)}", 2)
    if text.where is not None:
        yield from labelled("where", print_syntax(text.where), 2)
    if text.when is not None:
        yield from labelled("situation:", print_syntax(text.when), 2)
    if text.condition is not None:
        yield from labelled("condition:", print_syntax(text.condition), 2)
    for label, steps in (("steps:", text.steps), ("first:", text.first), ("not since:", text.since)):
        if steps:
            yield from labelled(label, _steps(steps), 2)
    yield from labelled("hazard:", text.hazard, 2)
    yield from labelled("severity:", text.severity + (f" ({text.scheme})" if text.scheme else ""), 2)
    yield from labelled("source:", text.source, 2)
    yield from labelled("written in:", f"{text.span.file}, line {text.span.line}", 2, Tone.FAINT)
    yield BLANK


def _steps(steps: Sequence[Step]) -> str:
    return ", ".join(print_step(step) for step in steps)


def code_lines(code: Code) -> Iterator[Line]:
    """What a code means, with an example that raises it and one that does not."""
    yield from flow(f"{code.code} ({code.severity})", tone=Tone.HEAD)
    yield from flow(code.about, 2)
    for title, example in (("With this fault", code.wrong), ("Without it", code.right)):
        if example.strip():
            yield BLANK
            yield Line(f"  {title}", Tone.HEAD)
            yield from (Line(f"    {line}") for line in example.splitlines())
