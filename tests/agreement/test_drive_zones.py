"""What runs under which bay, told a second time from the switches of a small hold with overlapping zones."""

from __future__ import annotations

from random import Random

from interlock.hold.compile.compiler import CompiledHold
from interlock.hold.compile.world import Thing
from interlock.kernel.evaluator import as_mapping, truths_in
from interlock.kernel.expressions import Expr
from tests.agreement.hold_texts import compile_text, doorway, hold_text

SWITCHES = ("PA", "PB", "OWN1", "OWN2", "F1", "F2", "A1", "FB", "SIDE", "IF", "IA", "IS1", "IS2", "IS3")

TWO_ZONES = hold_text(
    lanes="[L, R]",
    rows=3,
    ball_mat="[1L, 1R]",
    doorways=doorway("[1L]", "left"),
    rest="controls:\n"
    + "".join(f"  - {{id: {id}, kind: switch, positions: [off, on], starts: off}}\n" for id in SWITCHES)
    + """\
  - {id: LV1, kind: lever, positions: [fore, aft]}
  - {id: LV2, kind: lever, positions: [fore, aft]}
stations:
  - {id: S1, controls: [LV1], owns: OWN1 is on}
  - {id: S2, controls: [LV2], owns: OWN2 is on}
zones:
  - id: ZA
    bays: [1L, 2L, 3L]
    power: PA is on
    commands:
      - {station: S1, fore: F1 is on or LV1 is fore, aft: A1 is on or LV1 is aft}
      - {station: S2, fore: F2 is on or LV2 is fore}
    inhibits: {fore: IF is on, aft: IA is on}
    sections:
      - {bay: 2L, inhibits: {fore: IS1 is on}}
      - {bay: 3L, inhibits: {fore: IS2 is on, aft: IS3 is on}}
  - id: ZB
    bays: [2L, 2R, 1L, 1R]
    power: PB is on
    commands:
      - {station: S2, fore: FB is on, left: SIDE is on}
""",
)


def _state_of(compiled: CompiledHold, thing: Thing, side: str, state: str) -> Expr:
    part = compiled.world.part(thing, side)
    assert isinstance(part, Thing)
    return part.states[state]


def _facts(compiled: CompiledHold) -> dict[str, Expr]:
    """Whatever can be said of the zones, the drives and the doorway, by a short name."""
    things = compiled.world.things
    za, zb = things["ZA"], things["ZB"]
    facts = {
        f"{z.id} {s}": z.states[s] for z in (za, zb) for s in ("powered", "held", "contested", "commanded", "running")
    }
    for zone, sides in ((za, ("fore", "aft")), (zb, ("fore", "left"))):
        for side in sides:
            for state in ("commanded", "held", "inhibited", "permitted", "running"):
                facts[f"{zone.id} {side} {state}"] = _state_of(compiled, zone, side, state)
    facts["D1 drive_running"] = things["D1"].states["drive_running"]
    return facts | {name: so for name, so in compiled.machine.definitions.items() if name.startswith("drive.")}


def _told(on: dict[str, bool], lv1: str, lv2: str) -> dict[str, bool]:
    """The same from the description as a person reads it."""
    fore_a = (on["OWN1"] and (on["F1"] or lv1 == "fore")) or (on["OWN2"] and (on["F2"] or lv2 == "fore"))
    aft_a = on["OWN1"] and (on["A1"] or lv1 == "aft")
    fore_b, left_b = on["OWN2"] and on["FB"], on["OWN2"] and on["SIDE"]
    may_fore, may_aft = on["PA"] and fore_a and not on["IF"], on["PA"] and aft_a and not on["IA"]
    runs_b, left = on["PB"] and fore_b, on["PB"] and left_b
    drives = {
        "drive.1L.fore": may_fore or runs_b,
        "drive.2L.fore": (may_fore and not on["IS1"]) or runs_b,
        "drive.3L.fore": may_fore and not on["IS2"],
        "drive.1L.aft": may_aft,
        "drive.2L.aft": may_aft,
        "drive.3L.aft": may_aft and not on["IS3"],
        "drive.1R.fore": runs_b,
        "drive.2R.fore": runs_b,
        **{f"drive.{bay}.left": left for bay in ("1L", "1R", "2L", "2R")},
    }
    runs = {
        # a drive that the other zone runs in a bay of both does not make this one run
        "ZA fore": may_fore,
        "ZA aft": any(drives[f"drive.{row}L.aft"] for row in (1, 2, 3)),
        "ZB fore": runs_b,
        "ZB left": left,
    }
    return {
        **drives,
        **{f"{side} running": so for side, so in runs.items()},
        "D1 drive_running": left,
        "ZA powered": on["PA"],
        "ZB powered": on["PB"],
        "ZA held": lv1 != "neutral" or lv2 != "neutral",
        "ZB held": False,
        "ZA contested": on["OWN1"] and on["OWN2"],
        "ZB contested": False,
        "ZA commanded": fore_a or aft_a,
        "ZB commanded": fore_b or left_b,
        "ZA running": runs["ZA fore"] or runs["ZA aft"],
        "ZB running": runs["ZB fore"] or left,
        "ZA fore commanded": fore_a,
        "ZA aft commanded": aft_a,
        "ZB fore commanded": fore_b,
        "ZB left commanded": left_b,
        "ZA fore held": (on["OWN1"] and lv1 == "fore") or (on["OWN2"] and lv2 == "fore"),
        "ZA aft held": on["OWN1"] and lv1 == "aft",
        "ZB fore held": False,
        "ZB left held": False,
        "ZA fore inhibited": on["IF"],
        "ZA aft inhibited": on["IA"],
        "ZA fore permitted": not on["IF"],
        "ZA aft permitted": not on["IA"],
        **{f"ZB {side} inhibited": False for side in ("fore", "left")},
        **{f"ZB {side} permitted": True for side in ("fore", "left")},
    }


def test_drives_run_as_the_description_reads() -> None:
    """Power, who is in charge, commands, inhibits and sections, zone by zone and bay by bay, in any state at all."""
    compiled = compile_text(TWO_ZONES)
    machine = compiled.machine
    facts = _facts(compiled)
    draw = Random(5)
    seen: dict[str, set[bool]] = {}
    for _ in range(400):
        state = tuple(
            draw.choice((False, True, True)) if v.domain == (False, True) else draw.choice(v.domain)
            for v in machine.variables
        )
        values = as_mapping(machine, state)
        on = {id: values[f"control.{id}.position"] == "on" for id in SWITCHES}
        expected = _told(on, *(str(values[f"control.LV{n}.position"]) for n in (1, 2)))
        true = truths_in(machine, state)
        assert {name: true(expr) for name, expr in facts.items()} == expected
        for name, so in expected.items():
            seen.setdefault(name, set()).add(so)
    constant = {"ZB held", "ZB contested", "ZB fore held", "ZB left held"}
    constant |= {f"ZB {side} {word}" for side in ("fore", "left") for word in ("inhibited", "permitted")}
    assert {name for name, values in seen.items() if len(values) == 1} == constant
