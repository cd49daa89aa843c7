"""Steps of a checklist as instructions in the words of the trade, and places as people call them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from interlock.diagnostics.said import Said, in_place, say, say_many
from interlock.hold.compile.compiler import CompiledHold
from interlock.hold.floor import Placement
from interlock.hold.kinds import Trigger, Verb
from interlock.hold.language.model import Place
from interlock.hold.origin import (
    NOBODY,
    Arrive,
    Bring,
    Crossing,
    Depart,
    Go,
    Means,
    Strike,
    TakeAway,
    Work,
    units_at_rest,
)
from interlock.hold.origin import Deed as Done
from interlock.kernel.evaluator import State, evaluate
from interlock.kernel.expressions import Expr
from interlock.report.views.wording import PROCEDURAL_WORDS, listed, sentence, words_in
from interlock.study.checklist.operating import Deed

LOADER = say("the loader")
_WHOLE = {
    (True, True): "push {unit} from {source} onto {target}",
    (True, False): "push {unit} from {source} into {target}",
    (False, True): "move {unit} from {source} onto {target}",
    (False, False): "move {unit} from {source} into {target}",
}
"""How the whole of a motion is ordered, by whether hands push and whether it goes to the loader."""
_ARRIVING = {
    (True, True): "push {unit} from the edge onto {target}",
    (True, False): "push {unit} from the edge into {target}",
    (False, True): "move {unit} from the edge onto {target}",
    (False, False): "move {unit} from the edge into {target}",
}
"""The same of its second half."""
DOOR_FACTS = ("open", "closed", "latched", "locked")
"""What is said of a door that has come to rest."""


class InstructionWriter:
    """Says things of one hold."""

    def __init__(self, compiled: CompiledHold) -> None:
        self.compiled = compiled
        self._machine = compiled.machine
        self.kinds = {unit.id: unit.name for unit in compiled.hold.units}
        self._texts: dict[str, str] = {}
        for name, said in compiled.glossary.rules.items():
            self._texts.setdefault(compiled.origins.deed_of(name).name, said.text)

    def unit(self, placement: Placement) -> str:
        """`the short pallet`."""
        return the(self.kinds[placement.kind])

    def where(self, placement: Placement) -> str:
        """`bay 3L`, `bays 3L and 3R`, `the loader`."""
        inside = self.compiled.floor.bays_of(placement.cells)
        return bays_named(inside) if inside else LOADER

    def standing(self, placement: Placement) -> str:
        """`the short pallet stands in bay 3L`."""
        where = self.where(placement)
        stands = "{unit} stands on {where}" if where == LOADER else "{unit} stands in {where}"
        return say(stands, unit=self.unit(placement), where=where)

    def truth(self, expr: Expr, state: State) -> bool:
        """Whether it is so in the state."""
        return evaluate(self._machine, expr, state)

    def so(self, id: str, words: Iterable[str], state: State, before: State | None = None) -> list[str]:
        """The words that are so of a thing in the state, and were not so before."""
        states = self.compiled.world.things[id].states
        true = [word for word in words if word in states and self.truth(states[word], state)]
        return [word for word in true if before is None or not self.truth(states[word], before)]

    def resting(self, state: State) -> tuple[Placement, ...]:
        """Every unit at rest, on the loader too."""
        return units_at_rest(self.compiled.floor, self._machine, state)

    def effects(self, before: State, after: State) -> list[str]:
        """What has become of units, doors and supplies, one clause each."""
        old = self.resting(before)
        said = self._stopped([placement for placement in self.resting(after) if placement not in old])
        words = ("closed", "moving", "open", "latched", "unlatched", "locked", "unlocked")
        for door in self.compiled.hold.doorways:
            facts = self.so(door.id, words, after, before)
            if facts:
                said.append(say("{name} is {what}", name=the(door.name), what=listed([say(fact) for fact in facts])))
        for supply in self.compiled.hold.supplies:
            said += [
                say("{name} is {what}", name=the(supply.name), what=say(word))
                for word in self.so(supply.id, ("on", "off"), after, before)
            ]
        return said

    def _stopped(self, placements: list[Placement]) -> list[str]:
        """Where units have come to stand, units of a kind in one clause."""
        cells = self.compiled.floor.cells
        together: dict[tuple[str, bool], list[Placement]] = {}
        for placement in placements:
            outside = all(cells[cell].door is not None for cell in placement.cells)
            together.setdefault((placement.kind, outside), []).append(placement)
        said = []
        for (kind, outside), units in together.items():
            if len(units) == 1:
                said.append(self.standing(units[0]))
            elif outside:
                said.append(say("{kind}s stand on the loader", kind=self.kinds[kind]))
            else:
                bays = listed([cell for unit in units for cell in unit.cells])
                said.append(say("{kind}s stand in bays {bays}", kind=self.kinds[kind], bays=bays))
        return said

    def on_the_way(self, before: State, after: State) -> list[str]:
        """What has begun to cross a face, one clause each."""
        values, memories = self.compiled.glossary.values, self.compiled.origins.variables
        changed = [
            (variable.name, new)
            for variable, old, new in zip(self.compiled.machine.variables, before, after, strict=False)
            if isinstance(memories.get(variable.name), Crossing) and old != new and new != NOBODY
        ]
        return [
            say("{part_phrase} is over {where}", **dict(told.parts))
            for fact in changed
            if isinstance(told := values.get(fact), Said)
        ]

    def equipment(self, before: State, after: State) -> list[str]:
        """What has become of powered devices and indications, one clause each."""
        said: list[str] = []
        things = self.compiled.world.things
        for device in self.compiled.hold.devices:
            if device.circuit is not None:
                became = self.so(device.id, ("raised", "lowered"), after, before)
                said += [say("{name} is {what}", name=the(device.name), what=say(state)) for state in became]
        for circuit in self.compiled.hold.circuits:
            lit = things[circuit.id].truth
            if circuit.use == "indication" and lit is not None and self.truth(lit, before) != self.truth(lit, after):
                said.append(
                    say(
                        "{name} is {what}",
                        name=the(circuit.name),
                        what=say("on") if self.truth(lit, after) else say("off"),
                    )
                )
        return said

    def instruction(self, deed: Deed, before: State, held: State) -> str:
        """The deed as a command; `held` is the state once its first half has come to rest."""
        return sentence(self.order(deed, before, held))

    def order(self, deed: Deed, before: State, held: State) -> str:
        """The same without capital letter and full stop."""
        if not deed.heads:
            effects = self.effects(before, held)
            if effects:
                return say("wait until {effects}", effects=listed(effects))
            return say("wait until the equipment has come to rest")
        done = self.done(deed)
        match done:
            case Depart() | Arrive():
                return self._motion(done, whole=len(deed.heads) == 2)
            case Go():
                return self._going(done)
            case Work(of, Trigger(verb=Verb.START, to=to)) if len(deed.heads) == 2:
                door = the(self.compiled.world.things[of.subject.id].phrase)
                return say("open {name} fully" if to == "opening" else "close {name} fully", name=door)
            case Work(trigger=Trigger(verb=Verb.HOLD)):
                text, _ = self.holding(deed, before, held)
                return text
        return self._order(done)

    def holding(self, deed: Deed, before: State, held: State) -> tuple[str, bool]:
        """The command to hold a lever, and whether all of what it is held for is too long for it.

        Where nothing shows what it is held for, and it is let go within the deed, the command says so.
        """
        done = self.done(deed)
        assert isinstance(done, Work)  # noqa: S101 -- nothing else is held
        until = listed(self.effects(before, held) or self.on_the_way(before, held))
        if not until and len(deed.heads) == 2:
            return done.trigger.told(the(self.compiled.world.things[done.subject.id].phrase), briefly=True), False
        whole = say("{order} until {until}", order=self._order(done), until=until) if until else self._order(done)
        if words_in(whole) <= PROCEDURAL_WORDS:
            return whole, False
        return say("{order} until the units have stopped", order=self._order(done)), True

    def _order(self, done: Work | Bring | TakeAway | Strike) -> str:
        thing = self.compiled.world.things[done.subject.id]
        return in_place(self._texts[done.name], thing.phrase, the(thing.phrase))

    def done(self, deed: Deed) -> Done:
        """The first thing that is done; there is one in every deed of a person."""
        return self.compiled.origins.deeds[deed.heads[0]]

    def _motion(self, done: Depart | Arrive, whole: bool) -> str:
        move = done.move
        push = done.means is Means.PUSH
        unit, source, target = self.unit(move.source), self.where(move.source), self.where(move.target)
        if whole:
            message = _WHOLE[push, target == LOADER]
        elif isinstance(done, Depart):
            message = "push {unit} from {source} over the edge" if push else "move {unit} from {source} over the edge"
        else:
            message = _ARRIVING[push, target == LOADER]
        return say(message, unit=unit, source=source, target=target)

    def _going(self, going: Go) -> str:
        source, place = (self._place(id) for id in (going.source, going.dest))
        who = the(next(one.name for one in self.compiled.hold.people if one.id == going.person))
        if place.bay is not None:
            return say(
                "{who} enters bay {bay}" if source.bay is None else "{who} goes to bay {bay}", who=who, bay=place.bay
            )
        if place.name == "outside":
            return say("{who} goes outside", who=who)
        return say("{who} goes to this place: {place}", who=who, place=place.name)

    def _place(self, id: str) -> Place:
        return next(place for place in self.compiled.hold.places if place.id == id)


def bays_named(bays: Sequence[str]) -> str:
    """`bay 3L`, `bays 3L and 3R`."""
    return say_many("bay {bays}", "bays {bays}", len(bays), bays=listed(bays))


def the(name: str) -> str:
    """With an article, unless it has one, or ends in a number and so is a name of its own: `mid latch 5L`."""
    named = any(c.isdigit() for c in name.split()[-1]) if name.split() else True
    return name if named or name.lower().startswith(("the ", "a ", "an ")) else say("the {name}", name=name)
