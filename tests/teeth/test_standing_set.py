"""Every standing requirement has teeth: for each a smallest change to a sound hold that must refute it.

Two of them no description of a door can break once it has started, because the kinds of door and latch are declared so:
a door leaves closed only unlatched (`door-leaves-closed-only-unlatched`), and a latch engages only a closed door
(`latched-only-closed`, which a faulty start breaks all the same).  They guard the declarations, so there the change is
one to the declaration.  `nothing-rises-under-a-unit` can only be broken by a device declared to respond late: the
kinds of device that may settle at once never stand under a unit.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import pytest

from interlock.hold.compile import things
from interlock.hold.compile.compiler import CompiledHold
from interlock.hold.kinds import DEVICE_KINDS, DOOR_KINDS, Kind, Trigger, latch_kind
from interlock.hold.tell import Reason, Story
from interlock.kernel.claims import Fails, Holds, Limits
from interlock.kernel.machine import Actor, RequirementKind
from interlock.kernel.recovery import HasDeadEnd, Recovers
from interlock.prove.frames.pdr import pdr
from interlock.prove.search.bmc import bmc
from interlock.study.verify import Status, verify
from tests.agreement.hold_texts import compile_file, compile_source, overlay, standing
from tests.some import swept, telling


@dataclass(frozen=True, slots=True)
class Bite:
    """A change to a sound hold, the instance that it must refute, and words that the story must contain."""

    requirement: str
    base: str
    changes: str
    words: tuple[str, ...]

    @property
    def id(self) -> str:
        return self.requirement.partition("[")[0]


SINGLE, TWIN, MAIN = "single-lane", "twin-lane", "main-deck"

BITES = (
    Bite(
        "no-drive-against-device[1C,1C.aft]",
        SINGLE,
        "- {change: up_M1, to: {reads: 'false'}}",
        ("mid latch 1", "is driven aft against a raised device"),
    ),
    Bite(
        "no-drive-against-unit[1C,1C.aft]",
        SINGLE,
        "- {change: at2, to: {reads: 'false'}}",
        ("bay 2C holds a half-width container", "is driven aft against another unit"),
    ),
    Bite(
        "no-drive-against-unit[2R,2R.fore]",
        TWIN,
        "- {change: partly_in_row1, to: {is: 'false'}}",
        ("is on its way over the sill of cargo door", "is driven fore against another unit"),
    ),
    Bite(
        "no-one-sided-drive[1L]",
        TWIN,
        "- {change: over_CG1, to: {reads: 'false'}}",
        ("lane selector", "is driven under a part of it only"),
    ),
    Bite(
        "no-opposed-drives[1C,1C.aft]",
        SINGLE,
        "- {change: STA, to: {owns: always}}",
        ("lane lever at the loader", "run towards each other"),
    ),
    Bite(
        "nothing-rises-under-a-unit[S1]",
        SINGLE,
        "- {change: S1, to: {lags: true}}",
        ("spring latch 1 is raised", "a unit is over spring latch 1"),
    ),
    Bite(
        "secured-behind-shut-doors[1C]",
        SINGLE,
        "- {change: up_M1, to: {reads: 'true'}}",
        ("close side door fully", "mid latch 1 is lowered"),
    ),
    Bite(
        "nothing-across-behind-shut-doors[1C,1C.aft]",
        SINGLE,
        "- {change: over_S1, to: {reads: 'false'}}",
        ("close side door fully", "is on its way over spring latch 1"),
    ),
    Bite(
        "sill-devices-locking-behind-shut-door[D1,SL1]",
        TWIN,
        "- {change: sill_locks_up, to: {is: 'true'}}",
        ("pull sill lock handle", "closes cargo door fully", "sill lock 1 is not raised"),
    ),
    Bite(
        "deferral-limits-kept[M3]",
        SINGLE,
        "- {defer: M3, in: lowered, because: broken, limit: 1C is empty}",
        ("close side door fully", "the limit for deferred mid latch 3 is not kept"),
    ),
    Bite(
        "no-drive-power-behind-shut-doors[ZX]",
        SINGLE,
        "- {change: door_open, to: {reads: 'true'}}",
        ("power key", "lane has drive power"),
    ),
    Bite(
        "door-path-clear[D1]",
        TWIN,
        "- {change: sill_locks_up, to: {is: 'true'}}",
        ("something stands in the way of cargo door", "sill lock 1 is lowered"),
    ),
    Bite(
        "door-sill-clear[D1]",
        SINGLE,
        "- {change: door_released, to: {is: guard_up or sill_covered}}",
        ("start to close side door", "is on its way over the sill of side door"),
    ),
    Bite(
        "drives-off-while-door-moves[D1]",
        SINGLE,
        "- {change: door_open, to: {reads: not D1 is closed}}",
        ("side door is moving", "a drive runs across the sill of side door"),
    ),
    Bite(
        "sill-drive-only-with-door-open[D1]",
        TWIN,
        "- {change: door_open, to: {reads: 'true'}}",
        ("cargo power switch", "a drive runs across the sill of cargo door"),
    ),
    Bite(
        "latched-only-closed[D1]",
        SINGLE,
        "- {change: D1, to: {starts: [open, latched]}}",
        ("side door is latched", "side door is open"),
    ),
    Bite(
        "locked-only-latched[D1]",
        SINGLE,
        "- {change: D1, to: {lock: {by: hand, when: 'true'}}}",
        ("lock side door", "side door is unlatched"),
    ),
    Bite(
        "unlatch-only-unlocked[D1]",
        SINGLE,
        "- {change: D1, to: {unlatch: {by: hand, when: 'true'}}}",
        ("side door is latched", "side door is locked"),
    ),
    Bite(
        "no-door-drive-against-latch[D1]",
        TWIN,
        "- {change: door_latched, to: {reads: 'false'}}",
        ("hold door lever to up", "cargo door is being driven open", "cargo door is latched"),
    ),
    Bite(
        "drive-only-while-held[1C,1C.aft]",
        SINGLE,
        "- {change: LVA, to: {kind: selector, positions: [neutral, fore, aft], starts: neutral}}",
        ("set lane lever at the door to aft", "the drive under bay 1C runs aft"),
    ),
    # the contact of the lever at the other station, which is not in charge
    Bite(
        "drive-only-while-held[1C,1C.aft]",
        SINGLE,
        "- {change: ZX, to: {commands: [{station: STA, fore: LVA is fore, aft: LVA is aft or LVB is aft}]}}",
        ("hold lane lever at the loader to aft", "no lever that commands lane aft is held"),
    ),
    # the contact of the other way, through a circuit
    Bite(
        "drive-only-while-held[1C,1C.aft]",
        SINGLE,
        "- {add: {circuits: [{id: run_aft, use: logic, is: not LVA is neutral}]}}\n"
        "- {change: ZX, to: {commands: [{station: STA, aft: run_aft}]}}",
        ("hold lane lever at the door to fore", "no lever that commands lane aft is held"),
    ),
    # the contact of the lever of the other lane: only a list of its own tells the zone whose it is
    Bite(
        "drive-only-while-held[5L,5L.aft]",
        MAIN,
        "- {change: ZL, to: {levers: [LVL, LAL], commands: [{station: STD, fore: LVL is fore, aft: LVR is aft}]}}",
        ("hold right lane lever at the door to aft", "no lever that commands left lane aft is held"),
    ),
    Bite(
        "fresh-command-after-power-loss[ZX]",
        SINGLE,
        "- {change: armed, to: {sets: GP is on and KEY is on}}",
        ("ground power comes on",),
    ),
    Bite(
        "one-axis-at-a-time[1R]",
        TWIN,
        "- {change: ZD, to: {power: drives_permitted}}\n- {change: ZR, to: {power: drives_permitted}}",
        ("lane lever", "doorway lever"),
    ),
    Bite(
        "one-way-at-a-time[1C]",
        SINGLE,
        "- {change: ZX, to: {commands: [{station: STA, fore: LVA is fore or LVA is aft, aft: LVA is aft}]}}",
        ("the drive under bay 1C runs fore", "the drive under bay 1C runs aft"),
    ),
    Bite(
        "one-station-in-charge[ZX]",
        SINGLE,
        "- {change: STA, to: {owns: always}}",
        ("station selector is set to loader", "loader station is in charge"),
    ),
    Bite(
        "no-drive-under-a-person[1C]",
        SINGLE,
        "- {change: KEY, to: {reachable: always}}",
        ("the loader hand is in bay 1C", "the drive under bay 1C runs"),
    ),
    Bite(
        "no-unit-moves-onto-a-person[1C]",
        SINGLE,
        "- {change: gate_released, to: {is: KEY is off and door_open and not over_S1}}",
        ("is on its way over the sill of side door", "the loader hand is in bay 1C"),
    ),
    # rolling: the drives are off
    Bite(
        "no-unit-moves-onto-a-person[1C]",
        SINGLE,
        "- {change: layout, to: {drift: [fore]}}",
        ("by itself the half-width container rolls fore from bay 2C", "the loader hand is in bay 1C"),
    ),
    Bite(
        "nobody-shut-in[D1,P1]",
        SINGLE,
        "- {change: door_released, to: {is: lanes_secured and guard_up and not sill_covered and SGS is raise}}",
        ("the loader hand is in bay 1C", "side door is open", "side door is free to close"),
    ),
)
"""What must be refuted by a run."""

HINDRANCES = (
    Bite("bay-can-be-filled[3C,HALF]", SINGLE, "- {fix: M2, in: raised}", ()),
    Bite("bay-can-be-filled[3L,WIDE]", TWIN, "- {fix: CG3, in: raised}", ()),
    Bite("bay-can-be-emptied[4C]", SINGLE, "- {change: up_S3, to: {reads: 'true'}}", ()),
    Bite("door-can-be-shut-on-a-load[D1,1C]", SINGLE, "- {change: up_M1, to: {reads: 'false'}}", ()),
)
"""What can no longer be brought about."""

DEAD_ENDS = (
    Bite(
        "can-always-be-emptied-and-shut",
        SINGLE,
        "- {change: guard_down, to: {is: key_power and door_open and SGS is lower and not at1}}",
        ("1C", "half-width container"),
    ),
    Bite(
        "can-always-be-emptied-and-shut",
        TWIN,
        "- {change: partly_in_row1, to: {is: sill_covered or (over_CG1 and not (at1L and at1R))}}",
        ("the drive carries the full-width pallet aft from bays 1L and 1R",),
    ),
)
"""From where something can no longer be brought about."""

BY_DECLARATION = ("door-leaves-closed-only-unlatched", "latched-only-closed")
"""What only a change to a declared kind can break."""


def words_of(story: Story) -> str:
    def said(reason: Reason) -> list[str]:
        return [reason.text, *(text for inner in reason.because for text in said(inner))]

    lines = [*story.start]
    for step in story.steps:
        lines += [step.text, *step.responses, *step.after]
    for reason in (*story.possible, *story.reached):
        lines += said(reason)
    return "; ".join(lines)


def refute(compiled: CompiledHold, instance: str, words: tuple[str, ...]) -> None:
    """The instance fails, the run is confirmed, and the story names what it should."""
    verification = verify(compiled, bmc, Limits(depth=30), chosen=[instance])
    (answer,) = verification.answers
    assert answer.status is Status.FAILS, answer.finding
    assert isinstance(answer.finding, Fails)
    assert answer.finding.claim.shortest
    assert answer.story is not None
    told = words_of(answer.story)
    assert [word for word in words if word not in told] == [], told


@pytest.mark.parametrize("bite", BITES, ids=lambda bite: bite.requirement)
def test_the_change_refutes_the_requirement(bite: Bite) -> None:
    """Claim refuted by a shortest run, finding fails, and the story speaks of the device that was changed."""
    refute(compile_source(overlay(bite.base, bite.changes), standing()), bite.requirement, bite.words)


@pytest.mark.parametrize("bite", HINDRANCES, ids=lambda bite: bite.requirement)
def test_the_change_makes_the_work_impossible(bite: Bite) -> None:
    """What must be possible is proved impossible, which is a failed requirement."""
    compiled = compile_source(overlay(bite.base, bite.changes), standing())
    (answer,) = verify(compiled, pdr, Limits(), chosen=[bite.requirement]).answers
    assert answer.status is Status.FAILS
    assert isinstance(answer.finding, Holds)


@pytest.mark.parametrize(
    "bite",
    [pytest.param(one, marks=pytest.mark.thorough if one.base == TWIN else ()) for one in DEAD_ENDS],
    ids=lambda bite: bite.base,
)
def test_the_change_makes_a_dead_end(bite: Bite) -> None:
    """A run leads to where the work cannot be ended any more; both are confirmed, and the story tells of the run."""
    compiled = compile_source(overlay(bite.base, bite.changes), standing())
    (answer,) = verify(compiled, pdr, Limits(), chosen=[bite.requirement]).answers
    assert answer.status is Status.FAILS
    assert isinstance(answer.finding, HasDeadEnd)
    assert answer.story is not None
    told = words_of(answer.story)
    assert [word for word in bite.words if word not in told] == [], told


@pytest.mark.parametrize("base", swept([SINGLE, TWIN], 2))
def test_without_the_change_there_is_no_dead_end(base: str) -> None:
    """From every reachable state of the sound holds the work can be ended, and a second solver agrees."""
    compiled = compile_file(f"models/{base}.yaml", standing())
    (answer,) = verify(compiled, pdr, Limits(), chosen=["can-always-be-emptied-and-shut"]).answers
    assert answer.status is Status.HOLDS
    assert isinstance(answer.finding, Recovers)


def test_a_zone_that_lists_its_levers_may_be_commanded_by_these() -> None:
    """The list that finds a crossed contact out finds nothing where the contacts are right."""
    compiled = compile_source(overlay(MAIN, "- {change: ZL, to: {levers: [LVL, LAL]}}"), standing())
    answers = verify(compiled, pdr, Limits(), chosen=["drive-only-while-held"]).answers
    assert len(answers) == 2 * 2 * 16 + 2 * 4
    assert {answer.status for answer in answers} == {Status.HOLDS}


def unguarded(kind: Kind, trigger: str, condition: str) -> Kind:
    """The kind with one condition of one trigger forgotten."""

    def without(entry: Mapping[str, Any]) -> Mapping[str, Any]:
        if entry["trigger"] != trigger:
            return entry
        return {
            key: [name for name in value if name != condition] if isinstance(value, list) else value
            for key, value in entry.items()
        }

    return replace(kind, transitions=tuple(without(entry) for entry in kind.transitions))


def test_a_door_declared_to_leave_closed_while_latched_is_found_out(
    compiled_anew: None, monkeypatch: pytest.MonkeyPatch
) -> None:
    """`door-leaves-closed-only-unlatched` guards the declared kinds of door."""
    mutated = unguarded(DOOR_KINDS["hand"], "start_opening", "latched")
    monkeypatch.setattr(things, "DOOR_KINDS", {**DOOR_KINDS, "hand": mutated})
    compiled = compile_file("models/single-lane.yaml", standing())
    refute(compiled, "door-leaves-closed-only-unlatched[D1]", ("side door is closed", "side door is latched"))


def test_a_latch_declared_to_engage_an_open_door_is_found_out(
    compiled_anew: None, monkeypatch: pytest.MonkeyPatch
) -> None:
    """`latched-only-closed` guards the declared kind of door latch."""
    monkeypatch.setattr(things, "latch_kind", lambda by, off: unguarded(latch_kind(by, off), "latch", "shut"))
    compiled = compile_file("models/single-lane.yaml", standing())
    refute(compiled, "latched-only-closed[D1]", ("latch side door", "side door is latched"))


def test_a_latch_declared_to_rise_under_a_unit_is_found_out(
    compiled_anew: None, monkeypatch: pytest.MonkeyPatch
) -> None:
    """`nothing-rises-under-a-unit` guards the declared kinds of device."""
    kinds = dict(DEVICE_KINDS)
    kinds["manual latch"] = unguarded(kinds["manual latch"], "raise", "covered")
    monkeypatch.setattr(things, "DEVICE_KINDS", kinds)
    monkeypatch.setattr("interlock.hold.sense.DEVICE_KINDS", kinds)
    compiled = compile_source(overlay("single-lane", "- {change: layout, to: {hand_work: 'true'}}"), standing())
    refute(compiled, "nothing-rises-under-a-unit[M2]", ("raise mid latch 2", "a unit is over"))


def test_every_standing_requirement_has_teeth() -> None:
    """No requirement of the standing set is left untested, and none is tested that is not there."""
    bitten = {bite.id for bite in (*BITES, *HINDRANCES, *DEAD_ENDS)} | set(BY_DECLARATION)
    assert bitten == {text.id for text in standing()}


def test_the_kinds_of_bite_fit_the_kinds_of_requirement() -> None:
    """A run refutes what must never be; an impossibility refutes what can be."""
    kinds = {text.id: RequirementKind(text.kind) for text in standing()}
    assert not any(kinds[bite.id].is_about_work for bite in BITES)
    assert all(kinds[bite.id] is RequirementKind.CAN for bite in HINDRANCES)
    assert all(kinds[bite.id] is RequirementKind.CAN_ALWAYS for bite in DEAD_ENDS)


@pytest.mark.parametrize("base", telling([SINGLE, TWIN, MAIN], SINGLE, TWIN))
def test_the_holds_that_are_bitten_are_sound(base: str) -> None:
    """Every requirement that a change refutes holds, and not vacuously, in the hold as it was."""
    wanted = [b.requirement for b in (*BITES, *HINDRANCES) if b.base == base and "defer:" not in b.changes]
    compiled = compile_file(f"models/{base}.yaml", standing())
    answers = verify(compiled, pdr, Limits(), chosen=wanted).answers
    assert {answer.instance.requirement.id for answer in answers} == set(wanted)
    assert {answer.status for answer in answers} == {Status.HOLDS}


def test_a_trigger_of_the_crew_is_a_trigger_of_the_crew() -> None:
    """The mutations above change conditions only, never who acts."""
    mutated = unguarded(DOOR_KINDS["hand"], "start_opening", "latched")
    assert mutated.triggers == DOOR_KINDS["hand"].triggers
    assert all(isinstance(t, Trigger) and t.actor is Actor.CREW for t in mutated.triggers.values())
