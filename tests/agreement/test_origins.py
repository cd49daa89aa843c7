"""Origins: what every name of a compiled hold is about is known as a value, and the name is written from it."""

from __future__ import annotations

import pytest

from interlock.hold.kinds import Verb
from interlock.hold.origin import (
    EMPTY,
    NOBODY,
    Arrive,
    Condition,
    Crossing,
    Depart,
    Holding,
    Means,
    Precedence,
    Sort,
    Work,
    crossing,
    standing,
)
from interlock.kernel.machine import Actor, with_monitors
from tests.agreement.hold_texts import SOUND, compile_file
from tests.agreement.hold_texts import standing as standing_set
from tests.some import telling


@pytest.mark.parametrize("name", telling(SOUND, "single-lane", "twin-lane"))
def test_every_name_has_its_origin(name: str) -> None:
    """Variables, the memories of requirements among them, signals and rules: each is named after what it is about."""
    compiled = compile_file(f"models/{name}.yaml", standing_set())
    origins, machine = compiled.origins, with_monitors(compiled.machine)
    assert {variable.name for variable in machine.variables} == set(origins.variables)
    assert any(isinstance(memory, Precedence) for memory in origins.variables.values())
    assert set(compiled.machine.definitions) == set(origins.signals)
    assert {rule.name for rule in machine.rules} == set(origins.rules)
    for table in (origins.variables, origins.signals, origins.rules, origins.deeds):
        assert [key for key, origin in table.items() if origin.name != key] == []


@pytest.mark.parametrize("name", SOUND)
def test_deeds_write_what_they_say(name: str) -> None:
    """A departure empties the cells of its unit and sets it over the faces; an arrival is the other way about."""
    compiled = compile_file(f"models/{name}.yaml")
    halves = 0
    for rule in compiled.machine.rules:
        update = dict(rule.update)
        match compiled.origins.deed_of(rule.name):
            case Depart(move, means):
                assert crossing(move).items() <= update.items()
                assert all(update[Holding(cell).name] == EMPTY for cell in move.source.cells)
            case Arrive(move, means):
                assert standing(move.target).items() <= update.items()
                assert all(update[Crossing(face).name] == NOBODY for face, _ in move.crossed)
            case _:
                continue
        halves += 1
        assert (rule.actor is Actor.PLANT) == (means in (Means.DRIVE, Means.DRIFT))
    assert halves > 10


@pytest.mark.parametrize("name", SOUND)
def test_work_is_on_what_it_says(name: str) -> None:
    """What is done to a thing, and what the mechanism adds, leaves each thing in the state that the last of it says."""
    compiled = compile_file(f"models/{name}.yaml")
    held = fused = 0
    for rule, origin in compiled.origins.rules.items():
        update = dict(compiled.machine.rule(rule).update)
        ends: dict[str, str] = {}
        for deed in (origin.deed, *origin.responses):
            if isinstance(deed, Work):
                ends[deed.of.name] = deed.dest
                assert isinstance(compiled.origins.variables[deed.of.name], Condition)
                held += deed.trigger.verb is Verb.HOLD and deed.subject.sort is Sort.LEVER
        fused += bool(origin.responses)
        assert {variable: update.get(variable, end) for variable, end in ends.items()} == ends
        assert all(deed.trigger.verb is Verb.SETTLE for deed in origin.responses if isinstance(deed, Work))
    assert held
    assert fused or name != "main-deck"
