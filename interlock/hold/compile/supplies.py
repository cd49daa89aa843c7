"""The supplies on which it depends whether the drives of a zone run, and when the loss of one makes no difference."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product

from interlock.hold.compile.between import EITHER, Between, Pairs, named, opposite
from interlock.hold.kinds import Verb
from interlock.hold.language.model import Hold, Relay, Zone
from interlock.hold.language.syntax import Syntax

SUPPLIED = {Verb.LOSE: "lose_supply", Verb.RESTORE: "restore_supply"}
"""What becomes of a zone where a supply goes off or comes on, and something that the zone goes by with it."""
MOST_BESIDE = 4
"""Of so many supplies besides it is told apart which of them are on."""


def supplies_of(hold: Hold, zone: Zone) -> tuple[str, ...]:
    """The supplies on which it depends whether the drives of the zone run, through circuits, relays, sensors; sorted.

    Not those of things that only stand in a state that a circuit reads: a door, a guide that power holds down.  Nor
    those that a supply needs: it comes back in a step of its own, and what it has stored is not lost with them.
    """
    opened: dict[str, tuple[Syntax, ...]] = {circuit.id: (circuit.definition,) for circuit in hold.circuits}
    opened |= {relay.id: (relay.sets, relay.drops) for relay in hold.relays}
    opened |= {sensor.id: (sensor.reads,) for sensor in hold.sensors}
    seen: set[str] = set()
    waiting = list(named(hold, _wired(zone)))
    while waiting:
        name = waiting.pop()
        if name not in seen:
            seen.add(name)
            waiting.extend(named(hold, opened.get(name, ())))
    return tuple(sorted(seen & {supply.id for supply in hold.supplies}))


def carried_without(hold: Hold, zone: Zone, supply: str) -> tuple[frozenset[str], ...] | None:
    """The sets of other supplies of the zone that, on while the rest are off, carry it without that supply, as with it.

    Then it is the same for all that the zone goes by, whatever else is so, whether the supply is on or off: what two
    supplies feed side by side loses nothing with one of them.  None where that was not looked into.
    """
    others = [one for one in supplies_of(hold, zone) if one != supply]
    if len(others) > MOST_BESIDE:
        return None
    sets = []
    for states in product((False, True), repeat=len(others)):
        situation = _Supplied(hold, supply, dict(zip(others, states, strict=True)))
        if not situation.makes_a_difference(_wired(zone)):
            sets.append(frozenset(one for one, on in situation.others.items() if on))
    return tuple(sets)


def _wired(zone: Zone) -> list[Syntax]:
    """What the zone goes by: its power, its commands, its inhibits."""
    inhibits = (*zone.inhibits, *(one for section in zone.sections for one in section.inhibits))
    return [zone.power, *(one for command in zone.commands for _, one in command.runs), *(one for _, one in inhibits)]


@dataclass(slots=True)
class _Supplied(Between):
    """A supply that is off, or on, beside others that are one or the other."""

    supply: str
    others: dict[str, bool]

    def makes_a_difference(self, wired: list[Syntax]) -> bool:
        """Whether any of the expressions can be another with the supply on, relays that it sets or drops included."""
        relays: dict[str, Pairs] = {}
        while True:
            # a relay may go by itself, or by another that goes by it
            self._known = dict(relays)
            found = {relay.id: self.relay(relay) for relay in self.hold.relays}
            if found == relays:
                return any(self.pairs(one) - EITHER for one in wired)
            relays = found

    def said(self, name: str, state: str | None) -> Pairs | None:
        """A supply is on or off."""
        if name == self.supply:
            on: Pairs = frozenset({(False, True)})
        elif name in self.others:
            on = frozenset({(self.others[name], self.others[name])})
        else:
            return None
        return opposite(on) if state == "off" else on

    def relay(self, relay: Relay) -> Pairs:
        """It stays as it was, unless the supply has to do with what sets or drops it."""
        bears = any(self.pairs(one) - EITHER for one in (relay.sets, relay.drops))
        return EITHER | ({(False, True), (True, False)} if bears else frozenset())
