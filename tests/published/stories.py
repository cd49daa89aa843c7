"""Interlock stories: an oven, a pressure tank, a cargo door, a counter used as a flag, hold-to-run with two hands."""

from __future__ import annotations

from collections.abc import Iterable
from itertools import pairwise

from interlock.kernel.expressions import Expr, Is, Ref, Value, conj, disj, neg
from interlock.kernel.machine import Actor, Machine, Requirement, RequirementKind, Rule, Signal, Variable

from .cases import always, can, is_exactly, never, step, switch

OVEN_LABELS = ("start", "close", "heat", "error")
OVEN_STATES: dict[int, tuple[bool, ...]] = {
    number: tuple(number in where for where in ((2, 5, 6, 7), (3, 4, 5, 6, 7), (4, 7), (2, 5)))
    for number in range(1, 8)
}
OVEN_STEPS = {1: (2, 3), 2: (5,), 3: (1, 6), 4: (1, 3, 4), 5: (2, 3), 6: (7,), 7: (4,)}


def microwave() -> Machine:
    """The seven-state oven over its four labels; state n of the published graph is `OVEN_STATES[n]`."""
    rules = [
        step(f"{here} to {there}", _oven(here), dict(zip(OVEN_LABELS, OVEN_STATES[there], strict=True)))
        for here, after in OVEN_STEPS.items()
        for there in after
    ]
    requirements = (
        can("it can heat", Is("heat", True)),
        always("heat only while closed", Is("heat", True), Is("close", True)),
        never("heat in error", conj(Is("heat", True), Is("error", True))),
    )
    return Machine(tuple(map(switch, OVEN_LABELS)), (), tuple(rules), requirements)


def _oven(number: int) -> Expr:
    return is_exactly(dict(zip(OVEN_LABELS, OVEN_STATES[number], strict=True)))


TANK_FAULTS = ("T", "K2", "S", "S1", "K1", "R")


def pressure_tank(faults: Iterable[str]) -> Machine:
    """The pump, relays and timer of the pressure-tank example, in which only the named faults may strike.

    S1 is a start push-button that springs back; relay K1 seals itself in through timer R; pressure switch S, in
    series with that line, feeds relay K2, whose contacts run the pump.  A full pass is `empty, full, overdue, burst`:
    S opens at `full`, R at `overdue`, and a pump that still runs then bursts the tank.  The hazard never follows from
    what is written here about cut sets: nothing is.
    """
    may_strike = frozenset(faults)
    levels: tuple[Value, ...] = ("empty", "full", "overdue", "burst")

    def failed(part: str) -> Expr:
        return Is(f"fault.{part}", True)

    signals = (
        Signal("button closed", disj(Is("button", True), failed("S1"))),
        Signal("contact K1", disj(Is("k1", True), failed("K1"))),
        Signal("contact R", disj(neg(Is("level", "overdue")), failed("R"))),
        Signal("contact S", disj(Is("level", "empty"), failed("S"))),
        Signal("line", disj(Ref("button closed"), Ref("contact K1"))),
        Signal("coil K1", conj(Ref("line"), Ref("contact R"))),
        Signal("coil K2", conj(Ref("line"), Ref("contact S"))),
        Signal("pump", disj(Ref("coil K2"), failed("K2"))),
    )
    picks_up = conj(Is("k1", False), Ref("coil K1"))
    drops = conj(Is("k1", True), neg(Ref("coil K1")))
    # springs and relays are quick: the level changes only after they have come to rest
    settled = conj(Is("button", False), neg(picks_up), neg(drops))
    fill = conj(settled, Ref("pump"))
    rules = [
        step("press", Is("button", False), {"button": True}),
        step("spring back", Is("button", True), {"button": False}, Actor.MECHANISM),
        step("K1 picks up", picks_up, {"k1": True}, Actor.MECHANISM),
        step("K1 drops", drops, {"k1": False}, Actor.MECHANISM),
        *(
            step(f"pump fills to {after}", conj(fill, Is("level", before)), {"level": after}, Actor.PLANT)
            for before, after in pairwise(levels)
        ),
        step(
            "draw off",
            conj(settled, neg(Ref("pump")), neg(Is("level", "burst"))),
            {"level": "empty"},
            Actor.PLANT,
        ),
        *(
            step(f"fault {part}", Is(f"fault.{part}", False), {f"fault.{part}": True}, Actor.FAILURE)
            for part in TANK_FAULTS
            if part in may_strike
        ),
    ]
    variables = (
        switch("button"),
        switch("k1"),
        Variable("level", levels, ("empty",)),
        *(switch(f"fault.{part}") for part in TANK_FAULTS),
    )
    top = disj(Is("level", "burst"), failed("T"))
    return Machine(variables, signals, tuple(rules), (never("rupture", top),))


def cargo_door(closed_loop: bool) -> Machine:
    """The published closing sequence of a cargo door, hold-to-close switch to handle and vent door.

    Closed loop: the handle goes in only over engaged lock pins.  Open loop: the handle and the vent door it works go
    in although the pins have met an unlatched latch.
    """
    latched = Is("latches", "latched")
    rules = [
        step("press close", Is("command", False), {"command": True}),
        step("release close", Is("command", True), {"command": False}),
        step("door closes", conj(Is("command", True), Is("door", "open")), {"door": "closed"}, Actor.PLANT),
        step(
            "latches close",
            conj(Is("command", True), Is("door", "closed"), Is("latches", "unlatched")),
            {"latches": "latched"},
            Actor.PLANT,
        ),
        step("handle in over latched latches", conj(Is("handle", "out"), latched), _handle("in", True)),
        step("handle out", Is("handle", "in"), _handle("out", False)),
        step("latches open", conj(latched, Is("handle", "out")), {"latches": "unlatched"}, Actor.PLANT),
        step(
            "door opens",
            conj(Is("door", "closed"), Is("latches", "unlatched"), Is("handle", "out")),
            {"door": "open"},
            Actor.PLANT,
        ),
    ]
    if not closed_loop:
        forced = conj(Is("handle", "out"), Is("door", "closed"), neg(latched))
        rules.append(step("handle forced in", forced, _handle("in", False)))
    variables = (
        switch("command"),
        Variable("door", ("open", "closed"), ("open",)),
        Variable("latches", ("unlatched", "latched"), ("unlatched",)),
        Variable("handle", ("out", "in"), ("out",)),
        Variable("vent", ("open", "closed"), ("open",)),
        switch("pins engaged"),
    )
    ready_to_lock = Signal("ready to lock", conj(Is("door", "closed"), latched, Is("handle", "out")))
    closed_up = conj(Is("door", "closed"), latched, Is("pins engaged", True), Is("vent", "closed"))
    requirements = (
        always("vent closed only over engaged pins", Is("vent", "closed"), Is("pins engaged", True)),
        always("locked only if latched", Is("pins engaged", True), latched),
        can("it can be closed up", closed_up),
        can("the ready light can show", Ref("ready to lock")),
    )
    return Machine(variables, (ready_to_lock,), tuple(rules), requirements)


def _handle(position: str, pins: bool) -> dict[str, Value]:
    return {"handle": position, "vent": "closed" if position == "in" else "open", "pins engaged": pins}


def counter_flag(passes: int = 256, incremented: bool = True) -> Machine:
    """A set-up check that is skipped whenever a counter, incremented each pass, reads zero.

    `passes` is the number of values that the counter has.  Not incremented: each pass sets it to 1, the remedy.
    The hazard is a beam on while the turntable is not in the treatment position.
    """
    counter = Variable("counter", tuple(range(passes)), (0,))
    in_place, unchecked = Is("turntable", "treatment"), Is("counter", 0)
    # with the beam on neither the turntable nor the set-up may be touched
    quiet = neg(Is("phase", "beam"))
    rules = [
        step(
            f"pass({k})",
            conj(Is("counter", k), quiet),
            {"counter": (k + 1) % passes if incremented else 1, "phase": "set up"},
        )
        for k in range(passes)
    ]
    rules += [
        step("turn to treatment", conj(Is("turntable", "field light"), quiet), {"turntable": "treatment"}),
        step("turn to field light", conj(in_place, quiet), {"turntable": "field light"}),
        step("beam on", conj(Is("phase", "set up"), disj(unchecked, in_place)), {"phase": "beam"}),
        step("beam off", Is("phase", "beam"), {"phase": "idle"}),
    ]
    variables = (
        counter,
        Variable("phase", ("idle", "set up", "beam"), ("idle",)),
        Variable("turntable", ("field light", "treatment"), ("field light",)),
    )
    hazard = conj(Is("phase", "beam"), neg(in_place))
    return Machine(variables, (), tuple(rules), (never("beam out of place", hazard), can("beam", Is("phase", "beam"))))


def two_hand_control(concurrent: bool) -> Machine:
    """A press that strokes while two buttons are held, and needs both released before the next stroke.

    Not concurrent: one button tied down counts as pressed and re-release is not asked for.
    """
    left, right = Is("left hand", True), Is("right hand", True)
    both = conj(left, right) if concurrent else disj(left, right)
    ready = Is("armed", True) if concurrent else conj()
    released = conj(neg(left), neg(right))
    lets_go = {"press": "still"}
    rules: list[Rule] = []
    for hand in ("left hand", "right hand"):
        rules.append(step(f"{hand} presses", Is(hand, False), {hand: True}))
        # hold-to-run: letting either button go stops the stroke in the same step
        stops = lets_go if concurrent else {}
        rules.append(step(f"{hand} lets go", Is(hand, True), {hand: False, **stops}))
    rules += [
        step("both seen released", conj(released, Is("armed", False)), {"armed": True}, Actor.MECHANISM),
        step("stroke", conj(both, ready, Is("press", "still")), {"press": "stroke", "armed": False}, Actor.PLANT),
        step("stroke ends", Is("press", "stroke"), {"press": "still"}, Actor.PLANT),
    ]
    variables = (
        switch("left hand"),
        switch("right hand"),
        switch("armed"),
        Variable("press", ("still", "stroke"), ("still",)),
    )
    hand_free = conj(Is("press", "stroke"), disj(neg(left), neg(right)))
    requirements = (
        never("stroke with a hand free", hand_free),
        can("stroke", Is("press", "stroke")),
        Requirement(
            "both released before the next stroke",
            RequirementKind.ORDER,
            steps=frozenset({"stroke"}),
            first=frozenset({"both seen released"}),
            since=frozenset({"stroke"}),
        ),
    )
    return Machine(variables, (), tuple(rules), requirements)
