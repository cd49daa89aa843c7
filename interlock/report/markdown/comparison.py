"""A comparison of two holds as Markdown: what a reviewer of a change reads."""

from __future__ import annotations

from collections.abc import Iterator

from interlock.report.languages import in_markdown
from interlock.report.markdown.writing import bullets, heading, identified, signature, table
from interlock.report.views.blame import said_changes
from interlock.report.views.comparison import ORDER, TOLD_TURNS, ComparisonView
from interlock.report.views.comparison_facts import DifferenceFacts
from interlock.report.views.wording import ACTORS, count_of, listed, sentence


def comparison_markdown(view: ComparisonView) -> str:
    """The whole comparison."""
    return "\n".join(_parts(view)) + "\n"


def _parts(view: ComparisonView) -> Iterator[str]:
    facts = view.facts
    yield from heading(f"{facts.first.title}, and {facts.second.title}", 1)
    yield f"- first: {in_markdown(facts.first.description)}"
    yield f"- second: {in_markdown(facts.second.description)}"
    yield f"- result: **{in_markdown(view.summary)}**"
    if facts.verdicts is not None:
        yield f"- requirements: {in_markdown(view.turns)}"
    yield ""
    yield from heading("What is written otherwise")
    yield from table(
        ("what", "now", "before", "where"),
        ((one.item, one.now, one.was, f"{one.at.file}, line {one.at.line}") for one in facts.descriptions),
    )
    yield from bullets(
        f"{one.first} is called {one.second}{' (guessed)' if one.guessed else ''}" for one in facts.renamed
    )
    if facts.starts:
        yield from heading("At the start of one of them alone")
        yield from bullets(f"{one.of} hold: {one.text}" for one in facts.starts)
    yield from heading("What became of the requirements")
    yield from table(
        ("requirement", "became", "first", "second", "hazard", "severity"),
        (
            (one.id, turn, one.first or "", one.second or "", one.hazard, f"{one.severity} ({one.scheme})")
            for turn in TOLD_TURNS
            for one in view.turned(turn)
        ),
    )
    for what in ORDER:
        found = view.of(what)
        if found:
            yield from heading(sentence(what).rstrip("."))
        for one in found:
            yield from _difference(one)
    if facts.not_otherwise:
        yield from heading("Proved not to be otherwise")
        yield from bullets(f"{one.what}: none; asked of: {listed(one.texts)}" for one in facts.not_otherwise)
        yield f"Checked again by {in_markdown(facts.checked_by)}."
        yield ""
    if facts.open:
        yield from heading("Not known")
        yield from bullets(facts.open)
    yield from heading("What this comparison assumes")
    yield from bullets(facts.assumptions)
    yield from identified(facts.identification)
    yield from heading("Caution")
    yield from bullets(facts.cautions)
    yield from signature()


def _difference(one: DifferenceFacts) -> Iterator[str]:
    yield from heading(sentence(one.text), 3)
    end = "no shorter sequence does" if one.shortest else "a shorter one may exist"
    yield f"After {count_of(one.steps, 'step')} that both can take ({end}):"
    yield ""
    for step in one.story.steps:
        responses = f"; {'; '.join(step.responses)}" if step.responses else ""
        yield f"{step.number}. {ACTORS[step.actor]}: {in_markdown(step.text + responses)}"
    yield ""
    if one.comes_from:
        said = " or ".join(said_changes(changes) for changes in one.comes_from)
        yield f"Comes from {in_markdown(said)}: without, this sequence no longer leads there."
        yield ""
    if one.then or one.then_in_other:
        here, there = ("; ".join(texts) or "nothing changes" for texts in (one.then, one.then_in_other))
        yield f"Then, in the {one.told_of} hold: {in_markdown(here)}; in the other one: {in_markdown(there)}."
        yield ""
    if one.others:
        yield f"So too: {in_markdown(listed(one.others))}."
        yield ""
