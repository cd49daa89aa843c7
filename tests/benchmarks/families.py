"""Machines that grow: lanes by rows of bays with a latch and a drive at every face, shaped like a powered hold.

Face (lane, row) lies at the fore side of bay (lane, row); that of row 0 is the sill, and beyond it is the outside.
Every guard is local to a face, the bays beside it and a few things that the whole hold shares.
"""

from __future__ import annotations

from collections.abc import Iterator

from interlock.kernel.expressions import Expr, Is, Ref, conj, disj, neg
from interlock.kernel.machine import Actor, Machine, Requirement, RequirementKind, Rule, Signal, Variable

SIZES = {6: (2, 3), 12: (2, 6), 30: (2, 15), 60: (2, 30), 120: (2, 60)}
"""Lanes and rows by number of bays."""

ON_OFF = (False, True)


def hold(bays: int, flaw: bool = False) -> Machine:
    """The hold with so many bays; with `flaw`, the farthest latch of lane 1 can be raised while its drive runs."""
    return lanes_by_rows(*SIZES[bays], flaw=flaw)


def lanes_by_rows(lanes: int, rows: int, flaw: bool = False) -> Machine:
    """The hold of that shape."""
    variables = [
        Variable("power", ON_OFF, ON_OFF),
        Variable("door", ("closed", "moving", "open"), ("closed",)),
        Variable("door.locked", ON_OFF, (True,)),
        Variable("panel.open", ON_OFF, (False,)),
        Variable("station", ("sill", "remote"), ("sill",)),
    ]
    signals = [Signal("permit", conj(Is("power", True), Is("door", "open"), Is("panel.open", True)))]
    rules = list(_shared(lanes))
    requirements = [Requirement("door-on-unit", RequirementKind.NEVER, _door_on_unit(lanes))]
    for lane in range(lanes):
        for row in range(rows):
            here = f"{lane}.{row}"
            variables += [
                Variable(f"unit.{here}", ON_OFF, (False,)),
                Variable(f"latch.{here}", ("lowered", "raised"), ("raised",)),
                Variable(f"over.{here}", ("none", "inward", "outward"), ("none",)),
                Variable(f"drive.{here}", ("off", "in", "out"), ("off",)),
            ]
            signals.append(Signal(f"runs.{here}", conj(Ref("permit"), neg(Is(f"drive.{here}", "off")))))
            is_flawed = flaw and lane == 1 and row == rows - 1
            rules += _face(lane, row, rows, is_flawed)
            requirements += _requirements(lane, row)
    return Machine(tuple(variables), tuple(signals), tuple(rules), tuple(requirements))


def _shared(lanes: int) -> Iterator[Rule]:
    clear = conj(*(Is(f"over.{lane}.0", "none") for lane in range(lanes)))
    held = conj(*(Is(f"latch.{lane}.0", "raised") for lane in range(lanes)))
    crew, plant = Actor.CREW, Actor.PLANT
    yield Rule("power on", crew, Is("power", False), (("power", True),))
    yield Rule("power lost", plant, Is("power", True), (("power", False),))
    yield Rule("panel opens", crew, Is("panel.open", False), (("panel.open", True),))
    yield Rule("panel closes", crew, Is("panel.open", True), (("panel.open", False),))
    yield Rule("unlock", crew, Is("door.locked", True), (("door.locked", False),))
    yield Rule("lock", crew, conj(Is("door.locked", False), Is("door", "closed")), (("door.locked", True),))
    yield Rule("to remote", crew, Is("station", "sill"), (("station", "remote"),))
    yield Rule("to sill", crew, Is("station", "remote"), (("station", "sill"),))
    opening = conj(Is("door", "closed"), Is("door.locked", False), Is("power", True))
    yield Rule("door starts to open", plant, opening, (("door", "moving"),))
    yield Rule("door is open", plant, Is("door", "moving"), (("door", "open"),))
    yield Rule("door starts to close", plant, conj(Is("door", "open"), clear, held), (("door", "moving"),))
    yield Rule("door is closed", plant, Is("door", "moving"), (("door", "closed"),))


def _face(lane: int, row: int, rows: int, flawed: bool) -> Iterator[Rule]:
    here = f"{lane}.{row}"
    latch, over, drive, unit = (f"{kind}.{here}" for kind in ("latch", "over", "drive", "unit"))
    crew, plant, mechanism = Actor.CREW, Actor.PLANT, Actor.MECHANISM
    idle = Is(over, "none")
    still = conj() if flawed else Is(drive, "off")
    beyond_is_still = Is(f"over.{lane}.{row + 1}", "none") if row + 1 < rows else conj()
    yield Rule(f"raise {here}", crew, conj(Is(latch, "lowered"), idle, still), ((latch, "raised"),))
    yield Rule(f"lower {here}", crew, conj(Is(latch, "raised"), Is("panel.open", True)), ((latch, "lowered"),))
    for way in ("in", "out"):
        # The remote station commands the far half of the hold only.
        owner = disj(Is("station", "sill"), conj(Is("station", "remote"), disj() if row < rows // 2 else conj()))
        guard = conj(Is(drive, "off"), Is(latch, "lowered"), Ref("permit"), owner)
        yield Rule(f"drive {way} {here}", crew, guard, ((drive, way),))
    yield Rule(f"release {here}", crew, neg(Is(drive, "off")), ((drive, "off"),))
    if row:
        fore, before = f"unit.{lane}.{row - 1}", f"over.{lane}.{row - 1}"
        has_unit, fore_is_free = Is(fore, True), conj(Is(fore, False), Is(before, "none"))
        leaves: tuple[tuple[str, bool], ...] = ((fore, False),)
        arrives: tuple[tuple[str, bool], ...] = ((fore, True),)
    else:
        # The outside always has one more unit and always takes one; at the sill the door decides.
        has_unit = fore_is_free = Is("door", "open")
        leaves = arrives = ()
    runs = Ref(f"runs.{here}")
    into = conj(runs, Is(drive, "in"), idle, has_unit, Is(unit, False), beyond_is_still)
    yield Rule(f"enter {here}", plant, into, ((over, "inward"), *leaves))
    yield Rule(f"entered {here}", mechanism, Is(over, "inward"), ((over, "none"), (unit, True)))
    out = conj(runs, Is(drive, "out"), idle, Is(unit, True), fore_is_free)
    yield Rule(f"leave {here}", plant, out, ((over, "outward"), (unit, False)))
    yield Rule(f"left {here}", mechanism, Is(over, "outward"), ((over, "none"), *arrives))


def _requirements(lane: int, row: int) -> Iterator[Requirement]:
    here = f"{lane}.{row}"
    raised, moving = Is(f"latch.{here}", "raised"), neg(Is(f"over.{here}", "none"))
    never = RequirementKind.NEVER
    yield Requirement(f"driven-against-latch.{here}", never, conj(raised, neg(Is(f"drive.{here}", "off"))))
    yield Requirement(f"latch-into-unit.{here}", never, conj(raised, moving))
    into = conj(Is(f"over.{here}", "inward"), Is(f"unit.{here}", True))
    yield Requirement(f"collision-inward.{here}", never, into)
    if row:
        out = conj(Is(f"over.{here}", "outward"), Is(f"unit.{lane}.{row - 1}", True))
        yield Requirement(f"collision-outward.{here}", never, out)


def _door_on_unit(lanes: int) -> Expr:
    over = disj(*(neg(Is(f"over.{lane}.0", "none")) for lane in range(lanes)))
    return conj(over, neg(Is("door", "open")))
