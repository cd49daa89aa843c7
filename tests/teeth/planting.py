"""A contact too many, planted in a sound hold at random: what it keeps from ever being is known to hang on it alone."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from random import Random

from interlock.hold.compile.compiler import CompiledHold, compile_hold
from interlock.hold.language.syntax import Chain, Fact, Negation, Path, Syntax, Truth
from interlock.hold.origin import Contact, HeldBack, Meaning, Sort
from interlock.hold.wiring import Wire, rewired, wires_of
from tests.agreement.hold_texts import compile_text, standing
from tests.teeth.written_holds import chosen, written

_ASKED = ("closed", "open", "raised", "lowered", "neutral")


@dataclass(frozen=True)
class Planted:
    """The hold, and the contact that was put into what decides `owner`."""

    compiled: CompiledHold
    owner: Meaning
    thing: str
    state: str

    def is_it(self, hindrance: object) -> bool:
        """The hindrance is the contact that was planted."""
        return isinstance(hindrance, Contact) and (hindrance.owner, hindrance.thing, hindrance.state) == (
            self.owner,
            self.thing,
            self.state,
        )


def planted(seed: int) -> Planted:
    """A written hold with a contact too many somewhere."""
    draw = Random(seed)
    sound = compile_text(written(chosen(seed, 3, 8)), standing())
    while True:
        wire = draw.choice([one for one in wires_of(sound.hold) if _counts(one)])
        id, state = draw.choice(list(_states(sound)))
        spoilt = _with_contact(wire, id, state, draw.random() < 0.5)
        done = compile_hold(rewired(sound.hold, wire.meaning, spoilt), standing(), None).compiled
        if done is not None:
            return Planted(done, wire.meaning, id, state)


def _counts(wire: Wire) -> bool:
    return not isinstance(wire.syntax, Truth) and wire.meaning.subject.sort not in (Sort.SENSOR, Sort.RELAY, Sort.HOLD)


def _states(sound: CompiledHold) -> Iterator[tuple[str, str]]:
    """What a contact can ask for: states of doors, controls, hand-worked devices."""
    hold = sound.hold
    for one in (*hold.doorways, *hold.controls, *hold.devices):
        thing = sound.world.things[one.id]
        yield from (
            (one.id, state) for state in ("closed", "open", "raised", "lowered", "neutral") if state in thing.states
        )


def _with_contact(wire: Wire, id: str, state: str, negated: bool) -> Syntax:
    """What decides a thing asks for one state more; an inhibit also holds back in it."""
    span = wire.span
    fact: Syntax = Fact(Path((id,), (span,)), state, False, span, span)
    fact = Negation(fact, span) if negated else fact
    meaning = wire.meaning
    inhibits = isinstance(meaning, HeldBack) or getattr(meaning, "what", "") == "inhibited"
    return Chain("or" if inhibits else "and", (wire.syntax, fact), span)
