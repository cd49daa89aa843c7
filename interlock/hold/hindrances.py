"""What can keep steps from happening, in trade words and with where it is written; of a hold that is eased."""

from __future__ import annotations

from collections.abc import Mapping

from interlock.diagnostics.frozen import frozen
from interlock.diagnostics.said import linked, say
from interlock.diagnostics.spans import Span
from interlock.hold import explain
from interlock.hold.compile.compiler import CompiledHold
from interlock.hold.kinds import DEVICE_KINDS
from interlock.hold.language.model import Control, Device
from interlock.hold.origin import Contact, Cover, Fixed, Hindrance, Lifted, Meaning, Reach, Stop
from interlock.hold.wiring import wires_of
from interlock.kernel.expressions import Expr, Is, Not, Ref, neg, parts_of


@frozen
class ToldHindrance:
    """A hindrance as a sentence without capital letter and full stop, and where the description has it."""

    hindrance: Hindrance
    text: str
    span: Span


class Hindrances:
    """All that can be lifted in a hold that is eased (`compile.easing`); `options` are its variables, in order."""

    def __init__(self, eased: CompiledHold) -> None:
        self._eased = eased
        memories = eased.origins.variables.items()
        self._of = {name: memory.hindrance for name, memory in memories if isinstance(memory, Lifted)}
        self.options = tuple(self._of)
        self._written: Mapping[Meaning, Span] = {wire.meaning: wire.span for wire in wires_of(eased.hold)}
        self._changed = {change.object: change.span for change in eased.hold.changes if change.verb != "add"}

    def told(self, option: str) -> ToldHindrance:
        """The hindrance of which the variable says whether it is lifted.  Raises KeyError."""
        hindrance = self._of[option]
        hold, things = self._eased.hold, self._eased.world.things
        match hindrance:
            case Contact():
                return ToldHindrance(hindrance, self._contact(hindrance), self._written[hindrance.owner])
            case Stop(id, way):
                text = say("{device} stands in the way of units that move {way}", device=things[id].phrase, way=way)
                return ToldHindrance(hindrance, text, self._span(id))
            case Cover(control, panel):
                text = say(
                    "{control} can be worked only with {panel} open",
                    control=things[control].phrase,
                    panel=things[panel].phrase,
                )
                return ToldHindrance(hindrance, text, self._span(control))
            case Reach(id):
                places = [place for place in hold.places if id in place.reaches]
                names = linked([place.name for place in places], "{first} or {last}")
                text = say("{control} can be reached only {places}", control=things[id].phrase, places=names)
                return ToldHindrance(hindrance, text, places[0].span)
            case Fixed(id):
                return ToldHindrance(hindrance, self._fixed(id), self._span(id))

    def _span(self, id: str) -> Span:
        return self._changed.get(id) or self._thing(id).span

    def _thing(self, id: str) -> Device | Control:
        hold = self._eased.hold
        things: tuple[Device | Control, ...] = (*hold.devices, *hold.controls)
        return next(one for one in things if one.id == id)

    def _fixed(self, id: str) -> str:
        thing = self._thing(id)
        kind = thing.behaviour if isinstance(thing, Control) else DEVICE_KINDS[thing.kind]
        state = kind.word(thing.fixed or "")
        if isinstance(thing, Device) and thing.deferred is not None:
            because = thing.deferred.because
            return say("{name} is deferred {state} ({because})", name=thing.name, state=state, because=because)
        return say("{name} is fixed {state}", name=thing.name, state=state)

    def _contact(self, contact: Contact) -> str:
        """What the expression asks for, of what it decides."""
        machine, glossary = self._eased.machine, self._eased.glossary
        phrases = glossary.signals[contact.owner.name]
        if not contact.thing:
            return say("never: {text}", text=phrases[0]) if contact.wanted else say("always: {text}", text=phrases[0])
        sign = _sign(machine.definitions[contact.owner.name], contact.read.name)
        asked = self._asked(contact, contact.wanted)
        if contact.wanted == sign:
            return say("{text} only while {asked}", text=phrases[0], asked=asked)
        # to be lifted it must be false: what makes it true is told
        return say("{text} while {asked}", text=phrases[0], asked=self._asked(contact, not contact.wanted))

    def _asked(self, contact: Contact, so: bool) -> str:
        machine, glossary = self._eased.machine, self._eased.glossary
        expr: Expr = machine.definitions[contact.read.name]
        if contact.state is not None and not isinstance(expr, Is | Not | Ref):
            things, sides = self._eased.world.things, self._eased.world.sides
            phrase = (things.get(contact.thing) or sides[contact.thing]).phrase
            state = say(contact.state.replace("_", " "))
            return (
                say("{name} is {what}", name=phrase, what=state)
                if so
                else say("{name} is not {what}", name=phrase, what=state)
            )
        return explain.say(machine, glossary, expr if so else neg(expr))


def _sign(definition: Expr, name: str) -> bool:
    """Whether the definition names the signal without a negation."""
    stack = [(definition, True)]
    while stack:
        expr, sign = stack.pop()
        if isinstance(expr, Ref) and expr.signal == name:
            return sign
        stack += [(part, sign != isinstance(expr, Not)) for part in parts_of(expr)]
    return True
