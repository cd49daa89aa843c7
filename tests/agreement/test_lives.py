"""The ways from state to state that `explain` tells, walked on the compiled thing; and no way there is shorter."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator

import pytest

from interlock.hold.compile.components import Component, compose
from interlock.hold.kinds import BY_ITSELF, Kind
from interlock.hold.lives import Deed, Happening, Turn, conditions_of, ways_of
from interlock.kernel.evaluator import evaluate
from interlock.kernel.expressions import Is, Value
from interlock.kernel.machine import Machine, Variable
from tests.agreement.test_kinds_against_transitions import KINDS


class Compiled:
    """A compiled thing with its conditions as variables beside it."""

    def __init__(self, kind: Kind) -> None:
        self.kind = kind
        self.names = conditions_of(kind)
        self.component: Component = compose(
            "thing", kind, {name: Is(name, True) for name in self.names}, kind.states, False, None
        )
        variables = [Variable(name, (False, True), (False,)) for name in self.names]
        if self.component.variable:
            variables.append(Variable("thing", self.component.values, self.component.values))
        self.machine = Machine(tuple(variables), (), ())

    def at(self, setting: frozenset[str], memory: Value) -> tuple[Value, ...]:
        return (*(name in setting for name in self.names), *([memory] if self.component.variable else []))

    def state(self, setting: frozenset[str], memory: Value) -> str:
        here = self.at(setting, memory)
        (state,) = [name for name, expr in self.component.states.items() if evaluate(self.machine, expr, here)]
        return state

    def settle(self, setting: frozenset[str], memory: Value) -> Value:
        for _ in range(9):
            after = [self.fire(action, memory) for action in self.enabled(BY_ITSELF, setting, memory)]
            if not after:
                return memory
            memory = after[0]
        raise AssertionError("does not settle")

    def enabled(self, trigger: str, setting: frozenset[str], memory: Value):  # type: ignore[no-untyped-def]
        here = self.at(setting, memory)
        mine = (action for action in self.component.actions if action.trigger == trigger)
        return [action for action in mine if evaluate(self.machine, action.guard, here)]

    def fire(self, action, memory: Value) -> Value:  # type: ignore[no-untyped-def]
        after: Value = dict(action.updates).get("thing", memory)
        return after

    def steps(self, setting: frozenset[str], memory: Value) -> Iterator[tuple[Happening, frozenset[str], Value]]:
        for trigger in self.kind.triggers:
            if trigger != BY_ITSELF:
                for action in self.enabled(trigger, setting, memory):
                    yield Deed(trigger), setting, self.settle(setting, self.fire(action, memory))
        for name in self.names:
            turned = setting ^ {name}
            yield Turn(name, name in turned), turned, self.settle(turned, memory)


@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.id)
def test_each_way_leads_there_and_none_is_shorter(kind: Kind) -> None:
    """Every two states have one; followed on the compiled thing it ends where it says; none shorter exists."""
    compiled = Compiled(kind)
    ways = ways_of(kind)
    assert {(way.source, way.dest) for way in ways} == {(a, b) for a in kind.states for b in kind.states if a != b}
    for way in ways:
        starts = [
            value for value in compiled.component.values or ("none",) if compiled.state(way.given, value) == way.source
        ]
        memory: Value = next(value for value in starts if compiled.settle(way.given, value) == value)
        known: dict[tuple[frozenset[str], Value], int] = {(way.given, memory): 0}
        waiting = deque(known)
        while waiting:
            here = waiting.popleft()
            for _, setting, after in compiled.steps(*here):
                if (setting, after) not in known:
                    known[setting, after] = known[here] + 1
                    waiting.append((setting, after))
        lengths = [length for place, length in known.items() if compiled.state(*place) == way.dest]
        if way.happenings is None:
            assert not lengths
            continue
        assert len(way.happenings) == min(lengths)
        setting = way.given
        for happening in way.happenings:
            found = [one for one in compiled.steps(setting, memory) if one[0] == happening]
            assert len(found) == 1, (way, happening)
            _, setting, memory = found[0]
        assert compiled.state(setting, memory) == way.dest


def test_what_cannot_be_left_is_told() -> None:
    """A kind with a state that nothing leads back from has no way back."""
    once = Kind(
        "fuse",
        "Blows once.",
        ("whole", "blown"),
        (),
        "whole",
        ({"trigger": BY_ITSELF, "source": "whole", "dest": "blown", "conditions": ["overloaded"]},),
        {},
    )
    there, back = ways_of(once)
    assert there.happenings == (Turn("overloaded", True),)
    assert back.happenings is None
