"""What is told of how failures come to notice: in the normal course, and by checks that the reader has stated."""

from __future__ import annotations

from collections.abc import Iterator

from interlock.diagnostics.frozen import frozen
from interlock.report.views.failures import FailuresView, SetView
from interlock.report.views.failures_facts import CheckFacts
from interlock.report.views.wording import count_of, listed, sentence

HIDDEN = "Sets that break a requirement and need not show"
FOUND = "Sets that a stated check shows"


@frozen
class Noticed:
    """Sets of failures of which the same is to be said; each row has severity, the failures, and what shows them."""

    title: str
    texts: tuple[str, ...]
    rows: tuple[tuple[str, str, str], ...]


def noticing_of(view: FailuresView) -> tuple[Noticed, ...]:
    """What need not show, and what only a check shows; nothing where nobody asked."""
    facts = view.facts
    if facts.course is None and not facts.checks:
        return ()
    places = listed([*(["the normal course"] if facts.course else []), *(["a stated check"] if facts.checks else [])])
    title = f"{HIDDEN} in {places.replace(' and ', ' or in ')}"
    texts = (*_course(view), *(text for check in facts.checks for text in _check(view, check)))
    hidden = view.hidden
    rest = hidden.difference(one.failure for check in facts.checks for one in check.shown)
    dormant, found = [], []
    for one in view.sets:
        if one.failures and hidden.issuperset(one.failures):
            row = one.breaks[0][0].severity, view.said_of(one.failures)
            if rest.issuperset(one.failures):
                dormant.append((*row, ""))
            else:
                found.append((*row, _where(view, one)))
    sections = [Noticed(title, texts, tuple(dormant))]
    if facts.checks:
        only = " and the normal course need not" if facts.course is not None else ""
        sections.append(Noticed(FOUND + only, (), tuple(found)))
    return tuple(sections)


def _course(view: FailuresView) -> Iterator[str]:
    course = view.facts.course
    if course is None:
        return
    number, shown = len(view.facts.failures), len(course.shown)
    text = (
        f"The hold is filled with units of kind {course.unit}, shut, opened and emptied by the checklist that this "
        f"program makes: {count_of(course.steps, 'step')}, each failure there from the beginning. {shown} of "
        f"{number} show for certain at the latest at some step to whoever looks at everything that can be seen; "
        f"{len(course.hidden)} need not"
    )
    yield text + (f"; of {len(course.unknown)} that is not known." if course.unknown else ".")
    if course.why:
        yield f"NOT all of it was followed: {course.why}."


def _check(view: FailuresView, check: CheckFacts) -> Iterator[str]:
    number, shown = len(view.facts.failures), len(check.shown)
    text = (
        f"Check {check.file} ({check.title}): {count_of(check.actions, 'action')}, followed in every sequence in which "
        f"people and equipment can act, each failure there from the beginning. With {shown} of {number} nobody comes "
        f"to its end who heeds what it says must be so; {len(check.hidden)} need not show in it"
    )
    yield text + (f"; of {len(check.unknown)} that is not known." if check.unknown else ".")
    if check.why:
        yield f"NOT followed to an end: {check.why}."


def _where(view: FailuresView, one: SetView) -> str:
    """Which check shows which failure of the set, at the latest at which action."""
    said = []
    for check in view.facts.checks:
        for shown in check.shown:
            if shown.failure in one.failures:
                what = "" if len(one.failures) == 1 else f"{view.said[shown.failure]}: "
                said.append(f"{what}{check.file}, action {shown.step}")
    return sentence("; ".join(said)).rstrip(".") if len(one.failures) > 1 else "; ".join(said)
