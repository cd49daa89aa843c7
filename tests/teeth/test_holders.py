"""What is said to hold a requirement, for each answer about the hold alone and each way in which work breaks it."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import pytest

from interlock.study.procedure.graph import procedure_graph
from interlock.study.procedure.holders import Holder, holders_of
from interlock.study.procedure.interleavings import Hazard, hazards_of
from interlock.study.verify import Status, Verification, leave_undecided
from tests.teeth.procedures import bind, demo

KEPT, LOST, BROKEN = range(3)
"""The procedure keeps the requirement; breaks it only where power is lost; breaks it."""

SAID = {
    Status.HOLDS: (Holder.INTERLOCK, Holder.DISPUTED, Holder.DISPUTED),
    Status.VACUOUS: (Holder.INTERLOCK, Holder.DISPUTED, Holder.DISPUTED),
    Status.FAILS: (Holder.PROCEDURE, Holder.SUPPLIED, Holder.NOTHING),
    Status.UNDECIDED: (Holder.OPEN, Holder.OPEN, Holder.NOTHING),
    Status.DISPUTED: (Holder.DISPUTED, Holder.DISPUTED, Holder.DISPUTED),
    None: (Holder.NOT_ASKED, Holder.NOT_ASKED, Holder.NOTHING),
}
"""By the answer about the hold alone, None where that was not asked."""


@cache
def asked() -> tuple[tuple[Hazard, ...], Verification]:
    """Two requirements of a demonstration, and answers to be changed."""
    bound = bind(demo("open-and-shut"))
    hazards = tuple(hazards_of(procedure_graph(bound)))[:2]
    ids = [hazard.instance.requirement.id for hazard in hazards]
    return hazards, leave_undecided(bound.compiled, "not tried", ids)


@pytest.mark.parametrize("status", SAID)
@pytest.mark.parametrize("work", (KEPT, LOST, BROKEN))
def test_what_holds_a_requirement(status: Status | None, work: int) -> None:
    """What the interlock holds nothing breaks; what work breaks plainly nothing holds; the rest as far as asked."""
    hazards, undecided = asked()
    id = hazards[0].instance.requirement.id
    first, second = undecided.answers
    verification = None if status is None else replace(undecided, answers=(replace(first, status=status), second))
    broken = {} if work == KEPT else {id: work == LOST}
    held, other = holders_of(hazards, verification, broken, None)
    assert held.instance is hazards[0].instance
    assert held.holder is SAID[status][work]
    assert held.arises is (status is not Status.VACUOUS)
    assert other.holder is (Holder.NOT_ASKED if status is None else Holder.OPEN)
    assert (held.fewest, other.fewest) == (None, None)
