"""What a page shows of a state is what a plan of that state shows."""

from __future__ import annotations

import pytest

from interlock.hold.floor import Move
from interlock.kernel.evaluator import successors, truths_in
from interlock.report.views.appearances import appearances_of
from interlock.report.views.snapshot import take
from interlock.study.walk import begin_walk
from tests.agreement.test_page_evaluator import begins_of, opened


@pytest.mark.parametrize(
    "name",
    ["demo:single-lane", *(pytest.param(f"demo:{one}", marks=pytest.mark.slow) for one in ("twin-lane", "main-deck"))],
)
def test_what_is_seen_is_what_is_drawn(name: str) -> None:
    """In every state on the way to a full hold, and in those one step further, both show the same of everything."""
    compiled = opened(name).compiled
    machine = begin_walk(compiled).machine
    seen = appearances_of(compiled, machine)
    states = {after for state in begins_of(name) for _, after in successors(machine, state)} | set(begins_of(name))
    moving, places = 0, {place.id: place.bay for place in compiled.hold.places}
    for state in sorted(states, key=repr)[:: 1 if len(states) < 2_000 else 20]:
        true, drawn = truths_in(machine, state), take(compiled, state)
        assert [(one.device.id, one.state) for one in seen.devices if true(one.when)] == list(drawn.devices.items())
        assert {one.door.id: one.facts for one in seen.doors if true(one.when)} == drawn.doors
        units = [one.unit for one in seen.units if true(one.when)]
        assert [unit for unit in units if not isinstance(unit, Move)] == list(drawn.resting)
        assert [unit for unit in units if isinstance(unit, Move)] == list(drawn.crossings)
        assert [(one.bay, one.way) for one in seen.runs if true(one.when)] == list(drawn.running)
        inside = {person: places[at] for person, at in drawn.people.items() if places[at] in compiled.floor.cells}
        assert {one.person: one.bay for one in seen.people if true(one.when)} == inside
        assert {one.device for one in seen.failures if true(one.when)} <= drawn.failed
        moving += bool(drawn.crossings) and bool(drawn.running)
    assert moving > 3
