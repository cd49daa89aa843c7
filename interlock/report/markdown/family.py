"""What a hold is with every combination of its options, as Markdown."""

from __future__ import annotations

from collections.abc import Iterator

from interlock.report.languages import in_markdown
from interlock.report.markdown.writing import bullets, heading, identified, signature, table
from interlock.report.views.family import FamilyView
from interlock.report.views.wording import sentence


def family_markdown(view: FamilyView) -> str:
    """All of it, but for the runs."""
    return "\n".join(_parts(view)) + "\n"


def _parts(view: FamilyView) -> Iterator[str]:
    facts = view.facts
    yield from heading(f"All combinations of options: {facts.title}", 1)
    yield f"- description: {in_markdown(facts.description)}"
    yield f"- result: {in_markdown(view.summary)}"
    yield ""
    yield in_markdown(view.extent)
    yield ""
    yield from heading("Options")
    yield from table(
        ("option", "what it is", "never with", "only with"),
        ((one.id, one.name, ", ".join(one.excludes), ", ".join(one.needs)) for one in facts.options),
    )
    if facts.not_compiling:
        yield from heading("Combinations that make no hold")
        yield from table(
            ("options", "why"),
            ((view.said(one.combination), " ".join(map(sentence, one.why))) for one in facts.not_compiling),
        )
    if view.disputed:
        yield from heading("DISPUTED: use no result of this run")
        yield from bullets(f"{one.id}: {one.disputed}" for one in view.disputed)
    if view.failing:
        yield from heading("What fails in some configuration")
        yield from table(
            ("requirement", "hazard, severity", "where", "of"),
            (
                (
                    view.said_of(fate),
                    f"{fate.first.hazard}, {fate.first.severity} ({fate.first.scheme})",
                    "; ".join(view.where(fate.first)),
                    f"{fate.first.fails_in} of {fate.first.asked_in}",
                )
                for fate in view.failing
            ),
        )
    if view.undecided:
        yield from heading("What is not decided")
        yield from table(
            ("requirement", "in", "why"),
            (
                (view.said_of(fate), f"{fate.first.undecided_in} of {fate.first.asked_in}", fate.first.reason)
                for fate in view.undecided
            ),
        )
    if view.vacuous:
        yield from heading("What holds only because its situation never arises")
        yield from table(
            ("requirement", "in"),
            ((view.said_of(fate), f"{fate.first.vacuous_in} of {fate.first.asked_in}") for fate in view.vacuous),
        )
    yield from heading("What this assumes")
    yield from bullets(facts.assumptions)
    yield from identified(facts.identification)
    yield from heading("Caution")
    yield from bullets(facts.cautions)
    yield from signature()
