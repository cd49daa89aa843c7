"""What may be deferred as one page, for whoever approves."""

from __future__ import annotations

from collections.abc import Iterator

from interlock.report.html.page import page
from interlock.report.views.deferral import DeferralView
from interlock.report.views.sheets import Sheet
from interlock.report.views.wording import count_of, listed, sentence


def deferral_html(view: DeferralView) -> str:
    """The page."""
    return page("deferral.html.j2", _sheet(view), view=view, facts=view.facts)


def _sheet(view: DeferralView) -> Sheet:
    facts = view.facts
    return Sheet(
        "Items inoperative: what may be deferred, and under which limitations",
        facts.title,
        sentence(view.summary),
        view.tone,
        tuple(view.result(case) for case in facts.cases if case.result == "disputed"),
        (("Asked", count_of(len(facts.cases), "case")),),
        facts.identification,
        facts.cautions,
        facts.assumptions,
        tuple(_scope(view)),
    )


def _scope(view: DeferralView) -> Iterator[str]:
    """What was not looked at, or is not known."""
    for case in view.facts.cases:
        about = listed([one.text for one in case.items])
        if case.looked_at:
            size = count_of(case.size, "limitation")
            yield sentence(f"{about}: looked at, up to {size} together: {'; '.join(case.looked_at)}")
        if case.why:
            yield sentence(f"{about}: left open, as {case.why}")
