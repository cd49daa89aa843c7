"""Analyses of failures and contacts, deferrals, families and fleets told point by point, as audits are.

Of each some point is amiss exactly where its exit code says that something was found, and open where not all is known.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import TypeAlias

from interlock.hold.loader import Part
from interlock.report.views.assumptions import IN_SHORT
from interlock.report.views.audit import AuditView
from interlock.report.views.audit_outcomes import audited
from interlock.report.views.contacts import ContactsView
from interlock.report.views.contacts_facts import ContactFacts, ContactsFacts, Need
from interlock.report.views.deferral import DeferralView
from interlock.report.views.deferral_facts import CaseFacts, DeferralFacts
from interlock.report.views.deferral_facts import Result as DeferralResult
from interlock.report.views.facts import AskedFacts
from interlock.report.views.failures import FailuresView
from interlock.report.views.failures_facts import BrokenFacts, FailuresFacts
from interlock.report.views.family import OPTIONS, FamilyView
from interlock.report.views.family_facts import FamilyFacts, OutcomeFacts
from interlock.report.views.fleet import FleetView
from interlock.report.views.fleet_facts import FleetResult, GroupFacts
from interlock.report.views.gathered import MOST_NAMED, Gathered, How, Line, Point, Sort
from interlock.report.views.identification import Identification
from interlock.report.views.outcomes import FAULT_OF_PROGRAM, NOTHING_ASKED, told_steps
from interlock.report.views.wording import count_of, listed, sentence, shortened

StudyView: TypeAlias = AuditView | FailuresView | ContactsView | DeferralView | FamilyView | FleetView

ASKED = Sort("asked", "Something was asked.")
CASE = Sort("inoperative", "With these items inoperative nothing is possible that must not be, without limitations.")
AIRCRAFT = Sort(
    "aircraft", "On each aircraft, as it is fitted and with what it has deferred, all that was asked holds."
)
ANALYSED = Sort("analysed", "Every failure that may strike was analysed.")
CONTACT = Sort("contact", "Something that was asked needs each contact of the wiring.")
AGREED = Sort("agreed", "No two parts of the program contradict each other.")
HOLDS_MADE = Sort("makes-a-hold", "Every configuration that the options allow makes a hold.")

_CONTACTS: Mapping[Need, How] = {
    "alone": How.FINE,
    "with one more failure": How.FINE,
    "nothing": How.AMISS,
    "not settled": How.OPEN,
}
_CASES: Mapping[DeferralResult, How] = {
    "none needed": How.FINE,
    "needs limitations": How.AMISS,
    "no limitation found": How.AMISS,
    "fails anyway": How.AMISS,
    "no hold": How.AMISS,
    "undecided": How.OPEN,
    "disputed": How.DISPUTED,
}
_AIRCRAFT: Mapping[FleetResult, How] = {
    "holds": How.FINE,
    "fails": How.AMISS,
    "undecided": How.OPEN,
    "rejected": How.REJECTED,
    "disputed": How.DISPUTED,
}


def gathered(view: StudyView) -> Gathered:
    """All points of what was studied."""
    match view:
        case AuditView():
            return audited(view)
        case FailuresView():
            return _failures(view)
        case ContactsView():
            return _contacts(view)
        case DeferralView():
            return _deferral(view)
        case FamilyView():
            return _family(view)
        case FleetView():
            return _fleet(view)


def _of_hold(
    command: str,
    facts: FailuresFacts | ContactsFacts | DeferralFacts | FamilyFacts,
    summary: str,
    sorts: tuple[Sort, ...],
    points: tuple[Point, ...],
    notes: tuple[str, ...] = (),
) -> Gathered:
    """What was studied of one hold."""
    return Gathered(
        command,
        _described(facts.identification, facts.description),
        Part.DESCRIPTION,
        facts.title,
        summary,
        facts.exit_code,
        sorts,
        points,
        facts.assumptions,
        facts.cautions,
        facts.identification,
        (("description", facts.description),),
        notes,
    )


def _failures(view: FailuresView) -> Gathered:
    facts = view.facts
    sorts = _by_text(facts.requirements)
    points = [_broken(view, one, sorts[one.from_]) for one in facts.requirements]
    points += [
        Point(ANALYSED, f"{one.of}.{one.mode}", How.SHOWS_NOTHING, sentence(f"{one.text}: not analysed, {one.chain}"))
        for one in facts.chattering
    ]
    return _of_hold(
        "failures",
        facts,
        view.result,
        (*sorts.values(), ANALYSED, ASKED),
        tuple(points) if facts.requirements else (*points, *NOTHING),
        (view.completeness,),
    )


def _broken(view: FailuresView, one: BrokenFacts, sort: Sort) -> Point:
    """What breaks one requirement; where nothing is known to, whether there may be something."""
    most = view.size
    if one.disputed is not None:
        return Point(sort, one.id, How.DISPUTED, f"{one.id}: {one.disputed}. {FAULT_OF_PROGRAM}")
    whole = one.complete >= most and not one.open
    known = "" if whole else " There may be other sets." + (f" {sentence(one.why)}" if one.why else "")
    if one.sets:
        sets = [" and ".join(found.failures) for found in one.sets if found.failures]
        says = f"{one.id} is broken although nothing fails. " if len(sets) < len(one.sets) else ""
        if sets:
            smallest = f"{count_of(len(sets), 'smallest set')} of failures {'breaks' if len(sets) == 1 else 'break'} it"
            says += f"{one.id}: {smallest}: {'; '.join(sets[:MOST_NAMED])}{_rest(sets)}"
        told = next((found for found in one.sets if found.story is not None), None)
        steps = told_steps(None if told is None else told.story)
        shown = (f"Shown: {view.said_of(told.failures)}.",) if told is not None else ()
        more = (sentence(one.text), f"Hazard: {one.hazard}.", *shown, IN_SHORT)
        return Point(sort, one.id, How.AMISS, says.strip() + known, steps, more)
    if whole:
        says = f"{one.id}: no set of at most {count_of(most, 'failure')} breaks it."
        return Point(sort, one.id, How.FINE, says, (), (f"Checked again by {one.checked_by}.",))
    says = f"{one.id}: no set of failures was found that breaks it.{known}"
    return Point(sort, one.id, How.OPEN, says, (), (sentence(one.text), IN_SHORT))


def _contacts(view: ContactsView) -> Gathered:
    facts = view.facts
    file = _described(facts.identification, facts.description)
    points = [_contact(view, one, file) for one in facts.contacts]
    points += [
        Point(AGREED, str(number), How.DISPUTED, f"{sentence(text)} {FAULT_OF_PROGRAM}")
        for number, text in enumerate(facts.disputed, 1)
    ]
    return _of_hold(
        "contacts",
        facts,
        f"{count_of(len(facts.contacts), 'contact')}, {len(view.of_need('nothing')):,} of them needed by nothing alone",
        (CONTACT, AGREED, ASKED),
        tuple(points) if facts.contacts else (*points, *NOTHING),
        (view.needless,) if view.of_need("nothing") else (),
    )


def _contact(view: ContactsView, one: ContactFacts, file: str) -> Point:
    what = f"{one.contact} in {one.place} of {one.name} ({one.of})"
    told = tuple(sentence(text) for effect in one.without for text in view.told(effect, MOST_NAMED))
    line = one.at.line if one.at.file == file else None
    match one.need:
        case "nothing":
            says = f"{what}: it is proved that nothing that was asked needs it alone."
        case "not settled":
            says = f"{what}: it is not known whether anything that was asked needs it."
        case _:
            return Point(CONTACT, one.id, How.FINE, f"{what}: needed {one.need}.", (), told, line)
    return Point(CONTACT, one.id, _CONTACTS[one.need], says, (), (*told, IN_SHORT), line)


def _deferral(view: DeferralView) -> Gathered:
    facts = view.facts
    return _of_hold(
        "defer",
        facts,
        view.summary,
        (CASE, ASKED),
        tuple(_case(view, one) for one in facts.cases) or NOTHING,
    )


def _case(view: DeferralView, case: CaseFacts) -> Point:
    id = ", ".join(f"{one.id}={one.way}" for one in case.items)
    how = _CASES[case.result]
    says = sentence(f"{listed([one.text for one in case.items])}: {view.result(case)}")
    if how is How.FINE:
        return Point(CASE, id, how, says)
    failing = [*case.failing, *case.lost_work]
    told = next((one for one in failing if one.story is not None), None)
    more = [f"Without limitations these fail: {shortened([one.id for one in failing], MOST_NAMED)}."] if failing else []
    more += [f"The steps break {told.id}: {sentence(told.text)}"] if told is not None else []
    more += [
        f"It suffices to {'; and to '.join(limit.order for limit in option.limitations)}."
        for option in case.options[:MOST_NAMED]
    ]
    return Point(CASE, id, how, says, told_steps(None if told is None else told.story), (*more, IN_SHORT))


def _family(view: FamilyView) -> Gathered:
    facts = view.facts
    sorts = _by_text(facts.outcomes)
    points = [_outcome(view, one, sorts[one.from_]) for one in facts.outcomes]
    points += [
        Point(HOLDS_MADE, view.said(one.combination), How.SHOWS_NOTHING,
              f"A configuration {view.said(one.combination)} makes no hold: {sentence('; '.join(one.why))}")
        for one in facts.not_compiling
    ]  # fmt: skip
    return _of_hold(
        "family",
        facts,
        view.summary,
        (*sorts.values(), HOLDS_MADE, ASKED),
        tuple(points) if facts.outcomes and not facts.not_merged else (*points, *NOTHING),
        (view.extent, *OPTIONS),
    )


def _outcome(view: FamilyView, one: OutcomeFacts, sort: Sort) -> Point:
    asked = count_of(one.asked_in, "configuration")
    if one.disputed:
        return Point(sort, one.id, How.DISPUTED, f"{one.id}: {one.disputed}. {FAULT_OF_PROGRAM}")
    more = (sentence(one.text), f"Hazard: {one.hazard}.", f"Source: {one.source}.", IN_SHORT)
    if one.fails_in:
        says = f"{one.id} fails in {one.fails_in:,} of {asked}: {'; '.join(view.where(one))}."
        told = next((failing for failing in one.fails_with if failing.story is not None), None)
        shown = (f"Shown {view.shown(told)}.",) if told is not None else ()
        return Point(sort, one.id, How.AMISS, says, told_steps(None if told is None else told.story), (*shown, *more))
    if one.undecided_in:
        says = f"{one.id} is undecided in {one.undecided_in:,} of {asked}: {sentence(one.reason)}"
        return Point(sort, one.id, How.OPEN, says, (), more)
    if one.vacuous_in:
        says = f"{one.id} holds, but in {one.vacuous_in:,} of {asked} the situation never arises."
        return Point(sort, one.id, How.SHOWS_NOTHING, says, (), more)
    checked = (f"Checked again by {one.checked_by}.",) if one.checked_by else ()
    return Point(sort, one.id, How.FINE, f"{one.id} holds in each of {asked}.", (), checked)


def _fleet(view: FleetView) -> Gathered:
    facts = view.facts
    points = []
    for one in facts.aircraft:
        configuration = view.configuration(one.configuration)
        says = f"{one.tail}, {configuration.hold}, {view.fitted(configuration)}: {one.result}."
        how = _AIRCRAFT[one.result]
        steps, more = ((), ()) if how is How.FINE else _of_group(view.group(configuration.group))
        points.append(Point(AIRCRAFT, one.tail, how, says, steps, more, one.line))
    return Gathered(
        "fleet",
        facts.file,
        Part.FLEET,
        facts.title,
        view.summary,
        facts.exit_code,
        (AIRCRAFT, ASKED),
        tuple(points) or NOTHING,
        (*facts.assumptions, *dict.fromkeys(line for hold in facts.holds for line in hold.assumptions)),
        facts.cautions,
        facts.identification,
        (("fleet", facts.file),),
    )


def _of_group(group: GroupFacts) -> tuple[tuple[Line, ...], tuple[str, ...]]:
    """A run that shows what is wrong in a group of equal results, and what else is to be said of it."""
    told = next((one for one in group.failing if one.story is not None), None)
    more = [f"{one.id} fails: {sentence(one.text)}" for one in group.failing[:MOST_NAMED]]
    more += [f"{len(group.failing) - MOST_NAMED} more fail."] if len(group.failing) > MOST_NAMED else []
    more += [f"The steps break {told.id}."] if told is not None else []
    more += [sentence(f"{one.id} is undecided: {one.why}") for one in group.open[:MOST_NAMED]]
    more += [f"{one.id}: {one.why}. {FAULT_OF_PROGRAM}" for one in group.disputed]
    more += [sentence(f"{one.code}: {one.message}") for one in group.refusals]
    more += [sentence(group.why)] if group.why else []
    return told_steps(None if told is None else told.story), (*more, IN_SHORT)


NOTHING = (Point(ASKED, "asked", How.OPEN, NOTHING_ASKED, (), (IN_SHORT,)),)


def _by_text(asked: Iterable[AskedFacts]) -> dict[str, Sort]:
    """A sort for each text of a requirement, by its id."""
    return {one.from_: _sort(one) for one in asked}


def _sort(one: AskedFacts) -> Sort:
    severity = one.severity + (f" ({one.scheme})" if one.scheme else "")
    return Sort(one.from_, f"{one.from_} is kept.", (("Hazard", one.hazard), ("Severity", severity)))


def _rest(sets: list[str]) -> str:
    return f"; and {len(sets) - MOST_NAMED} more." if len(sets) > MOST_NAMED else "."


def _described(made_from: Identification, label: str) -> str:
    """The file in which the hold is described, else what the reader calls it."""
    return next((one.name for one in made_from.files if one.part is Part.DESCRIPTION), label)
