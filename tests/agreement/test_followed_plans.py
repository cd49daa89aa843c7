"""A relaxed plan that says every step of a long way is followed, and leads where a search would."""

from __future__ import annotations

import pytest

from interlock.kernel.evaluator import State, fire, is_enabled
from interlock.kernel.expressions import TRUE, Is, conj, neg
from interlock.kernel.machine import Actor, Machine, Rule, Variable
from interlock.kernel.recovery import Entry
from interlock.prove.engine import NO_LIMITS, clock_of
from interlock.prove.recovery import planning
from interlock.prove.recovery.planning import Planner, StagePlanner

PLACES = 40
"""So long that no run is found among the nearest states."""


def lane() -> Machine:
    """A unit that is driven along while a lever is held, and taken away at the end, which takes the lever let go."""
    held, at_end = Is("lever", "held"), Is("unit", PLACES)
    moves = [
        Rule(f"move to {at + 1}", Actor.PLANT, conj(held, Is("unit", at)), (("unit", at + 1),)) for at in range(PLACES)
    ]
    return Machine(
        (Variable("lever", ("free", "held"), ("free",)), Variable("unit", (*range(PLACES + 1), "away"), (0,))),
        (),
        (
            Rule("hold", Actor.CREW, neg(held), (("lever", "held"),)),
            Rule("let go", Actor.CREW, held, (("lever", "free"),)),
            *moves,
            Rule("take away", Actor.CREW, conj(neg(held), at_end), (("unit", "away"),)),
        ),
    )


def test_a_long_way_is_found_without_a_search(monkeypatch: pytest.MonkeyPatch) -> None:
    """Every step can be taken in its turn, and the last makes the measure smaller, which counts what is not away."""
    machine = lane()
    count = tuple(("unit", at, 1) for at in range(PLACES + 1))
    stage = StagePlanner(Planner(machine), TRUE, Is("unit", "away"), (count,))

    def no_search(*_: object) -> None:
        raise AssertionError("a search was begun")

    monkeypatch.setattr(planning, "best_first", no_search)
    start: State = ("free", 0)
    names = stage.plan_near(start, clock_of(NO_LIMITS))
    assert names is not None
    state = start
    for name in names:
        assert is_enabled(machine, machine.rule(name), state)
        state = fire(machine, machine.rule(name), state)
    assert state == ("free", "away")
    assert len(names) == PLACES + 3


def test_what_helped_where_no_run_was_soon_found_is_tried_first(monkeypatch: pytest.MonkeyPatch) -> None:
    """What found nothing is not gone through again for the next state, as long as the other way leads on."""
    # two for each place: nothing is counted, and only the last step makes it less
    weighed = tuple(("unit", at, 2) for at in range(PLACES + 1))
    stage = StagePlanner(Planner(lane()), TRUE, Is("unit", "away"), (weighed,))
    looked = 0

    def in_vain(*_: object) -> None:
        nonlocal looked
        looked += 1

    monkeypatch.setattr(StagePlanner, "_by_what_is_new", in_vain)
    clock = clock_of(NO_LIMITS)
    assert stage.plan_near(("free", 0), clock) is None
    assert looked == 1
    found = stage.plan_on(("free", 0), clock)
    assert found is not None
    stage.learn(Entry((Is("unit", 0),), ("hold",)))
    assert stage.plan_near(("free", 0), clock) == found
    assert looked == 1
    # until it leads on no more
    monkeypatch.setattr(StagePlanner, "_to_one_of", in_vain)
    assert stage.plan_near(("free", 0), clock) is None
    assert stage.plan_near(("free", 0), clock) is None
    assert looked == 5
