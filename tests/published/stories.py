"""Interlock stories: an oven, a pressure tank, a door with a handle, a counter used as a flag, two hands."""

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


def door_with_handle(interlocked: bool) -> Machine:
    """A door that power shuts and latches while a hand holds the command, and a handle that locks the latches.

    The handle is all that people see of the lock.  Interlocked: it goes home only where the lock goes in over latched
    latches.  Not interlocked: it can be forced home over a shut door whatever the latches do.
    """
    latched = Is("latches", "latched")
    rules = [
        step("hold the command", Is("command", False), {"command": True}),
        step("let go", Is("command", True), {"command": False}),
        step("door shuts", conj(Is("command", True), Is("door", "open")), {"door": "shut"}, Actor.PLANT),
        step(
            "latches engage",
            conj(Is("command", True), Is("door", "shut"), Is("latches", "unlatched")),
            {"latches": "latched"},
            Actor.PLANT,
        ),
        step("handle home over latched latches", conj(Is("handle", "out"), latched), {"handle": "home", "lock": True}),
        step("handle out", Is("handle", "home"), {"handle": "out", "lock": False}),
        step("latches come off", conj(latched, Is("handle", "out")), {"latches": "unlatched"}, Actor.PLANT),
        step(
            "door opens",
            conj(Is("door", "shut"), Is("latches", "unlatched"), Is("handle", "out")),
            {"door": "open"},
            Actor.PLANT,
        ),
    ]
    if not interlocked:
        forced = conj(Is("handle", "out"), Is("door", "shut"), neg(latched))
        rules.append(step("handle forced home", forced, {"handle": "home"}))
    variables = (
        switch("command"),
        Variable("door", ("open", "shut"), ("open",)),
        Variable("latches", ("unlatched", "latched"), ("unlatched",)),
        Variable("handle", ("out", "home"), ("out",)),
        switch("lock"),
    )
    ready_to_lock = Signal("ready to lock", conj(Is("door", "shut"), latched, Is("handle", "out")))
    requirements = (
        always("handle home only over a lock that is in", Is("handle", "home"), Is("lock", True)),
        always("locked only if latched", Is("lock", True), latched),
        can("it can be shut, latched and locked", conj(Is("door", "shut"), latched, Is("lock", True))),
        can("it can be ready to lock", Ref("ready to lock")),
    )
    return Machine(variables, (ready_to_lock,), tuple(rules), requirements)


def counter_flag(passes: int = 256, incremented: bool = True) -> Machine:
    """A check of a guard's position that is skipped whenever a counter, incremented each pass, reads zero.

    `passes` is the number of values that the counter has.  Not incremented: each pass sets it to 1, the remedy.
    The hazard is a machine that runs while its guard is not in place.
    """
    counter = Variable("counter", tuple(range(passes)), (0,))
    in_place, unchecked = Is("guard", "in place"), Is("counter", 0)
    # while it runs neither the guard nor the set-up may be touched
    quiet = neg(Is("phase", "running"))
    rules = [
        step(
            f"pass({k})",
            conj(Is("counter", k), quiet),
            {"counter": (k + 1) % passes if incremented else 1, "phase": "set up"},
        )
        for k in range(passes)
    ]
    rules += [
        step("guard into place", conj(Is("guard", "away"), quiet), {"guard": "in place"}),
        step("guard away", conj(in_place, quiet), {"guard": "away"}),
        step("run", conj(Is("phase", "set up"), disj(unchecked, in_place)), {"phase": "running"}),
        step("stop", Is("phase", "running"), {"phase": "idle"}),
    ]
    variables = (
        counter,
        Variable("phase", ("idle", "set up", "running"), ("idle",)),
        Variable("guard", ("away", "in place"), ("away",)),
    )
    hazard = conj(Is("phase", "running"), neg(in_place))
    requirements = (never("runs with the guard away", hazard), can("it runs", Is("phase", "running")))
    return Machine(variables, (), tuple(rules), requirements)


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
