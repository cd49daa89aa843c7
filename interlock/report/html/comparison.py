"""A comparison of two holds as one page to print and sign."""

from __future__ import annotations

from collections.abc import Iterator

from interlock.report.html.page import page
from interlock.report.views.blame import said_changes
from interlock.report.views.comparison import ORDER, TOLD_TURNS, ComparisonView
from interlock.report.views.sheets import Sheet
from interlock.report.views.wording import count_of, sentence


def comparison_html(view: ComparisonView) -> str:
    """The page."""
    turns = [(sentence(turn).rstrip("."), len(found)) for turn in TOLD_TURNS if (found := view.turned(turn))]
    counted = [(sentence(what).rstrip("."), len(view.of(what))) for what in ORDER]
    return page(
        "comparison.html.j2",
        _sheet(view),
        view=view,
        facts=view.facts,
        order=ORDER,
        turns=TOLD_TURNS,
        counted=[*counted, *turns],
        said_changes=said_changes,
    )


def _sheet(view: ComparisonView) -> Sheet:
    facts = view.facts
    about = [
        ("First", f"{facts.first.title} ({facts.first.description})"),
        ("Second", f"{facts.second.title} ({facts.second.description})"),
    ]
    if facts.verdicts is not None:
        about.append(("Requirements", view.turns))
    if facts.checked_by:
        about.append(("Proofs checked by", facts.checked_by))
    return Sheet(
        "Two holds compared",
        facts.second.title,
        view.summary,
        view.tone,
        () if facts.disputed is None else (facts.disputed,),
        tuple(about),
        facts.identification,
        facts.cautions,
        facts.assumptions,
        tuple(_scope(view)),
    )


def _scope(view: ComparisonView) -> Iterator[str]:
    """What was not asked, or is not known."""
    facts = view.facts
    if facts.verdicts is None:
        yield "What became of the requirements was not asked."
    for text in facts.open:
        yield sentence(f"not known: {text}, as {facts.why_open}")
    others = sum(len(one.not_settled) for one in facts.differences)
    if others:
        yield f"Of {count_of(others, 'step')} or states like those that are shown it was not asked whether they are so."
