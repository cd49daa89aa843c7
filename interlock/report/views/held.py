"""What holds each requirement along a procedure, requirements that are held alike together."""

from __future__ import annotations

from collections.abc import Sequence

from interlock.diagnostics.frozen import frozen
from interlock.report.views.audit_facts import AuditFacts, HeldFacts, Holder
from interlock.report.views.tones import Tone

TONES = {
    Holder.DISPUTED: Tone.LOUD,
    Holder.NOTHING: Tone.BAD,
    Holder.SUPPLIED: Tone.BAD,
    Holder.PROCEDURE: Tone.OPEN,
    Holder.OPEN: Tone.OPEN,
    Holder.NOT_ASKED: Tone.PLAIN,
    Holder.INTERLOCK: Tone.GOOD,
}
"""Worst first."""


@frozen
class HeldGroup:
    """The requirements of one text that are held alike.

    `fewest` is how few slips break one of them, `failures` how many declared failures alone do; both for a cell of a
    table: `-` where that does not apply, `>1` where pairs were not followed to an end.
    """

    holder: Holder
    tone: Tone
    members: tuple[HeldFacts, ...]
    fewest: str
    failures: str

    @property
    def text(self) -> HeldFacts:
        """What the members share: id of the text (`from_`), hazard, severity, scheme, source."""
        return self.members[0]

    @property
    def arises(self) -> bool:
        """Whether the situation of some member does."""
        return any(one.situation_arises for one in self.members)


def held_groups(facts: AuditFacts, together: int | None) -> tuple[HeldGroup, ...]:
    """By requirement text and by what holds it; worst first, else in the order of the texts."""
    found: dict[tuple[str, Holder], list[HeldFacts]] = {}
    for one in facts.requirements:
        found.setdefault((one.from_, one.held_by), []).append(one)
    failing = facts.failures
    known = failing is not None and failing.not_followed is None and failing.declared
    groups = []
    for (_, holder), members in found.items():
        ids = {one.id for one in members}
        broken = 0 if failing is None else sum(not ids.isdisjoint(one.breaks) for one in failing.hazardous)
        fewest = _fewest(holder, members, together)
        groups.append(HeldGroup(holder, TONES[holder], tuple(members), fewest, str(broken) if known else "-"))
    return tuple(sorted(groups, key=lambda group: list(TONES).index(group.holder)))


def _fewest(holder: Holder, members: Sequence[HeldFacts], together: int | None) -> str:
    if together is None or holder is Holder.INTERLOCK:
        return "-"
    if holder is Holder.NOTHING:
        return "0"  # what breaks as written needs none
    fewest = min((one.fewest_slips for one in members if one.fewest_slips is not None), default=None)
    return f">{together}" if fewest is None else str(fewest)
