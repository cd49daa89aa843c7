"""The compiled behaviour of every kind against the `transitions` machine that declares it."""

from __future__ import annotations

import random
from collections.abc import Callable, Mapping
from functools import partial

import pytest
from transitions import Machine as Declared

from interlock.hold.compile.components import Action, Component, behaviour_of, compose
from interlock.hold.kinds import (
    BY_ITSELF,
    DEVICE_KINDS,
    DOOR_KINDS,
    HANDLE,
    PANEL,
    PUSH_BUTTON,
    RELAY,
    SUPPLY,
    Kind,
    control_kind,
    fed_supply_kind,
    latch_kind,
    lever_kind,
    lock_kind,
    momentary_switch_kind,
    press_lever_kind,
    switch_kind,
)
from interlock.kernel.evaluator import evaluate
from interlock.kernel.expressions import Is, Value
from interlock.kernel.machine import Machine, Variable

KINDS = (
    *DEVICE_KINDS.values(),
    *DOOR_KINDS.values(),
    HANDLE,
    PANEL,
    RELAY,
    SUPPLY,
    *(fed_supply_kind(stored, may_be_lost) for stored in (False, True) for may_be_lost in (False, True)),
    latch_kind("hand", "power"),
    lock_kind("hand", "hand"),
    lever_kind(["fore", "aft"]),
    press_lever_kind(["fore", "aft"]),
    PUSH_BUTTON,
    momentary_switch_kind(["up", "off", "down"], "off"),
    switch_kind(["left", "both", "right"]),
)


class Model:
    """A model for the library's machine whose conditions are set by the test."""

    state: str

    def __init__(self, names: tuple[str, ...]) -> None:
        self.setting = dict.fromkeys(names, False)
        for name in names:
            setattr(self, name, lambda name=name: self.setting[name])


def names_of(kind: Kind) -> tuple[str, ...]:
    found: dict[str, None] = {}
    for entry in kind.transitions:
        found.update(dict.fromkeys([*entry.get("conditions", []), *entry.get("unless", [])]))
    return tuple(found)


def settle(model: Model, declared: Declared) -> None:
    for _ in range(20):
        if BY_ITSELF not in declared.events or not declared.events[BY_ITSELF].transitions.get(model.state):
            return
        if not getattr(model, BY_ITSELF)():
            return
    raise AssertionError("the declared mechanism does not settle")


@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.id)
def test_a_compiled_thing_is_always_in_the_state_of_its_declaration(kind: Kind) -> None:
    """Whatever conditions change and whatever is tried, declaration and compiled component agree."""
    names = names_of(kind)
    model = Model(names)
    declared = Declared(
        model=model,
        states=list(kind.states),
        transitions=[dict(entry) for entry in kind.transitions],
        initial=kind.initial,
        auto_transitions=False,
    )
    component = compose("thing", kind, {name: Is(name, True) for name in names}, (kind.initial,), False, None)
    variables = [Variable(name, (False, True), (False,)) for name in names]
    if component.variable:
        variables.append(Variable("thing", component.values, component.starts))
    machine = Machine(tuple(variables), (), ())
    memory: Value = component.starts[0]
    choice = random.Random(7)
    settle(model, declared)
    taken = 0
    for _ in range(600):
        if names and choice.random() < 0.5:
            name = choice.choice(names)
            model.setting[name] = not model.setting[name]
            settle(model, declared)
            memory = settled(machine, component_actions(component, BY_ITSELF), model.setting, memory)
        else:
            triggers = [t for t in kind.triggers if t != BY_ITSELF and t in declared.events]
            if not triggers:
                continue
            trigger = choice.choice(triggers)
            possible = [
                a
                for a in component_actions(component, trigger)
                if evaluate(machine, a.guard, at(machine, model.setting, memory))
            ]
            allowed = bool(declared.events[trigger].transitions.get(model.state)) and getattr(model, trigger)()
            assert len(possible) == (1 if allowed else 0), (trigger, model.state, model.setting)
            if possible:
                taken += 1
                memory = dict(possible[0].updates).get("thing", memory)
                settle(model, declared)
                memory = settled(machine, component_actions(component, BY_ITSELF), model.setting, memory)
        state = at(machine, model.setting, memory)
        holding = [name for name, expr in component.states.items() if evaluate(machine, expr, state)]
        assert holding == [model.state]
    if any(trigger != BY_ITSELF for trigger in kind.triggers):
        assert taken > 20


def component_actions(component: Component, trigger: str) -> list[Action]:
    """What the trigger can do."""
    return [action for action in component.actions if action.trigger == trigger]


def at(machine: Machine, setting: Mapping[str, bool], memory: Value) -> tuple[Value, ...]:
    return tuple(memory if v.name == "thing" else setting[v.name] for v in machine.variables)


def settled(machine: Machine, actions, setting: Mapping[str, bool], memory: Value) -> Value:  # type: ignore[no-untyped-def]
    for _ in range(20):
        possible = [a for a in actions if evaluate(machine, a.guard, at(machine, setting, memory))]
        if not possible:
            return memory
        memory = dict(possible[0].updates).get("thing", memory)
    raise AssertionError("the compiled mechanism does not settle")


def test_what_needs_no_memory_gets_none() -> None:
    """Spring and powered devices follow from what is over them and what feeds them; a handle remembers."""
    assert len(behaviour_of(DEVICE_KINDS["spring guide"]).values) == 1
    assert len(behaviour_of(DEVICE_KINDS["powered latch resting raised"]).values) == 1
    assert len(behaviour_of(DEVICE_KINDS["spring latch"]).values) == 2
    assert behaviour_of(HANDLE).remembered == {"stowed", "pulled", "held_by_the_unit"}
    assert behaviour_of(RELAY).remembered == {"released", "energised"}


def test_a_kind_that_is_declared_twice_is_one() -> None:
    """What was worked out of a kind is known of all things of that kind, in every hold that is compiled."""
    declared: tuple[Callable[[], Kind], ...] = (
        partial(control_kind, "lever", ("fore", "aft"), None, True),
        partial(control_kind, "switch", ("off", "on")),
        partial(fed_supply_kind, True, False),
        partial(latch_kind, "hand", "power"),
        partial(lock_kind, "hand", "hand"),
    )
    for make in declared:
        assert make() is make()
        assert behaviour_of(make()) is behaviour_of(make())
    assert control_kind("lever", ("fore", "aft"), None, True) is not control_kind("lever", ("fore", "aft"))
