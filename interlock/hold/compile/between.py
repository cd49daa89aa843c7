"""What an expression of the description can be in two situations that differ in one thing, all else being the same."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import combinations
from types import MappingProxyType
from typing import TypeAlias

from interlock.hold.language.model import Circuit, Control, Hold, Relay, Sensor, Supply
from interlock.hold.language.syntax import Chain, Fact, Negation, Path, Quantified, Syntax, Truth

Pairs: TypeAlias = frozenset[tuple[bool, bool]]
"""What can be true of an expression together: in the one situation, and in the other."""
EITHER: Pairs = frozenset({(False, False), (True, True)})
"""Of something with which the difference has nothing to do."""


@dataclass(slots=True)
class Between:
    """Two situations; what the difference does to expressions.

    Facts about anything else may be so or not, each by itself: a pair that is not found cannot be.
    """

    hold: Hold
    _known: dict[str, Pairs] = field(default_factory=dict, init=False)
    """Of circuits, sensors and relays met so far; while one is being looked into, it is taken for anything else."""

    def said(self, name: str, state: str | None) -> Pairs | None:
        """What the fact is where it is for the situations to say; None of anything else."""
        raise NotImplementedError

    def relay(self, relay: Relay) -> Pairs:
        """Whether it is energised."""
        raise NotImplementedError

    def pairs(self, syntax: Syntax, names: Mapping[str, str] = MappingProxyType({})) -> Pairs:
        """Of an expression; `names` says what its variables stand for."""
        match syntax:
            case Truth(value):
                return frozenset({(value, value)})
            case Fact(subject, state, negated):
                first, *rest = subject.parts
                pairs = EITHER if rest else self._fact(names.get(first, first), state)
                return opposite(pairs) if negated else pairs
            case Negation(arg):
                return opposite(self.pairs(arg, names))
            case Chain("implies", (first, second)):
                return _some([opposite(self.pairs(first, names)), self.pairs(second, names)])
            case Chain(operator, args):
                found = [self.pairs(arg, names) for arg in args]
                return _every(found) if operator == "and" else _some(found)
            case Quantified(quantifier, variable, group, body):
                found_members = members(self.hold, group)
                if found_members is None:
                    return EITHER
                found = [self.pairs(body, {**names, variable: member}) for member in found_members]
                match quantifier:
                    case "every":
                        return _every(found)
                    case "some":
                        return _some(found)
                    case "no":
                        return opposite(_some(found))
                    case "at most one":
                        return opposite(_some([_every(two) for two in combinations(found, 2)]))

    def _fact(self, name: str, state: str | None) -> Pairs:
        said = self.said(name, state)
        if said is not None:
            return said
        if name not in self._known:
            self._known[name] = EITHER
            self._known[name] = self._meant(name)
        return opposite(self._known[name]) if state in ("off", "released") else self._known[name]

    def _meant(self, name: str) -> Pairs:
        for circuit in self.hold.circuits:
            if circuit.id == name:
                return self.pairs(circuit.definition)
        for sensor in self.hold.sensors:
            if sensor.id == name:
                return self.pairs(sensor.reads)
        for relay in self.hold.relays:
            if relay.id == name:
                return self.relay(relay)
        return EITHER


def opposite(pairs: Pairs) -> Pairs:
    """Of what is not so."""
    return frozenset((not free, not held) for free, held in pairs)


def _some(parts: Iterable[Pairs]) -> Pairs:
    found: Pairs = frozenset({(False, False)})
    for part in parts:
        found = frozenset((a or c, b or d) for a, b in found for c, d in part)
    return found


def _every(parts: Iterable[Pairs]) -> Pairs:
    return opposite(_some(map(opposite, parts)))


def named(hold: Hold, syntaxes: Iterable[Syntax]) -> Iterator[str]:
    """What the expressions name first of all, members of groups included."""
    for syntax in syntaxes:
        match syntax:
            case Fact(subject):
                yield subject.parts[0]
            case Negation(arg):
                yield from named(hold, (arg,))
            case Chain(_, args):
                yield from named(hold, args)
            case Quantified(_, _, group, body):
                yield from members(hold, group) or ()
                yield from named(hold, (body,))


def members(hold: Hold, group: Path) -> Sequence[str] | None:
    """The members of a group in which there may be levers or supplies; None of any other."""
    first, *rest = group.parts
    if rest == ["controls"]:
        return next((station.controls for station in hold.stations if station.id == first), None)
    sections: Mapping[str, Sequence[Control | Supply | Circuit | Relay | Sensor]] = {
        "controls": hold.controls,
        "levers": [control for control in hold.controls if control.kind == "lever"],
        "supplies": hold.supplies,
        "circuits": hold.circuits,
        "relays": hold.relays,
        "sensors": hold.sensors,
    }
    if first in sections:
        return [one.id for one in sections[first]]
    return next((chosen.members for chosen in hold.groups if chosen.id == first), None)
