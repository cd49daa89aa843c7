"""A functional test as one printable page, with a plan of the hold as it is when the test begins."""

from __future__ import annotations

from collections.abc import Iterator

from interlock.report.drawing.pieces import plan_key, whole_plan
from interlock.report.html.page import page
from interlock.report.views.assumptions import assumptions_of
from interlock.report.views.functional_test import KEEP_CLEAR, FunctionalTestView
from interlock.report.views.sheets import PROVED, WORKERS, Sheet
from interlock.report.views.wording import count_of, sentence


def functional_test_html(view: FunctionalTestView) -> str:
    """The page."""
    return page(
        "functional_test.html.j2",
        _sheet(view),
        facts=view.facts,
        view=view,
        keep_clear=KEEP_CLEAR,
        plan=whole_plan(view.compiled, view.start, "The hold before you start"),
        key=plan_key(view.compiled, view.start),
    )


def _sheet(view: FunctionalTestView) -> Sheet:
    facts = view.facts
    return Sheet(
        "Functional test of what the modification touches" if facts.only_changed else "Functional test",
        facts.title,
        sentence(view.summary()),
        view.tone,
        (),
        (("Asked", f"{count_of(len(facts.coverage), 'failure')} of the equipment"),),
        facts.identification,
        facts.cautions,
        (*facts.claims, *assumptions_of(view.compiled)[1:], facts.scheme),
        tuple(_scope(view)),
        WORKERS,
        PROVED,
    )


def _scope(view: FunctionalTestView) -> Iterator[str]:
    """What it does not show, and whether more could be shown."""
    yield from (f"{count_of(len(some), 'failure')} not shown: {why}." for why, some in view.hidden.items())
    if view.facts.cut:
        yield sentence(f"{view.facts.cut}; longer looking may show more")
