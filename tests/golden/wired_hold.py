"""A hold of one bay with a drive, in which every contact is needed, or all but those that a test puts in."""

from __future__ import annotations

from tests.golden.small_hold import REQUIREMENTS, TEXT

WIRED = (
    TEXT.replace("title: Small hold", "title: Wired hold")
    + """\
controls:
  - {id: LV, name: lever, kind: lever, positions: [left, right]}
stations:
  - {id: ST, name: door station, controls: [LV], owns: "true"}
supplies:
  - {id: GP, name: ground power, starts: [off, on], may_be_lost: true}
sensors:
  - {id: door_open, name: door switch, reads: D1 is open}
circuits:
  - {id: permit, name: drive permit, use: permit, is: GP is on and door_open}
zones:
  - id: Z
    name: doorway
    bays: [1C]
    power: permit
    commands:
      - {station: ST, left: LV is left, right: LV is right}
    inhibits:
      right: SL is raised
"""
)
WIRED_ASKED = (
    REQUIREMENTS
    + """\
  - id: powered-drives
    text: "{z} does not run without power"
    kind: never
    for: {z: zones}
    condition: z is running and not GP is on
    hazard: uncommanded motion
    severity: "2"
    scheme: MIL-STD-882E
    source: common practice, no source
  - id: held-to-run
    text: "{z} does not run while the lever is let go"
    kind: never
    for: {z: zones}
    condition: z is running and LV is neutral
    hazard: uncommanded motion
    severity: "1"
    scheme: MIL-STD-882E
    source: common practice, no source
  - id: not-onto-the-latch
    text: Nothing is driven right while the sill latch stands
    kind: never
    condition: Z.right is running and SL is raised
    hazard: damage
    severity: "3"
    scheme: MIL-STD-882E
    source: common practice, no source
"""
)
WIRES_FAIL = """\
interlock: 1
catalogue: Of all that can fail, wires that break
about: A catalogue for tests.
failures:
  - item: circuit
    mode: open
    effect: it is off
    noticed: by what stays off
    source: common practice, no source
"""
