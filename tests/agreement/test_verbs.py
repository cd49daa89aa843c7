"""What can be done to things: verbs name rules of the machine, whichever way one comes to the thing."""

from __future__ import annotations

import pytest

from interlock.hold.compile.compiler import CompiledHold
from interlock.hold.compile.world import Thing
from tests.agreement.hold_texts import SOUND, compile_file
from tests.some import some, telling


def all_things(compiled: CompiledHold) -> list[Thing]:
    return [*compiled.world.things.values(), *compiled.world.sides.values()]


@pytest.mark.parametrize("name", telling(SOUND, "single-lane", "twin-lane"))
def test_verbs_name_rules(name: str) -> None:
    """The verbs of bays, their sides, devices and all else mean rules of the machine."""
    compiled = compile_file(f"models/{name}.yaml")
    rules = {rule.name for rule in compiled.machine.rules}
    things = all_things(compiled)
    assert {thing.sort for thing in things} > {"bay", "side of a bay", "device", "kind of unit", "direction of a zone"}
    named = {rule for thing in things for verb in thing.verbs for rule in compiled.rules_of(thing, verb)}
    assert named
    assert named <= rules


@pytest.mark.parametrize("name", telling(SOUND, "single-lane", "twin-lane"))
def test_what_leaves_a_side_leaves_the_bay(name: str) -> None:
    """The steps by which units leave a bay are those by which they leave it over one of its sides."""
    compiled = compile_file(f"models/{name}.yaml")
    for bay in some(compiled.floor.bays):
        thing = compiled.world.things[bay]
        sides = compiled.world.part(thing, "sides")
        assert isinstance(sides, tuple)
        left = compiled.rules_of(thing, "leave")
        assert left
        assert set(left) == {rule for side in sides for rule in compiled.rules_of(side, "leave")}
