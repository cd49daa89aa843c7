"""What the expressions of one hold can name."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import TypeAlias

from interlock.diagnostics.frozen import frozen
from interlock.diagnostics.spans import Span
from interlock.hold.language.readable import Unread
from interlock.hold.origin import Meaning, Sort
from interlock.kernel.expressions import Expr


@dataclass(frozen=True, slots=True, eq=False)
class Thing:
    """Something that expressions can name: it has states, perhaps a truth value of its own, and parts behind a dot.

    `phrase` is how a sentence names it.  A part is the id of one thing or the ids of a group (`World.part`).  `verbs`
    maps what can be done to or by it to the names of deeds; `Origins.rules_of` has the rules.  `seen` is what an
    expression of the description sees in the place of a state, where a failure may come between: by what that
    expression decides (None: any) and the state.
    """

    id: str
    sort: Sort
    phrase: str
    states: Mapping[str, Expr] = field(default_factory=dict)
    truth: Expr | None = None
    parts: Mapping[str, str | tuple[str, ...]] = field(default_factory=dict)
    verbs: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    seen: Mapping[tuple[Meaning | None, str], Expr] = field(default_factory=dict)

    def __post_init__(self) -> None:
        """Makes the mappings read-only."""
        for name in ("states", "parts", "verbs", "seen"):
            object.__setattr__(self, name, MappingProxyType(dict(getattr(self, name))))

    def joined(self, more: Thing) -> Thing:
        """The same thing with what `more` says of it."""
        verbs = dict(self.verbs)
        for verb, deeds in more.verbs.items():
            verbs[verb] = (*verbs.get(verb, ()), *deeds)
        truth = more.truth if self.truth is None else self.truth
        states, parts = {**self.states, **more.states}, {**self.parts, **more.parts}
        return Thing(self.id, self.sort, self.phrase, states, truth, parts, verbs, {**self.seen, **more.seen})

    def seen_by(self, owner: Meaning | None, state: str) -> Expr:
        """The state, as whatever decides `owner` sees it; None sees what is so."""
        if owner is None or owner.subject.sort is Sort.SENSOR:
            return self.states[state]
        return self.seen.get((owner, state), self.seen.get((None, state), self.states[state]))


Part: TypeAlias = Thing | tuple[Thing, ...]


@frozen
class World:
    """All things of one hold by id, and the groups that quantifiers range over.

    `sides` are those that are named behind a dot only, by both names: `3L.aft`.  `removed` says where a modification
    took a thing away, `unread` what is missing of a description that could not be read whole.
    """

    things: Mapping[str, Thing]
    sides: Mapping[str, Thing]
    groups: Mapping[str, tuple[Thing, ...]]
    removed: Mapping[str, Span]
    unread: Unread | None = None

    def part(self, thing: Thing, word: str) -> Part:
        """What the thing has behind a dot.  Raises KeyError."""
        found = thing.parts[word]
        return self._of(found) if isinstance(found, str) else tuple(map(self._of, found))

    def may_lack(self, name: str) -> bool:
        """The name may stand for something that could not be read."""
        return self.unread is not None and (self.unread.unnamed or name in self.unread.names)

    def may_lack_state(self, thing: Thing, state: str) -> bool:
        """The state may be called like something that could not be read: kinds of unit are states of bays."""
        return self.unread is not None and (
            state in self.unread.names or (self.unread.unnamed and thing.sort is Sort.BAY)
        )

    @property
    def may_lack_steps(self) -> bool:
        """Steps that could be asked for, or places at sills, may be among what could not be read."""
        return self.unread is not None and self.unread.steps

    def _of(self, id: str) -> Thing:
        return self.sides[id] if id in self.sides else self.things[id]
