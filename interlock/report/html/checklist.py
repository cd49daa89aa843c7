"""A checklist as one printable page, with a plan of the hold at the end of every part."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from functools import partial
from itertools import pairwise

from interlock.diagnostics.said import in_language, say
from interlock.report.drawing.pieces import changed_plan, plan_key, whole_plan
from interlock.report.html.page import page
from interlock.report.translation import ENGLISH, Translation
from interlock.report.views.assumptions import assumptions_of
from interlock.report.views.checklist import ChecklistView
from interlock.report.views.sheets import PROVED, WORKERS, Sheet
from interlock.report.views.wording import sentence

BESIDE_PT = 280.0
"""A plan no wider than this, in points, has the steps beside it."""
BESIDE_STEPS = 3
"""So many at least, which with what stands before each are as high as a plan."""


def checklist_html(view: ChecklistView, language: Translation = ENGLISH) -> str:
    """The page."""
    compiled, states = view.compiled, view.states
    tell = partial(in_language, language=language)
    plans = [
        changed_plan(compiled, before, after, say("After part {number}", number=number), tell)
        for number, (before, after) in enumerate(pairwise(states), 1)
    ]
    return page(
        "checklist.html.j2",
        _sheet(view),
        language,
        list=view.facts.checklist,
        legs=view.parts,
        first=whole_plan(compiled, states[0], say("The hold before you start"), tell),
        key=plan_key(compiled, states[0], tell),
        plans=plans,
        orders=_orders(view),
        beside=BESIDE_PT,
        beside_steps=BESIDE_STEPS,
    )


def _sheet(view: ChecklistView) -> Sheet:
    facts = view.facts
    about = [(say("Hold"), facts.title)]
    about += [] if facts.situation is None else [(say("Starts from"), facts.situation)]
    return Sheet(
        say("Checklist"),
        facts.goal,
        sentence(view.summary),
        view.tone,
        (),
        tuple(about),
        facts.identification,
        facts.cautions,
        (*facts.checklist.claims, *assumptions_of(view.compiled)[1:], facts.scheme),
        tuple(_scope(view)),
        WORKERS,
        PROVED,
    )


def _orders(view: ChecklistView) -> Mapping[str, list[str]]:
    """What is said of the order of the steps, by the numbers of the parts of which it is said."""
    found: dict[str, list[str]] = {}
    for number, part in enumerate(view.parts, 1):
        found.setdefault(part.orders, []).append(str(number))
    return found


def _scope(view: ChecklistView) -> Iterator[str]:
    """What is left open."""
    yield from (sentence(say("left open: {text}", text=text)) for text in view.facts.checklist.left_open)
    if view.facts.checklist.slips is None:
        yield say("Slips were not followed to an end: warnings may be missing.")
