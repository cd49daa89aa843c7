"""What a hold is with every combination of its options, as one page to print and sign."""

from __future__ import annotations

from collections.abc import Iterator

from interlock.report.html.page import page
from interlock.report.views.family import FamilyView
from interlock.report.views.sheets import Sheet
from interlock.report.views.wording import count_of, sentence


def family_html(view: FamilyView, told: int) -> str:
    """The page; so many runs are told step by step."""
    return page("family.html.j2", _sheet(view), view=view, facts=view.facts, told=told)


def _sheet(view: FamilyView) -> Sheet:
    facts = view.facts
    about = [("Options", count_of(len(facts.options), "option")), ("Configurations", str(facts.asked))]
    if facts.fitted:
        about.append(("Fitted in all", ", ".join(facts.fitted)))
    return Sheet(
        "All combinations of options",
        facts.title,
        sentence(view.summary),
        view.tone,
        tuple(f"{one.id}: {one.disputed}" for one in view.disputed),
        tuple(about),
        facts.identification,
        facts.cautions,
        facts.assumptions,
        tuple(_scope(view)),
    )


def _scope(view: FamilyView) -> Iterator[str]:
    """What was not compared, makes no hold, is not known, or holds only because nothing asks for it."""
    yield view.extent
    for one in view.facts.not_compiling:
        yield sentence(f"{view.said(one.combination)} there is no hold: {'; '.join(one.why)}")
    for fate in view.undecided:
        where = f"{fate.first.undecided_in} of {fate.first.asked_in} configurations"
        yield sentence(f"not decided in {where}, as {fate.first.reason}: {view.said_of(fate)}")
    for fate in view.vacuous:
        where = f"{fate.first.vacuous_in} of {fate.first.asked_in} configurations"
        yield sentence(f"in {where} its situation never arises: {view.said_of(fate)}")
