"""An audit told point by point, for programs that gather results of many sorts of check and show them."""

from __future__ import annotations

from collections.abc import Iterator

from interlock.hold.loader import Part
from interlock.report.views.assumptions import IN_SHORT
from interlock.report.views.audit import AuditView
from interlock.report.views.audit_facts import Effect, Verdict
from interlock.report.views.blame import CAUTION
from interlock.report.views.facts import Run
from interlock.report.views.gathered import MOST_NAMED, Gathered, How, Point, Sort
from interlock.report.views.outcomes import FAULT_OF_PROGRAM, reason_said, step_said
from interlock.report.views.wording import sentence, shortened

ACTION = Sort("action", "Each action is possible, whatever the equipment does in between.")
GOAL = Sort("goal", "The goal is reached.")
REQUIREMENT = Sort("requirement", "Each requirement is kept by the procedure as it is written.")
INTERRUPTION = Sort("interruption", "Wherever people are called away, no requirement is at risk.")
SLIP = Sort("slip", "No single slip breaks a requirement.")
FAILURE = Sort("failure", "No single declared failure breaks a requirement along the procedure.")
LOOK_FIRST = Sort("look-first", "Nothing in the procedure is named to be looked at first.")
OPEN = Sort("open", "All that was asked was decided.")
DISPUTE = Sort("dispute", "No two parts of the program contradict each other.")
SORTS = (ACTION, GOAL, REQUIREMENT, INTERRUPTION, SLIP, FAILURE, LOOK_FIRST, OPEN, DISPUTE)


def audited(view: AuditView) -> Gathered:
    """All points: some is amiss exactly where the audit has findings, and open or disputed where the audit is."""
    facts = view.facts
    return Gathered(
        "audit",
        facts.procedure,
        Part.PROCEDURE,
        facts.title,
        view.summary(),
        facts.exit_code,
        SORTS,
        tuple(_points(view)),
        facts.assumptions,
        facts.cautions,
        facts.identification,
        (("procedure", facts.procedure), ("hold", facts.hold)),
    )


def _points(view: AuditView) -> Iterator[Point]:
    facts = view.facts
    for one in facts.actions:
        fine = one.verdict is Verdict.POSSIBLE
        says = sentence(f"action {one.number}, {one.text}: {one.verdict}")
        why = tuple(sentence(reason_said(reason)) for reason in one.why)
        yield _point(ACTION, str(one.number), not fine, says, one.run, why, one.line)
    missed = facts.goal_missed is not None
    says = "The goal is missed without any slip." if missed else "Without slips nothing ends with the goal missed."
    yield _point(GOAL, "goal", missed, says, facts.goal_missed)
    broken = {one.requirement: one for one in facts.broken}
    for held in facts.requirements:
        breach = broken.get(held.id)
        power = " where power is lost" if breach is not None and breach.only_when_power_is_lost else ""
        says = f"{held.id}: {held.held_by}." if breach is None else f"{held.id} is broken without any slip{power}."
        told = sentence(held.text), f"Hazard: {held.hazard}.", f"Source: {held.source}."
        yield _point(REQUIREMENT, held.id, breach is not None, says, None if breach is None else breach.run, told)
    for stop in facts.interruptions:
        risks = (*stop.can_be_broken, *stop.can_be_broken_if_power_is_lost)
        if risks:
            where = f"{'in the middle of' if stop.in_the_middle else 'before'} action {stop.before_action}"
            says = f"With people called away {where}, these can be broken: {shortened(risks, MOST_NAMED)}."
            yield _point(INTERRUPTION, where, True, says)
    for slip in facts.slips or ():
        if slip.effect is Effect.HAZARD:
            says = sentence(f"at action {slip.action}, {slip.text}: {shortened(slip.breaks, MOST_NAMED)} can be broken")
            line = view.line_of(slip.action) if slip.action <= len(facts.actions) else None
            yield _point(SLIP, slip.id, True, says, slip.run, (), line)
    for failure in () if facts.failures is None else facts.failures.hazardous:
        says = sentence(f"{failure.failure}: {shortened(failure.breaks, MOST_NAMED)} can be broken")
        yield _point(FAILURE, failure.failure, True, says, failure.run)
    for number, guilty in enumerate(facts.look_first, 1):
        says = sentence("; ".join(filter(None, (guilty.what, guilty.instead))))
        yield _point(LOOK_FIRST, str(number), True, says, None, (CAUTION,), guilty.at.line)
    for number, text in enumerate(facts.undecided, 1):
        yield Point(OPEN, str(number), How.OPEN, sentence(text), (), (IN_SHORT,))
    for dispute in facts.disputed:
        said = f"{dispute.question}: {dispute.what}. {FAULT_OF_PROGRAM}"
        yield Point(DISPUTE, dispute.question, How.DISPUTED, said)


def _point(
    sort: Sort,
    id: str,
    amiss: bool,
    says: str,
    run: Run | None = None,
    more: tuple[str, ...] = (),
    line: int | None = None,
) -> Point:
    steps = () if run is None or not amiss else tuple(map(step_said, run.steps))
    told = (*more, IN_SHORT) if amiss else more
    return Point(sort, id, How.AMISS if amiss else How.FINE, says, steps, told, line)
