"""A thing that stays in one state for good can still be asked about: whatever is fixed, the standing set is asked."""

from __future__ import annotations

import pytest

from interlock.hold.compile.compiler import compile_hold
from interlock.hold.kinds import DEVICE_KINDS, control_kind
from interlock.hold.language.model import Hold
from interlock.hold.loader import load_hold
from interlock.kernel.claims import Fails, Limits
from interlock.prove.search.bmc import bmc
from interlock.study.verify import Status, verify
from tests.agreement.hold_texts import compile_source, fetch, overlay, standing

HOLDS = {"single-lane": "", "twin-lane": "thorough", "main-deck": "slow"}


def hold_of(name: str) -> Hold:
    source = fetch(f"models/{name}.yaml")
    assert source is not None
    hold = load_hold(source, fetch).value
    assert hold is not None
    return hold


def fixings(name: str) -> list[str]:
    """The first control and the first device of each kind, fixed in each of its states."""
    hold = hold_of(name)
    first = {
        control.kind: (control.id, control_kind(control.kind, control.positions)) for control in hold.controls[::-1]
    }
    first |= {device.kind: (device.id, DEVICE_KINDS[device.kind]) for device in hold.devices[::-1]}
    return [f"- {{fix: {id}, in: '{state}'}}" for id, kind in first.values() for state in kind.states]


@pytest.mark.parametrize(
    "name",
    [pytest.param(name, marks=getattr(pytest.mark, weight)) if weight else name for name, weight in HOLDS.items()],
)
def test_whatever_is_fixed_the_standing_set_can_be_asked(name: str) -> None:
    """No requirement is a fault of the description because what it speaks of no longer moves."""
    texts = standing()
    found = fixings(name)
    assert len(found) >= 12
    for fixing in found:
        loaded = load_hold(overlay(name, fixing), fetch)
        assert loaded.value is not None, loaded.diagnostics
        compilation = compile_hold(loaded.value, texts)
        if compilation.compiled is None:
            # a switch that is on for good may leave no start in which a relay is at rest: which one is said
            assert {one.code for one in compilation.diagnostics} == {"start-not-settled"}, fixing
            assert all("fresh command relay goes to energised by itself" in d.message for d in compilation.diagnostics)
        else:
            assert len(compilation.compiled.machine.requirements) > 40


def test_a_lever_that_is_jammed_is_no_fresh_command() -> None:
    """With a lever fixed in a direction, and a relay that does not wait for it, power alone moves a unit."""
    changes = "- {fix: LVA, in: aft}\n- {change: armed, to: {sets: GP is on and KEY is on}}"
    compiled = compile_source(overlay("single-lane", changes), standing())
    chosen = ["fresh-command-after-power-loss[ZX]"]
    (answer,) = verify(compiled, bmc, Limits(depth=14), chosen=chosen).answers
    assert answer.status is Status.FAILS
    assert isinstance(answer.finding, Fails)
