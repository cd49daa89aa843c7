"""What can be done to things: verbs name rules of the machine, whichever way one comes to the thing."""

from __future__ import annotations

import pytest

from interlock.hold.compile.compiler import CompiledHold
from interlock.hold.compile.lowering import Thing
from tests.agreement.hold_texts import SOUND, compile_file
from tests.some import some


def all_things(compiled: CompiledHold) -> set[Thing]:
    found: set[Thing] = set()
    waiting = [*compiled.world.things.values(), *(t for group in compiled.world.groups.values() for t in group)]
    while waiting:
        thing = waiting.pop()
        if thing not in found:
            found.add(thing)
            for part in thing.parts.values():
                waiting += part if isinstance(part, tuple) else [part]
    return found


@pytest.mark.parametrize("name", SOUND)
def test_verbs_name_rules(name: str) -> None:
    """After compiling, the verbs of bays, their sides, devices and all else name rules, not what rules were made of."""
    compiled = compile_file(f"models/{name}.yaml")
    rules = {rule.name for rule in compiled.machine.rules}
    things = all_things(compiled)
    assert {thing.sort for thing in things} > {"bay", "side of a bay", "device", "kind of unit", "direction of a zone"}
    named = {rule for thing in things for names in thing.verbs.values() for rule in names}
    assert named
    assert named <= rules


@pytest.mark.parametrize("name", SOUND)
def test_what_leaves_a_side_leaves_the_bay(name: str) -> None:
    """The steps by which units leave a bay are those by which they leave it over one of its sides."""
    compiled = compile_file(f"models/{name}.yaml")
    for bay in some(compiled.floor.bays):
        thing = compiled.world.things[bay]
        sides = thing.parts["sides"]
        assert isinstance(sides, tuple)
        assert thing.verbs["leave"]
        assert set(thing.verbs["leave"]) == {rule for side in sides for rule in side.verbs.get("leave", ())}
