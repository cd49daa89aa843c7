"""Which failures a procedure shows that is worked as a check, against the plain meaning of the procedure's machine."""

from __future__ import annotations

from functools import cache

from interlock.hold.loader import Source
from interlock.hold.procedure.binding import BoundProcedure
from interlock.hold.procedures import open_check
from interlock.kernel.claims import Limits
from interlock.kernel.evaluator import State, fire, initial_states, is_enabled
from interlock.kernel.machine import Actor
from interlock.study.functional_test.stated import StatedCheck, follow_check
from interlock.study.procedure.graph import AT, procedure_graph, procedure_machine
from tests.agreement.test_functional_test import LIT, failing

LOOK = """\
interlock: 1
procedure: Look over the doorway
hold: some-other.yaml
start: {GP: on, SL: lowered}
goal: D1 is closed
steps:
  - check lamp is off
  - unlock D1
  - unlatch D1
  - open D1
  - hold LV to right until Z is running
  - check not Z is running
  - raise SL
  - check lamp is on
"""


def bound_to_wired(text: str) -> BoundProcedure:
    """The procedure on the wired hold in which everything may fail, whatever hold it names."""
    bound = open_check(Source("look.yaml", text.encode()), failing(LIT).hold).bound
    assert bound is not None
    return bound


@cache
def looked() -> StatedCheck:
    """What the check shows."""
    return follow_check(bound_to_wired(LOOK))


def comes_to_an_end(bound: BoundProcedure, failure: str) -> bool:
    """By the reference evaluator, all states of the procedure's machine written out in which this has failed first."""
    machine = procedure_machine(procedure_graph(bound), lost=False, failing=True)
    strikes = [rule for rule in machine.rules if (failure, True) in rule.update]
    others = [rule for rule in machine.rules if rule.actor is not Actor.FAILURE]
    pending: list[State] = [
        fire(machine, rule, state)
        for state in initial_states(machine)
        for rule in strikes
        if is_enabled(machine, rule, state)
    ]
    assert pending, failure
    at, seen = machine.positions[AT], set(pending)
    while pending:
        state = pending.pop()
        if state[at] == "done":
            return True
        for rule in others:
            if is_enabled(machine, rule, state) and (after := fire(machine, rule, state)) not in seen:
                seen.add(after)
                pending.append(after)
    return False


def test_a_check_shows_what_keeps_every_run_from_its_end() -> None:
    """Of each failure the same as all states written out; both sorts are there, and none is left out."""
    found, bound = looked(), bound_to_wired(LOOK)
    assert not found.why
    assert not found.unknown
    for name in found.shown:
        assert not comes_to_an_end(bound, name), name
    for name in found.hidden:
        assert comes_to_an_end(bound, name), name
    assert len(found.shown) > 15
    assert len(found.hidden) > 10
    assert set(found.shown.values()) <= set(range(1, found.actions + 1))


def test_what_a_check_does_not_ask_for_it_does_not_show() -> None:
    """Without the looks at the lamp nothing shows that only the lamp shows; no more shows than with them."""
    blind = follow_check(
        bound_to_wired(LOOK.replace("  - check lamp is off\n", "").replace("  - check lamp is on\n", ""))
    )
    assert blind.shown.keys() < looked().shown.keys()
    assert {"failure.lamp.open", "failure.lamp.short_to_power"} <= looked().shown.keys() - blind.shown.keys()


def test_a_check_that_a_sound_hold_fails_shows_nothing() -> None:
    """The sound hold has to come to its end, or else that nobody does says nothing."""
    wrong = follow_check(bound_to_wired(LOOK.replace("check lamp is off", "check lamp is on")))
    assert not wrong.shown
    assert not wrong.hidden
    assert "on the sound hold action 1" in wrong.why
    assert wrong.unknown


def test_a_check_without_time_is_not_known() -> None:
    """What was not followed is neither shown nor hidden."""
    late = follow_check(bound_to_wired(LOOK), Limits(seconds=0.0))
    assert (late.shown, late.hidden, late.why) == ({}, (), "the time was up")
    assert len(late.unknown) == len(looked().shown) + len(looked().hidden)
