"""Every expression of a description is found with what it decides, and another can be written in its place."""

from __future__ import annotations

import pytest

from interlock.hold.compile.compiler import CompiledHold, compile_hold
from interlock.hold.language.syntax import Truth
from interlock.hold.wiring import rewired, wires_of
from interlock.kernel.expressions import TRUE
from tests.agreement.hold_texts import SOUND, compile_file, compile_text
from tests.teeth.written_holds import chosen, written

HOLDS = [*SOUND, 3, 8, 17, 30]


def compiled(name: str | int) -> CompiledHold:
    return (
        compile_text(written(chosen(name, most_rows=4, most_bays=10)))
        if isinstance(name, int)
        else compile_file(f"models/{name}.yaml")
    )


@pytest.mark.parametrize("name", HOLDS)
def test_every_wire_defines_its_signal(name: str | int) -> None:
    """Each wire that is no plain truth is the definition of a signal; a hold rewired with the same is the same."""
    whole = compiled(name)
    wires = wires_of(whole.hold)
    assert len({wire.meaning for wire in wires}) == len(wires)
    defined = whole.machine.definitions
    for wire in wires:
        assert isinstance(wire.syntax, Truth) or wire.meaning.name in defined, wire.meaning
        assert rewired(whole.hold, wire.meaning, wire.syntax) == whole.hold


@pytest.mark.parametrize("name", HOLDS)
def test_another_expression_changes_that_signal_alone(name: str | int) -> None:
    """Written over with `true`, the signal is gone and the truth stands in its place; no other wire is touched."""
    whole = compiled(name)
    wires = {wire.meaning: wire.syntax for wire in wires_of(whole.hold)}
    for meaning, syntax in wires.items():
        changed = rewired(whole.hold, meaning, Truth(True, syntax.span))
        assert {w.meaning: w.syntax for w in wires_of(changed)} == {**wires, meaning: Truth(True, syntax.span)}
    sensor = whole.hold.sensors[-1]
    meaning = next(one for one in wires if one.subject.id == sensor.id)
    done = compile_hold(rewired(whole.hold, meaning, Truth(True, sensor.span))).compiled
    assert done is not None
    assert meaning.name not in done.machine.definitions
    assert done.world.things[sensor.id].truth == TRUE
