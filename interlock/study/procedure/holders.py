"""What holds each requirement: the interlock, only the procedure, or nothing."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum

from interlock.hold.compile.requirements import Instance
from interlock.study.procedure.interleavings import Hazard
from interlock.study.procedure.slip_audit import SlipAudit
from interlock.study.verify import Status, Verification


class Holder(StrEnum):
    """What keeps a requirement from being broken."""

    INTERLOCK = "interlock"
    PROCEDURE = "procedure only"
    SUPPLIED = "procedure only, while supplies are steady"
    NOTHING = "nothing"
    OPEN = "undecided"
    NOT_ASKED = "not asked"
    DISPUTED = "disputed"


@dataclass(frozen=True, slots=True)
class Held:
    """One requirement; `fewest` slips break it (None: not by up to two, or not asked); `arises`: its situation does."""

    instance: Instance
    holder: Holder
    fewest: int | None
    arises: bool = True


def holders_of(
    hazards: Sequence[Hazard],
    verification: Verification | None,
    broken: Mapping[str, bool],
    slips: SlipAudit | None,
) -> tuple[Held, ...]:
    """One for each requirement, in order; `broken` tells those that the procedure breaks, and whether only by a loss
    of power."""
    status = {}
    if verification is not None:
        status = {answer.instance.requirement.id: answer.status for answer in verification.answers}
    found = []
    for hazard in hazards:
        id = hazard.instance.requirement.id
        fewest = None if slips is None else slips.fewest(id)
        holder = _holder(status.get(id), broken.get(id))
        if verification is None and holder is Holder.OPEN:
            holder = Holder.NOT_ASKED
        found.append(Held(hazard.instance, holder, fewest, status.get(id) is not Status.VACUOUS))
    return tuple(found)


def _holder(status: Status | None, lost: bool | None) -> Holder:
    if status in (Status.HOLDS, Status.VACUOUS):
        return Holder.INTERLOCK if lost is None else Holder.DISPUTED
    if status is Status.DISPUTED:
        return Holder.DISPUTED
    if lost is False:
        return Holder.NOTHING
    if status is Status.FAILS:
        return Holder.PROCEDURE if lost is None else Holder.SUPPLIED
    return Holder.OPEN
