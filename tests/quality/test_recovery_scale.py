"""Can always, on holds of thirty bays: decided, confirmed by a second solver, with evidence that is re-checked."""

from __future__ import annotations

import random

import pytest

from interlock.confirm.confirm import Agreed, verdict_on
from interlock.confirm.evidence import evidence_files, way_folder
from interlock.confirm.recheck import recheck
from interlock.confirm.recovery import confirm_recovery, recovery_obligations
from interlock.kernel.claims import Limits
from interlock.kernel.machine import Machine, RequirementKind, with_monitors
from interlock.kernel.recovery import HasDeadEnd, Recovers, recovery_question_of
from interlock.prove.frames.pdr import pdr
from interlock.prove.recovery.recovery import recover
from interlock.study.verify import Status, verify
from tests.agreement.hold_texts import compile_file, compile_source, compile_text, overlay, standing
from tests.benchmarks.holds import hold_machine, hold_text
from tests.teeth.test_standing_set import DEAD_ENDS


@pytest.mark.thorough
def test_a_hold_that_grew_is_decided() -> None:
    """Of the twin-lane hold with fifteen rows it is found that it can always be emptied and shut, by few cases."""
    machine = hold_machine(15)
    (requirement,) = [r for r in machine.requirements if r.kind is RequirementKind.CAN_ALWAYS]
    question = recovery_question_of(requirement)
    claims = recover(machine, [question])
    (finding,) = confirm_recovery(machine, [question], claims)
    assert isinstance(finding, Recovers), finding
    assert sum(len(stage.entries) for stage in finding.claim.recovery.stages) < len(machine.rules)


@pytest.mark.parametrize(
    "seed", [pytest.param(at, marks=pytest.mark.slow if at else pytest.mark.thorough) for at in range(8)]
)
def test_dead_ends_are_found_in_whatever_order_things_are_written(seed: int) -> None:
    """A pallet that cannot come back is found, and proved to be shut in, whichever rules and variables come first."""
    (bite,) = [bite for bite in DEAD_ENDS if bite.base == "twin-lane"]
    machine = with_monitors(shuffled(compile_source(overlay(bite.base, bite.changes), standing()).machine, seed))
    (requirement,) = [r for r in machine.requirements if r.kind is RequirementKind.CAN_ALWAYS]
    question = recovery_question_of(requirement)
    (finding,) = confirm_recovery(machine, [question], recover(machine, [question]))
    assert isinstance(finding, HasDeadEnd), finding
    assert finding.claim.trace.depth <= 20


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("base", ["single-lane", "twin-lane"])
def test_ways_back_are_found_in_whatever_order_things_are_written(base: str, seed: int) -> None:
    """The sound holds can always be emptied and shut, whichever rules and variables come first."""
    machine = with_monitors(shuffled(compile_file(f"models/{base}.yaml", standing()).machine, seed))
    (requirement,) = [r for r in machine.requirements if r.kind is RequirementKind.CAN_ALWAYS]
    question = recovery_question_of(requirement)
    (finding,) = confirm_recovery(machine, [question], recover(machine, [question]))
    assert isinstance(finding, Recovers), finding


HALF_WAY = "(over_CG1 and not (at1L and at1R) and not (over_M1L and over_M1R))"
"""What the twin-lane hold asks for a unit half-way in row 1; without its last part no pallet comes back from row 2."""

VARIATIONS = [
    pytest.param(rows, kinds, flawed, marks=pytest.mark.slow if slow else ())
    for rows, kinds, flawed, slow in (
        (3, 2, True, False),
        (3, 3, False, True),
        (3, 3, True, True),
        (4, 2, True, True),
        (5, 2, False, True),
        (5, 3, False, True),
        (5, 3, True, True),
        (8, 2, True, True),
        (8, 3, False, True),
    )
]


@pytest.mark.parametrize(("rows", "kinds", "flawed"), VARIATIONS)
def test_holds_of_other_sizes_with_other_units_are_decided(rows: int, kinds: int, flawed: bool) -> None:
    """However many rows and kinds of unit there are, the sound hold can always be emptied and the flawed one cannot."""
    text = hold_text(rows)
    if kinds == 3:
        wide = "  - {id: WIDE, "
        assert text.count(wide) == 1
        text = text.replace(wide, "  - {id: SMALL, name: small container, across: 1, along: 1}\n" + wide)
    if flawed:
        assert text.count(HALF_WAY) == 1
        text = text.replace(HALF_WAY, "(over_CG1 and not (at1L and at1R))")
    machine = with_monitors(compile_text(text, standing()).machine)
    (requirement,) = [r for r in machine.requirements if r.kind is RequirementKind.CAN_ALWAYS]
    question = recovery_question_of(requirement)
    (finding,) = confirm_recovery(machine, [question], recover(machine, [question]))
    assert isinstance(finding, HasDeadEnd if flawed else Recovers), finding


def shuffled(machine: Machine, seed: int) -> Machine:
    """The same machine with its parts in another order."""
    draw = random.Random(seed)
    variables, signals, rules = list(machine.variables), list(machine.signals), list(machine.rules)
    for parts in (variables, signals, rules):
        draw.shuffle(parts)
    return Machine(tuple(variables), tuple(signals), tuple(rules), machine.requirements, machine.start)


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
