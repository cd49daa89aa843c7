"""What can never be is told with what keeps it from being: the guilty item first, and nothing innocent."""

from __future__ import annotations

import json
from functools import cache

import jsonschema
import pytest

from interlock.kernel.claims import Limits
from interlock.kernel.machine import RequirementKind
from interlock.kernel.recovery import HasDeadEnd
from interlock.prove.decide import decide
from interlock.report.json.writing import document, schema
from interlock.report.text.checklist import checklist_report
from interlock.report.text.proof import proof_lines
from interlock.report.views.checklist import checklist_view
from interlock.report.views.proof import proof_view
from interlock.study.checklist.goals import Load
from interlock.study.checklist.making import NoChecklist, make_checklist
from interlock.study.verify import Status, Verification, verify
from interlock.study.why_never import WhyNever, why_never
from tests.agreement.hold_texts import compile_source, compile_text, overlay, standing
from tests.teeth.planting import planted

HOLD = """\
interlock: 1
title: Mail hold of one lane, loaded from behind
layout:
  lanes: [C]
  rows: 3
  ball_mat: []
  secured: [fore, aft]
  neighbour_restrains: false
  drift: []
  pushing: never
  hand_work: H1 is open
units:
  - {id: BOX, name: mail box, across: 1, along: 1}
doorways:
  - id: H1
    name: tail hatch
    bays: [3C]
    side: aft
    moved_by: power
    opens: hatch_power and HL is up
    closes: hatch_power and HL is down and not H1 is sill_covered
    latch: none
    lock: none
    path: []
    starts: [closed]
devices:
  - {id: FS, name: nose stop, kind: fixed stop, on: 1C.fore, stops: [fore], restrains: [x]}
  - id: L1
    name: latch 1
    kind: manual latch
    on: 1C.aft
    stops: [fore, aft]
    restrains: [x]
    locking: raised
    starts: lowered
  - id: L2
    name: latch 2
    kind: manual latch
    on: 2C.aft
    stops: [fore, aft]
    restrains: [x]
    locking: raised
    starts: lowered
  - id: L3
    name: tail latch
    kind: manual latch
    on: 3C.aft
    stops: [fore, aft]
    restrains: [x]
    locking: raised
    starts: lowered
controls:
  - {id: BOX1, name: control box, kind: access panel, starts: closed}
  - {id: MS, name: master switch, kind: switch, positions: [off, on], behind: BOX1, starts: off}
  - {id: HL, name: hatch lever, kind: lever, positions: [up, down]}
  - {id: RL, name: roller lever, kind: lever, positions: [fore, aft], behind: BOX1}
supplies:
  - {id: BUS, name: cargo bus, may_be_lost: true, starts: [off, on]}
places:
  - {id: ramp, name: on the ramp, bay: outside, reaches: [HL, MS, RL, BOX1]}
  - {id: nose, name: in bay 1C, bay: 1C, reaches: [L1, L2, L3]}
people:
  - {id: P1, name: loader, places: [ramp, nose], starts: ramp, moves: H1 is open and not rolling}
sensors:
  - {id: hatch_up, name: hatch switch, reads: H1 is open}
circuits:
  - {id: mains, name: cargo mains, use: power, is: BUS is on and MS is on}
  - {id: hatch_power, name: hatch power, use: power, is: mains and RL is neutral}
  - {id: rolling, name: roller power, use: power, is: mains and hatch_up and HL is neutral}
zones:
  - id: Z1
    name: rollers
    bays: [1C..3C]
    power: rolling
    commands: [{fore: RL is fore, aft: RL is aft}]
    inhibits: {fore: P1 is nose, aft: P1 is nose}
"""


@cache
def verified(text: str) -> Verification:
    compiled = compile_text(text, standing())
    work = [one.requirement.id for one in compiled.instances if one.requirement.kind is RequirementKind.CAN]
    return verify(compiled, decide, Limits(), chosen=work)


def told(text: str, every: bool = False) -> tuple[WhyNever, ...]:
    return why_never(verified(text), every)


def changed(old: str, new: str, text: str = HOLD) -> str:
    assert text.count(old) == 1, old
    return text.replace(old, new)


def test_the_hold_can_be_worked_as_it_is() -> None:
    """Nothing is told of a hold in which all can be done."""
    assert verified(HOLD).count(Status.FAILS) == verified(HOLD).count(Status.UNDECIDED) == 0
    assert told(HOLD) == ()


PLANTED = {
    "contact": (
        changed("mains and hatch_up and HL is neutral", "mains and hatch_up and HL is neutral and H1 is closed"),
        "roller power is on only while tail hatch is closed",
    ),
    "stop": (
        changed(
            "on: 2C.aft\n    stops: [fore, aft]\n    restrains: [x]\n    locking: raised\n    starts: lowered\n",
            "on: 2C.aft\n    stops: [fore]\n    gives_way: [aft]\n    restrains: [x]\n    locking: raised\n",
        ).replace("name: latch 2\n    kind: manual latch", "name: latch 2\n    kind: spring guide"),
        "latch 2 stands in the way of units that move fore",
    ),
    "reach": (
        changed("bay: outside, reaches: [HL, MS, RL, BOX1]", "bay: outside, reaches: [HL, MS, BOX1]").replace(
            "reaches: [L1, L2, L3]", "reaches: [L1, L2, L3, RL]"
        ),
        "roller lever can be reached only in bay 1C",
    ),
    "fixed": (
        changed("positions: [up, down]}", "positions: [up, down], fixed: neutral}"),
        "hatch lever is fixed neutral",
    ),
    "inhibit": (
        changed("{fore: P1 is nose,", "{fore: always,"),
        "always: rollers is inhibited fore",
    ),
}


@pytest.mark.parametrize("name", PLANTED)
def test_the_first_line_names_the_guilty_item(name: str) -> None:
    """A contact too many, a stop that lies the wrong way, a lever out of reach, a lever that is stuck, an inhibit."""
    text, guilty = PLANTED[name]
    found = told(text)
    assert found
    view = proof_view("mail.yaml", verified(text), standing(), 1, never=found)
    lines = [line.text.strip() for line in proof_lines(view, every=False)]
    at = next(place for place, line in enumerate(lines) if line.startswith("It could be if"))
    said = " ".join(lines[at + 1 : at + 3])
    assert said.startswith(f"- {guilty} (")
    line = next(number for number, one in enumerate(text.splitlines(), 1) if f"line {number})" in said)
    assert line > 0
    # all that fails has the one cause, and is told with it
    failing = {one.instance.requirement.id for one in verified(text).answers if one.status is Status.FAILS}
    also = {instance.requirement.id for one in found for way in one.ways for instance in way.also}
    assert failing == also | {one.id for one in found}
    # a dead end is told by itself: what follows from it is another question
    ends = {one.instance.requirement.id for one in verified(text).answers if isinstance(one.finding, HasDeadEnd)}
    assert len([one for one in found if one.id not in ends]) == 1 and failing


def test_several_causes_are_told_as_sets() -> None:
    """Two faults of which each alone keeps it from being are one set; no single thing would do, and that is proved."""
    text = changed("hatch_power and HL is up", "hatch_power and HL is up and MS is off", PLANTED["inhibit"][0])
    (first, *_) = told(text, every=True)
    assert first.size is None and first.reason == "" and "cvc5" in first.checked_by
    sets = [{one.text for one in way.hindrances} for way in first.ways]
    assert all(len(one) >= 1 for one in sets)
    hatch = "the drive of tail hatch runs towards open only while master switch is set to off"
    assert any(hatch in one for one in sets)
    assert all(not one < other for one in sets for other in sets)


def test_what_no_hindrance_keeps_from_being_is_said_so() -> None:
    """A bay without a drive: there is nothing that could be left out."""
    text = changed("bays: [1C..3C]", "bays: [2C..3C]")
    (found,) = told(text)
    assert found.ways == () and found.size is None
    view = proof_view("mail.yaml", verified(text), standing(), 1, never=(found,))
    said = " ".join(line.text.strip() for line in proof_lines(view, every=False))
    assert "No hindrance (contacts, stops of devices, panels, reach, things that are fixed) keeps it from being" in said


def test_a_dead_end_is_explained_from_where_it_is() -> None:
    """What can no longer be brought about is explained by what would have to go at the dead end."""
    text = changed("aft: RL is aft}]", "aft: RL is aft and L2 is raised}]")
    compiled = compile_text(text, standing())
    found = verify(compiled, decide, Limits(), chosen=["can-always-be-emptied-and-shut"])
    assert found.count(Status.FAILS) == 1
    (why,) = why_never(found)
    texts = [one.text for way in why.ways for one in way.hindrances]
    assert "rollers is commanded aft only while latch 2 is raised" in texts


@pytest.mark.thorough
@pytest.mark.parametrize("block", range(3))
def test_a_planted_contact_is_always_found(block: int) -> None:
    """In written holds with a contact too many, what can never be hangs on that contact among the smallest sets."""
    failing = 0
    for seed in range(1000 + 8 * block, 1008 + 8 * block):
        hold = planted(seed)
        work = [one.requirement.id for one in hold.compiled.instances if one.requirement.kind is RequirementKind.CAN]
        found = verify(hold.compiled, decide, Limits(), chosen=work)
        for why in why_never(found):
            failing += 1
            assert any(len(way.hindrances) == 1 and hold.is_it(way.hindrances[0].hindrance) for way in why.ways), seed
    assert failing


def test_nothing_is_looked_for_without_time() -> None:
    """Out of time is no answer, and no fault."""
    assert why_never(verified(PLANTED["contact"][0]), seconds=0.0) == ()


def test_a_goal_out_of_reach_is_explained_too() -> None:
    """A checklist that cannot be made because of a deferred latch says so, in text and among the facts."""
    deferral = "  - defer: M2\n    in: raised\n    because: its hinge is bent\n    limit: 3C is empty\n"
    compiled = compile_source(overlay("single-lane", deferral), standing())
    result = make_checklist(compiled, Load((("3C", "HALF"),)))
    assert isinstance(result, NoChecklist) and result.why is not None
    guilty = "mid latch 2 is deferred raised (its hinge is bent)"
    assert [one.text for one in result.why.ways[0].hindrances] == [guilty]
    view = checklist_view("mail.yaml", result, None, 1)
    lines = [line.text.strip() for line in checklist_report(view, verbose=False)]
    at = next(place for place, line in enumerate(lines) if line.startswith("It could be if"))
    assert lines[at + 1].startswith(f"- {guilty}")
    facts = json.loads(document(view.facts))
    assert facts["never"]["without"][0]["hindrances"][0]["text"] == guilty
    jsonschema.validate(facts, schema(type(view.facts)))
