"""A hold of one bay and 41 states that the tests of reports and commands share."""

from __future__ import annotations

from interlock.hold.compile.compiler import CompiledHold, compile_hold
from interlock.hold.language.model import RequirementText
from interlock.hold.loader import Source, load_hold, load_specification

TEXT = """\
interlock: 1
title: Small hold
layout:
  lanes: [C]
  rows: 1
  ball_mat: [1C]
  secured: [fore, aft, left, right]
  neighbour_restrains: false
  drift: []
  pushing: never
  hand_work: "true"
units:
  - {id: HALF, name: half-width container, across: 1, along: 1}
doorways:
  - id: D1
    name: side door
    bays: [1C]
    side: left
    moved_by: hand
    opens: "true"
    closes: not D1 is sill_covered
    latch: {by: hand, when: "true"}
    unlatch: {by: hand, when: D1 is unlocked}
    lock: {by: hand, when: D1 is latched}
    unlock: {by: hand, when: "true"}
    path: []
    starts: [closed, latched, locked]
devices:
  - {id: FS, name: fore stop, kind: fixed stop, on: [1C.fore], stops: [fore], restrains: [x]}
  - {id: AS, name: aft stop, kind: fixed stop, on: [1C.aft], stops: [aft], restrains: [x]}
  - {id: RG, name: right guide, kind: fixed guide, on: [1C.right], stops: [right], restrains: [y]}
  - id: SL
    name: sill latch
    kind: manual latch
    on: [1C.left]
    stops: [left, right]
    restrains: [y]
    locking: raised
    starts: lowered
"""

CATALOGUE = """\
interlock: 1
catalogue: Of all that can fail, latches that stick
about: A catalogue for tests.
failures:
  - item: hand-worked device
    mode: stuck
    effect: it stays as it is
    noticed: by the hand that next tries to move it
    source: common practice, no source
"""

REQUIREMENTS = """\
interlock: 1
specification: Requirements that come out in every way
requirements:
  - id: latched-when-locked
    text: While {d} is locked, it is latched
    kind: always
    for: {d: doors}
    when: d is locked
    condition: d is latched
    hazard: door opens in flight
    severity: "1"
    scheme: MIL-STD-882E
    source: 14 CFR 25.783(d)(5)
  - id: secured-behind-door
    text: With the door shut, a unit in {b} is secured
    kind: always
    for: {b: bays}
    when: "b is occupied and D1 is closed"
    condition: b is secured
    hazard: unit shifts in flight
    severity: "1"
    scheme: MIL-STD-882E
    source: 14 CFR 25.787(b) in concept
  - id: never-locked-while-open
    text: With {d} locked and open, the sill latch is raised
    kind: always
    for: {d: doors}
    when: d is locked and d is open
    condition: SL is raised
    hazard: unit rolls out
    severity: "2"
    scheme: MIL-STD-882E
    source: common practice, no source
  - id: bay-filled
    text: "{b} can be filled"
    kind: can
    for: {b: bays}
    condition: b is occupied
    hazard: bay of no use
    severity: "4"
    scheme: MIL-STD-882E
    source: common practice, no source
  - id: drives-stop
    text: "{z} does not run with the door shut"
    kind: never
    for: {z: zones}
    condition: z is running and D1 is closed
    hazard: uncommanded motion
    severity: "1"
    scheme: MIL-STD-882E
    source: common practice, no source
"""


def requirement_texts(text: str = REQUIREMENTS) -> tuple[RequirementText, ...]:
    """The requirements as read."""
    loaded = load_specification(Source("asked.yaml", text.encode()))
    assert loaded.value is not None, loaded.diagnostics
    return loaded.value


def small_hold(text: str = TEXT, requirements: str = REQUIREMENTS) -> CompiledHold:
    """The hold with those requirements."""
    loaded = load_hold(Source("small.yaml", text.encode()), lambda name: None)
    assert loaded.value is not None, loaded.diagnostics
    compilation = compile_hold(loaded.value, requirement_texts(requirements))
    assert compilation.compiled is not None, compilation.diagnostics
    return compilation.compiled
