"""An audit as one page to print and sign."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import groupby

from interlock.report.html.page import letters, page
from interlock.report.views.audit import AuditView
from interlock.report.views.audit_facts import Effect
from interlock.report.views.interruptions import InterruptionTold
from interlock.report.views.margin import MARGIN, others_text
from interlock.report.views.sheets import Sheet
from interlock.report.views.wording import ALREADY, count_of, sentence

MOST_LEFT = 4


def audit_html(view: AuditView) -> str:
    """The page."""
    facts, slips = view.facts, view.facts.slips or ()
    return page(
        "audit.html.j2",
        _sheet(view),
        view=view,
        facts=facts,
        already=ALREADY,
        schemes=sorted({one.scheme for one in facts.requirements if one.scheme}),
        sources=letters(group.text.source for group in view.groups),
        interruptions=list(_interruptions(view)),
        at_risk=_at_risk(view),
        hazardous=[one for one in slips if one.effect is Effect.HAZARD],
        unnoticed=[one for one in slips if one.effect is Effect.UNNOTICED],
        margin_title=MARGIN,
        others="" if facts.margin is None else others_text(facts.margin),
    )


def _sheet(view: AuditView) -> Sheet:
    facts = view.facts
    steady, lost = facts.places.supplies_steady, facts.places.power_lost_or_interrupted
    followed = (
        f"{count_of(steady, 'point')} of the procedure with supplies steady, {lost:,} with power lost and people "
        "called away"
    )
    return Sheet(
        "Audit of a written procedure",
        facts.title,
        sentence(view.result),
        view.tone,
        tuple(f"{one.question}: {one.what}" for one in facts.disputed),
        (
            ("Procedure", facts.procedure),
            ("Hold", f"{view.hold_title} ({facts.hold})"),
            ("Starts from", facts.start),
            ("Followed", f"{count_of(len(facts.actions), 'action')}; {followed} at any point"),
        ),
        facts.identification,
        facts.cautions,
        facts.assumptions,
        tuple(_scope(view)),
    )


def _scope(view: AuditView) -> Iterator[str]:
    """What was not asked, or is left open."""
    yield from (sentence(f"left open: {text}") for text in view.facts.undecided)
    if not view.asked:
        yield "What the interlock alone holds was not asked."
    if view.slips is None:
        yield "Slips were not asked for, or not followed to an end."
    if view.facts.failures is None:
        yield "Declared failures were not followed."
    vacuous = dict.fromkeys(group.text.from_ for group in view.groups if not group.arises)
    if vacuous:
        yield f"Their situation never arises, so that they show nothing: {', '.join(vacuous)}."


def _interruptions(view: AuditView) -> Iterator[tuple[str, str, str, str]]:
    """One row for neighbouring places of which the same is to be said."""

    def said(one: InterruptionTold) -> tuple[str, str, str]:
        left = one.facts.left_behind
        more = [f"{len(left) - MOST_LEFT} more"] if len(left) > MOST_LEFT else []
        return one.risks, "; ".join([*left[:MOST_LEFT], *more]), one.afterwards

    for row, alike in groupby(view.interruptions, key=said):
        first, *others = alike
        yield (f"from {first.where} to {others[-1].where}" if others else first.where, *row)


def _at_risk(view: AuditView) -> tuple[str, ...]:
    """The ids of the requirements that an interruption can break."""
    found = (id for one in view.facts.interruptions for id in (*one.can_be_broken, *one.can_be_broken_if_power_is_lost))
    return tuple(dict.fromkeys(found))
