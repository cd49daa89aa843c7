"""Two ordered procedures of a published regulation, as order requirements: one order of each is right, no other.

29 CFR 1910.147(d), "Application of control": preparation, shutdown, isolation, application of lockout or tagout
devices, stored energy, verification of isolation; (e), "Release from lockout or tagout", with (e)(2)(ii), by
which people are told after the devices are removed.  Read in secondary copies; (d)(6) in part from memory.
"""

from __future__ import annotations

from itertools import pairwise, permutations
from math import factorial

import pytest

from interlock.hold.loader import Source, load_hold, load_procedure
from interlock.hold.procedure.binding import bind_procedure, compile_for
from interlock.kernel.claims import Limits
from interlock.study.procedure.audit import Overall, audit_procedure

CONTROL = ("prepare", "shut_down", "isolate", "lock_out", "relieve", "verify")
RELEASE = ("inspect", "clear_people", "remove_devices", "tell_people")

HEAD = """
interlock: 1
title: Work to be done in order
layout:
  lanes: [C]
  rows: 1
  ball_mat: [1C]
  secured: []
  neighbour_restrains: false
  drift: []
  pushing: never
  hand_work: always
units: [{id: HALF, across: 1, along: 1}]
controls:
"""


def description(steps: tuple[str, ...]) -> str:
    """A hold with one switch for each step, and the requirements that each comes after the one before."""
    text = HEAD + "".join(
        f"  - {{id: {step}, kind: switch, positions: [open, done], starts: open}}\n" for step in steps
    )
    text += "requirements:\n"
    for before, after in pairwise(steps):
        text += (
            f"  - {{id: {after}-after-{before}, text: order of the regulation, kind: order, step: set_done {after}, "
            f"first: set_done {before}, hazard: unexpected energy, severity: '1', scheme: MIL-STD-882E, "
            "source: 29 CFR 1910.147}\n"
        )
    return text


def procedure(order: tuple[str, ...]) -> str:
    """The steps in that order, and all of them done at the end."""
    steps = "".join(f"  - set {step} to done\n" for step in order)
    goal = " and ".join(f"{step} is done" for step in order)
    return f"interlock: 1\nprocedure: An order\nhold: hold.yaml\ngoal: {goal}\nsteps:\n{steps}"


@pytest.mark.parametrize(
    ("steps", "number"),
    [
        pytest.param(CONTROL, 720, marks=pytest.mark.slow, id="1910.147(d)"),
        pytest.param(RELEASE, 24, id="1910.147(e)"),
    ],
)
def test_exactly_one_order_is_right(steps: tuple[str, ...], number: int) -> None:
    """Of all n! orders the audit finds nothing in the one of the regulation, and something in every other."""
    hold = load_hold(Source("hold.yaml", description(steps).encode()), lambda name: None).value
    assert hold is not None
    right = []
    orders = list(permutations(steps))
    assert len(orders) == number == factorial(len(steps))
    compiled = None
    for order in orders:
        loaded = load_procedure(Source("procedure.yaml", procedure(order).encode())).value
        assert loaded is not None
        compiled = compiled or compile_for(hold, loaded).compiled
        assert compiled is not None
        bound = bind_procedure(loaded, compiled).bound
        assert bound is not None
        audit = audit_procedure(bound, None, Limits(), slips=False)
        assert audit.overall in (Overall.SOUND, Overall.FINDINGS)
        assert (audit.overall is Overall.SOUND) is not bool(audit.breaches)
        if audit.overall is Overall.SOUND:
            right.append(order)
    assert right == [steps]


def test_slips_in_the_right_order() -> None:
    """In the right order every step swapped with its neighbour, or left out, breaks the order that it belongs to."""
    hold = load_hold(Source("hold.yaml", description(CONTROL).encode()), lambda name: None).value
    loaded = load_procedure(Source("procedure.yaml", procedure(CONTROL).encode())).value
    assert hold is not None
    assert loaded is not None
    compiled = compile_for(hold, loaded).compiled
    assert compiled is not None
    bound = bind_procedure(loaded, compiled).bound
    assert bound is not None
    audit = audit_procedure(bound, None, Limits())
    assert audit.slips is not None
    found = {one.slip.id: one.hazards for one in audit.slips.results}
    for at, (before, after) in enumerate(pairwise(CONTROL), 1):
        assert f"{after}-after-{before}" in found[f"{at} swapped"]
        assert f"{after}-after-{before}" in found[f"{at} omitted"]
    assert found["6 omitted"] == ()
    assert {type(one).__name__ for one in audit.slips.findings} == {"Fails"}
