"""Can always, on holds of thirty bays: decided, confirmed by a second solver, with evidence that is re-checked."""

from __future__ import annotations

import pytest

from interlock.confirm.confirm import Agreed, verdict_on
from interlock.confirm.evidence import evidence_files, way_folder
from interlock.confirm.recheck import recheck
from interlock.confirm.recovery import confirm_recovery, recovery_obligations
from interlock.kernel.claims import Limits
from interlock.kernel.machine import RequirementKind
from interlock.kernel.recovery import Recovers, recovery_question_of
from interlock.prove.pdr import pdr
from interlock.prove.recovery import recover
from interlock.study.verify import Status, verify
from tests.agreement.hold_texts import compile_file, standing
from tests.benchmarks.holds import hold_machine


def test_a_hold_that_grew_is_decided() -> None:
    """Of the twin-lane hold with fifteen rows it is found that it can always be emptied and shut, by few cases."""
    machine = hold_machine(15)
    (requirement,) = [r for r in machine.requirements if r.kind is RequirementKind.CAN_ALWAYS]
    question = recovery_question_of(requirement)
    claims = recover(machine, [question])
    (finding,) = confirm_recovery(machine, [question], claims)
    assert isinstance(finding, Recovers), finding
    assert sum(len(stage.entries) for stage in finding.claim.recovery.stages) < len(machine.rules)


@pytest.mark.slow
def test_long_pallets_that_shut_each_other_in() -> None:
    """The main deck can always be emptied and shut; every obligation is in the evidence and re-checked."""
    compiled = compile_file("models/main-deck.yaml", standing())
    asked = verify(compiled, pdr, Limits(), chosen=["can-always-be-emptied-and-shut"])
    (answer,) = asked.answers
    assert answer.status is Status.HOLDS
    assert isinstance(answer.finding, Recovers)
    ((question, _),) = asked.recoveries
    recovery = answer.finding.claim.recovery
    assert len(recovery.stages) == 2
    files = evidence_files(asked.machine, asked.questions, asked.findings, asked.recoveries)
    for obligation in recovery_obligations(asked.machine, question, recovery):
        verdict = verdict_on(obligation, range(len(obligation.queries)), recheck(obligation, None))
        assert isinstance(verdict, Agreed), verdict
        assert files[f"{way_folder(1)}/{obligation.name}.smt2"] == obligation.text
