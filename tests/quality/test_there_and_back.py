"""Every demonstration hold is loaded full and emptied by checklists that the audit, slips and all, finds nothing in."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from time import process_time

import pytest

from interlock.hold.compile.compiler import CompiledHold, compile_hold
from interlock.hold.loader import Source, load_hold, load_procedure
from interlock.hold.procedure.binding import BoundProcedure, bind_procedure, compile_for
from interlock.kernel.claims import Limits
from interlock.kernel.evaluator import evaluate
from interlock.report.yaml.procedure import checklist_procedure
from interlock.study.checklist.goals import Load, Unload
from interlock.study.checklist.making import Checklist, make_checklist
from interlock.study.procedure.audit import Audit, Overall, Verdict, audit_procedure
from interlock.study.procedure.slips import slips_of
from tests.agreement.hold_texts import fetch, standing
from tests.teeth.procedures import MODELS

OUT = Unload(("all",))
HALVES, WIDES, SHORTS, LONGS = (Load((("all", kind),)) for kind in ("HALF", "WIDE", "SHORT", "LONG"))
LEFT_LONG = Load((*((f"{row}L", "LONG") for row in range(1, 17, 2)), ("all", "SHORT")))
"""Long pallets in the left lane, short ones in every bay that is left."""
LOADS = [
    ("single-lane", HALVES, 4),
    pytest.param("twin-lane", HALVES, 12, marks=pytest.mark.slow),
    pytest.param("twin-lane", WIDES, 12, marks=pytest.mark.slow),
    pytest.param("main-deck", SHORTS, 32, marks=pytest.mark.slow),
    pytest.param("main-deck", LONGS, 32, marks=pytest.mark.slow),
    pytest.param("main-deck", LEFT_LONG, 32, marks=pytest.mark.slow),
]
every_load = pytest.mark.parametrize(("hold", "load", "bays"), LOADS)
MOST_SECONDS = 30
"""Of the processor, for one checklist that fills all bays of the main deck."""


@cache
def compiled(hold: str) -> CompiledHold:
    source = fetch(f"models/{hold}.yaml")
    assert source is not None
    described = load_hold(source, fetch).value
    assert described is not None
    found = compile_hold(described, standing()).compiled
    assert found is not None
    return found


def made(hold: str, goal: Load | Unload, aboard: Load | None = None) -> Checklist:
    checklist = make_checklist(compiled(hold), goal, aboard=aboard)
    assert isinstance(checklist, Checklist), checklist
    return checklist


def read_back(checklist: Checklist, hold: str) -> BoundProcedure:
    """The checklist as `--format procedure` writes it and `audit` reads it."""
    text = checklist_procedure(checklist, f"{hold}.yaml")
    procedure = load_procedure(Source("made.yaml", text.encode())).value
    assert procedure is not None
    assert Path(procedure.hold).name == f"{hold}.yaml"
    described = load_hold(Source(procedure.hold, (MODELS / procedure.hold).read_bytes()), fetch).value
    assert described is not None
    compilation = compile_for(described, procedure, standing())
    assert compilation.compiled is not None, compilation.diagnostics
    bound = bind_procedure(procedure, compilation.compiled).bound
    assert bound is not None
    return bound


def audited(bound: BoundProcedure) -> Audit:
    """With slips, pairs of them, and everybody called away at any point."""
    return audit_procedure(bound, None, Limits())


def check_nothing_found(checklist: Checklist, hold: str) -> None:
    assert not any(leg.timed for leg in checklist.legs)
    bound = read_back(checklist, hold)
    audit = audited(bound)
    assert [(one.number, one.verdict) for one in audit.actions if one.verdict is not Verdict.POSSIBLE] == []
    assert len(audit.actions) == len(bound.actions) > 20
    assert audit.goal_missed is None
    assert audit.breaches == ()
    assert audit.interruptions
    assert not any(one.at_risk or one.at_risk_lost for one in audit.interruptions)
    assert audit.slips is not None
    assert {result.slip.id for result in audit.slips.results} == {slip.id for slip in slips_of(bound)}
    assert not audit.slips.hazardous
    assert audit.slips.combinations == ()
    assert audit.open == ()
    assert audit.overall is Overall.SOUND


@every_load
def test_loading_everything(hold: str, load: Load, bays: int) -> None:
    """A checklist fills every bay that the units can fill, and read back as a procedure leaves nothing to be found."""
    checklist = made(hold, load)
    machine, end = checklist.operation.asked, checklist.legs[-1].end
    things = checklist.compiled.world.things
    secured = [bay for bay in checklist.compiled.floor.bays if evaluate(machine, things[bay].states["secured"], end)]
    assert len(secured) >= bays
    taken = [bay for bay in checklist.compiled.floor.bays if evaluate(machine, things[bay].states["occupied"], end)]
    assert len(taken) == bays
    check_nothing_found(checklist, hold)


@every_load
def test_unloading_everything(hold: str, load: Load, bays: int) -> None:
    """With that load aboard a checklist empties every bay, and read back as a procedure leaves nothing to be found."""
    checklist = made(hold, OUT, load)
    machine, end = checklist.operation.asked, checklist.legs[-1].end
    things = checklist.compiled.world.things
    taken = {
        when: sum(evaluate(machine, things[bay].states["occupied"], state) for bay in checklist.compiled.floor.bays)
        for when, state in (("before", checklist.start), ("after", end))
    }
    assert taken == {"before": bays, "after": 0}
    check_nothing_found(checklist, hold)


@pytest.mark.slow
@pytest.mark.parametrize("load", [SHORTS, LEFT_LONG])
def test_all_bays_in_one_plan_within_half_a_minute(load: Load) -> None:
    """One plan fills all 32 bays of the main deck in at most 30 s of the processor, compilation included."""
    compiled.cache_clear()
    began = process_time()
    checklist = made("main-deck", load)
    assert process_time() - began <= MOST_SECONDS
    things, end = checklist.compiled.world.things, checklist.legs[-1].end
    floor = checklist.compiled.floor
    assert len(floor.bays) == 32
    assert all(evaluate(checklist.operation.asked, things[bay].states["secured"], end) for bay in floor.bays)


@pytest.mark.thorough
def test_nothing_found_is_not_said_of_everything() -> None:
    """The same look finds fault with a checklist that has lost the places at the sill: the unit may come elsewhere."""
    hold = "main-deck"
    checklist = made(hold, Load((("10R", "SHORT"),)))
    text = checklist_procedure(checklist, f"{hold}.yaml")
    assert text.count(" beside 10R") == 2
    procedure = load_procedure(Source("made.yaml", text.replace(" beside 10R", "").encode())).value
    assert procedure is not None
    compilation = compile_for(checklist.compiled.hold, procedure, standing())
    assert compilation.compiled is not None
    bound = bind_procedure(procedure, compilation.compiled).bound
    assert bound is not None
    assert audit_procedure(bound, None, Limits(), slips=False).overall is Overall.FINDINGS
