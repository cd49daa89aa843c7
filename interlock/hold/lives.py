"""How a thing of some kind comes from one of its states to another: its declared machine is run, by `transitions`."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator
from itertools import combinations
from types import SimpleNamespace
from typing import TypeAlias

from interlock.diagnostics.frozen import frozen
from interlock.hold.kinds import BY_ITSELF, Kind, changes_of, machine_of


@frozen
class Deed:
    """Somebody, or some equipment, pulls a trigger of the kind."""

    trigger: str


@frozen
class Turn:
    """A condition comes to be so, or is no longer so; what the thing then does, it does by itself."""

    condition: str
    so: bool


Happening: TypeAlias = Deed | Turn
Setting: TypeAlias = frozenset[str]
"""The conditions that are so; all others are not."""


@frozen
class Way:
    """The fewest happenings that lead from one state to another; None where none do.

    It begins in `given`: as few conditions as let the thing stay in `source`.
    """

    source: str
    dest: str
    given: Setting
    happenings: tuple[Happening, ...] | None


def conditions_of(kind: Kind) -> tuple[str, ...]:
    """The conditions that its transitions ask for, in the order in which they do."""
    return tuple(dict.fromkeys(name for change in changes_of(kind) for name in (*change.needs, *change.unless)))


def ways_of(kind: Kind) -> tuple[Way, ...]:
    """A way for every two states, in the order of the states; of equally short ones the one with deeds first."""
    life = _Life(kind)
    return tuple(way for source in kind.states for way in life.ways_from(source))


class _Life:
    """The machine with a model whose conditions are set by hand."""

    def __init__(self, kind: Kind) -> None:
        self.kind = kind
        self.conditions = conditions_of(kind)
        self.deeds = tuple(trigger for trigger in kind.triggers if trigger != BY_ITSELF)
        self.machine = machine_of(kind)
        self.thing = SimpleNamespace()
        self.machine.ignore_invalid_triggers = True
        self.machine.add_model(self.thing, initial=kind.initial)

    def ways_from(self, source: str) -> Iterator[Way]:
        """To each other state, breadth first."""
        settings = (
            frozenset(some) for n in range(len(self.conditions) + 1) for some in combinations(self.conditions, n)
        )
        given = next((setting for setting in settings if self._settled(source, setting) == source), frozenset())
        found: dict[str, tuple[Happening, ...]] = {source: ()}
        known = {(source, given)}
        waiting: deque[tuple[str, Setting, tuple[Happening, ...]]] = deque([(source, given, ())])
        while waiting:
            state, setting, so_far = waiting.popleft()
            for happening, after in self._steps(state, setting):
                if after not in known:
                    known.add(after)
                    way = (*so_far, happening)
                    found.setdefault(after[0], way)
                    waiting.append((*after, way))
        return (Way(source, dest, given, found.get(dest)) for dest in self.kind.states if dest != source)

    def _steps(self, state: str, setting: Setting) -> Iterator[tuple[Happening, tuple[str, Setting]]]:
        for trigger in self.deeds:
            self._put(state, setting)
            if self.thing.trigger(trigger):
                yield Deed(trigger), (self._settle(), setting)
        for name in self.conditions:
            turned = setting ^ {name}
            yield Turn(name, name in turned), (self._settled(state, turned), turned)

    def _settled(self, state: str, setting: Setting) -> str:
        self._put(state, setting)
        return self._settle()

    def _put(self, state: str, setting: Setting) -> None:
        for name in self.conditions:
            setattr(self.thing, name, name in setting)
        self.machine.set_state(state, self.thing)

    def _settle(self) -> str:
        """What the mechanism does by itself, to its end; `compile.components` has seen to it that there is one."""
        while BY_ITSELF in self.machine.events and self.thing.trigger(BY_ITSELF):
            pass
        return str(self.thing.state)
