"""A checklist audited as the procedure that it is written as: what each slip in its steps leads to."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from interlock.hold.loader import Source, load_procedure
from interlock.hold.procedure.binding import bind_procedure, compile_for
from interlock.kernel.claims import Limits, ProgressCallback, silent
from interlock.study.checklist.making import Checklist
from interlock.study.procedure.audit import Audit, audit_procedure
from interlock.study.procedure.slip_audit import SlipResult
from interlock.study.procedure.together import Combination

MOST_PLACES = 1_500_000
"""Places that are followed for one checklist: every pair of slips of 250 actions on the main deck takes 1,260,000.

Where it takes more, slips are followed one by one, which is told.
"""


@dataclass(frozen=True, slots=True)
class ChecklistAudit:
    """What the audit found; `steps[n]` is the step of which action n + 1 is a part, None for a check behind a leg."""

    audit: Audit
    steps: tuple[int | None, ...]

    @property
    def followed(self) -> bool:
        """Every slip was followed; where the audit ran out of time or places it says nothing of slips."""
        return self.audit.slips is not None

    def slips_at(self, step: int) -> tuple[SlipResult, ...]:
        """The slips in the actions of a step, in their order."""
        if self.audit.slips is None:
            return ()
        return tuple(one for one in self.audit.slips.results if self.steps[one.slip.action] == step)

    @property
    def checks(self) -> tuple[int, ...]:
        """The actions, from 0, that are checks behind a leg."""
        return tuple(at for at, step in enumerate(self.steps) if step is None)

    def is_check_of(self, action: int, first: int, end: int) -> bool:
        """Whether the action (from 0) is a check behind the steps from `first` to before `end`."""
        before = [step for step in self.steps[:action] if step is not None]
        return self.steps[action] is None and first <= max(before, default=0) < end

    @property
    def pairs(self) -> tuple[Combination, ...]:
        """The smallest combinations of more than one slip that lead to a hazard."""
        return () if self.audit.slips is None else tuple(c for c in self.audit.slips.combinations if len(c.slips) > 1)

    def step_of(self, action: int) -> int | None:
        """The step of which the action (from 1) is a part."""
        return self.steps[action - 1] if action <= len(self.steps) else None


def audit_checklist(
    checklist: Checklist, text: str, steps: Sequence[int | None], limits: Limits, report: ProgressCallback = silent
) -> ChecklistAudit:
    """Reads the checklist back from the procedure `text` that it was written as, and audits that.

    `steps` tells for every action of the text which step it belongs to.  The hold and the requirements are those of
    the checklist; the text says how it starts.  Raises ValueError where the text does not mean what it should: a fault
    of this program.
    """
    compiled = checklist.compiled
    loaded = load_procedure(Source("checklist.yaml", text.encode()))
    if loaded.value is None:
        raise ValueError(f"a checklist that cannot be read back: {loaded.diagnostics[0].message}")
    own = {one.id for one in compiled.hold.requirements}
    texts = {one.origin.id: one.origin for one in compiled.instances if one.origin.id not in own}
    compilation = compile_for(compiled.hold, loaded.value, tuple(texts.values()))
    if compilation.compiled is None:
        raise ValueError(f"a checklist that does not fit its hold: {compilation.diagnostics[0].message}")
    binding = bind_procedure(loaded.value, compilation.compiled)
    if binding.bound is None:
        raise ValueError(f"a checklist that does not fit its hold: {binding.diagnostics[0].message}")
    if len(binding.bound.actions) != len(steps):
        raise ValueError(f"{len(binding.bound.actions)} actions for {len(steps)} places")
    bounds = replace(limits, states=MOST_PLACES)
    audit = audit_procedure(binding.bound, None, bounds, report, interrupted=False, pairs_needed=False)
    return ChecklistAudit(audit, tuple(steps))
