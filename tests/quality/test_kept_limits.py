"""Limits of deferred items that nobody but people keep: in checklists, and in what audits take for granted."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache
from typing import Any

import pytest

from interlock.hold.compile.compiler import CompiledHold
from interlock.kernel.claims import Limits, silent
from interlock.kernel.machine import Question
from interlock.prove.decide import decide
from interlock.report.views.audit import audit_view
from interlock.report.views.checklist import ChecklistView, checklist_view
from interlock.report.views.kept_limits import APPROVED, limit_words
from interlock.report.yaml.procedure import checklist_procedure, steps_of_actions
from interlock.study.checklist.audit import ChecklistAudit, audit_checklist
from interlock.study.checklist.goals import Load
from interlock.study.checklist.making import Checklist, make_checklist
from interlock.study.procedure.forgotten import limits_kept
from interlock.study.sessions import Session
from interlock.study.verify import Status, verify
from tests.agreement.hold_texts import compile_source, overlay, standing
from tests.some import telling

DEFERRED = "  - {defer: S3, in: kept_down, because: spring broken, limit: 4C is empty}\n"
NOT_ASKED = """\
  - change: lanes_secured
    to:
      is: >
        not over_S1 and not over_S2 and not over_S3 and (at1 implies up_M1) and (at2 implies up_S1 and up_M2) and
        (at3 implies up_S2 and up_M3)
"""
"""The door catch no longer asks for the latch behind bay 4C."""
CHECK = "Make sure that the limit for deferred spring latch 3 is kept: 4C is empty."


@cache
def _compiled(changes: str) -> CompiledHold:
    return compile_source(overlay("single-lane", changes), standing())


@cache
def _audited(changes: str) -> tuple[Checklist, ChecklistAudit]:
    made = make_checklist(_compiled(changes), Load((("2C", "HALF"),)))
    assert isinstance(made, Checklist), made
    return made, audit_checklist(made, checklist_procedure(made, "hold.yaml"), steps_of_actions(made), Limits())


def test_what_an_interlock_keeps_is_said_to_be_kept_by_it() -> None:
    """With the switch asked, no door can be shut against the limit, and nothing is asked of people."""
    (limit,) = limits_kept(_compiled(DEFERRED), Limits(), silent)
    assert (limit.by_people, limit.broken, limit.open) == (False, (), ())
    assert "kept by the interlock" in limit_words(limit) and APPROVED in limit_words(limit)
    assert limits_kept(_compiled("  - {change: lanes_secured, to: {name: lane all secured}}\n"), Limits(), silent) == ()


def test_what_people_alone_keep_is_told_with_what_breaks_where_they_forget() -> None:
    """Without the contact the limit is people's, and what it keeps whole is named; what fails anyway is not."""
    (limit,) = limits_kept(_compiled(DEFERRED + NOT_ASKED), Limits(), silent)
    assert limit.by_people and not limit.open
    assert [one.requirement.id for one in limit.broken] == ["secured-behind-shut-doors[4C]"]
    assert "kept by people alone" in limit_words(limit) and "secured-behind-shut-doors[4C]" in limit_words(limit)


@pytest.mark.parametrize("changes", telling([DEFERRED, DEFERRED + NOT_ASKED], DEFERRED + NOT_ASKED))
def test_what_is_proved_is_not_asked_again(changes: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """With the proof of the hold at hand the same is found, and of what fails only whether the limit keeps it away."""
    compiled = _compiled(changes)
    alone = limits_kept(compiled, Limits(), silent)
    never = [one.requirement.id for one in compiled.instances if not one.requirement.kind.is_about_work]
    proved, asked = verify(compiled, decide, Limits(), chosen=never), list[str]()
    true = Session.claim_and_confirm

    def noted(self: Session, questions: Sequence[Question], *more: Any) -> Any:
        asked.extend(question.id for question in questions)
        return true(self, questions, *more)

    monkeypatch.setattr(Session, "claim_and_confirm", noted)
    assert limits_kept(compiled, Limits(), silent, proved) == alone
    failing = {one.instance.requirement.id for one in proved.answers if one.status is Status.FAILS}
    # their runs show what is so without the limit
    assert asked == [f"S3/{id}/kept" for id in sorted(failing - {"deferral-limits-kept[S3]"})]


@pytest.mark.parametrize("changes", [DEFERRED, DEFERRED + NOT_ASKED])
def test_a_checklist_has_the_limit_checked_before_a_door_is_shut(changes: str) -> None:
    """The check stands behind the part before that in which the door is shut, and is one of the audited procedure."""
    made, audited = _audited(changes)
    view = checklist_view("hold.yaml", made, audited, 0)
    assert isinstance(view, ChecklistView)
    parts = view.facts.checklist.parts
    (at,) = (number for number, part in enumerate(parts) if CHECK in part.checks)
    shut = [number for number, part in enumerate(parts) if any("Close" in step.instruction for step in part.steps)]
    assert at + 1 in shut
    assert [one.bound.action.text for one in audited.audit.actions].count("check S3 is within_limit") == 1
    (limit,) = audited.audit.limits
    assert limit_words(limit) in view.facts.cautions
    assert limit_words(limit) in audit_view(audited.audit, "hold.yaml", 0).facts.assumptions
    guards = [guard for part in parts for step in part.steps for guard in step.guards]
    warned = [guard for guard in guards if "spring latch 3" in guard.hazard]
    assert bool(warned) is (limit.by_people is True)
    assert all("4C is empty" in guard.avoid and APPROVED in guard.avoid for guard in warned)
