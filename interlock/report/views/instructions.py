"""Steps of a checklist as instructions in the words of the trade, and places as people call them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

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
        return bays_named(inside) if inside else "the loader"

    def standing(self, placement: Placement) -> str:
        """`the short pallet stands in bay 3L`."""
        where = self.where(placement)
        return f"{self.unit(placement)} stands {'on' if where == 'the loader' else 'in'} {where}"

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
        """What has become of units and doors, one clause each."""
        old = self.resting(before)
        said = self._stopped([placement for placement in self.resting(after) if placement not in old])
        words = ("closed", "moving", "open", "latched", "unlatched", "locked", "unlocked")
        for door in self.compiled.hold.doorways:
            facts = self.so(door.id, words, after, before)
            if facts:
                said.append(f"{the(door.name)} is {listed(facts)}")
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
                said.append(f"{self.kinds[kind]}s stand on the loader")
            else:
                bays = listed([cell for unit in units for cell in unit.cells])
                said.append(f"{self.kinds[kind]}s stand in bays {bays}")
        return said

    def on_the_way(self, before: State, after: State) -> list[str]:
        """What has begun to cross a face, one clause each."""
        values, memories = self.compiled.glossary.values, self.compiled.origins.variables
        changed = [
            (variable.name, new)
            for variable, old, new in zip(self.compiled.machine.variables, before, after, strict=False)
            if isinstance(memories.get(variable.name), Crossing) and old != new and new != NOBODY
        ]
        return [values[fact].replace("is on its way over", "is over") for fact in changed if fact in values]

    def equipment(self, before: State, after: State) -> list[str]:
        """What has become of powered devices and indications, one clause each."""
        said = []
        things = self.compiled.world.things
        for device in self.compiled.hold.devices:
            if device.circuit is not None:
                became = self.so(device.id, ("raised", "lowered"), after, before)
                said += [f"{the(device.name)} is {state}" for state in became]
        for circuit in self.compiled.hold.circuits:
            lit = things[circuit.id].truth
            if circuit.use == "indication" and lit is not None and self.truth(lit, before) != self.truth(lit, after):
                said.append(f"{the(circuit.name)} is {'on' if self.truth(lit, after) else 'off'}")
        return said

    def instruction(self, deed: Deed, before: State, held: State) -> str:
        """The deed as a command; `held` is the state once its first half has come to rest."""
        if not deed.heads:
            return sentence(f"wait until {listed(self.effects(before, held)) or 'the equipment has come to rest'}")
        done = self.done(deed)
        match done:
            case Depart() | Arrive():
                return sentence(self._motion(done, whole=len(deed.heads) == 2))
            case Go():
                return sentence(self._going(done))
            case Work(of, Trigger(verb=Verb.START, to=to)) if len(deed.heads) == 2:
                word = "open" if to == "opening" else "close"
                return sentence(f"{word} {the(self.compiled.world.things[of.subject.id].phrase)} fully")
            case Work(trigger=Trigger(verb=Verb.HOLD)):
                text, _ = self.holding(done, before, held)
                return sentence(text)
        return sentence(self._order(done))

    def holding(self, done: Work, before: State, held: State) -> tuple[str, bool]:
        """The command to hold a lever, and whether all of what it is held for is too long for it."""
        until = listed(self.effects(before, held) or self.on_the_way(before, held))
        whole = f"{self._order(done)} until {until}" if until else self._order(done)
        if words_in(whole) <= PROCEDURAL_WORDS:
            return whole, False
        return f"{self._order(done)} until the units have stopped", True

    def _order(self, done: Work | Bring | TakeAway | Strike) -> str:
        thing = self.compiled.world.things[done.subject.id]
        return self._texts[done.name].replace(thing.phrase, the(thing.phrase), 1)

    def done(self, deed: Deed) -> Done:
        """The first thing that is done; there is one in every deed of a person."""
        return self.compiled.origins.deeds[deed.heads[0]]

    def _motion(self, done: Depart | Arrive, whole: bool) -> str:
        move = done.move
        verb = "push" if done.means is Means.PUSH else "move"
        unit, source, target = self.unit(move.source), self.where(move.source), self.where(move.target)
        onto = "onto" if target == "the loader" else "into"
        if whole:
            return f"{verb} {unit} from {source} {onto} {target}"
        return (
            f"{verb} {unit} from {source} over the edge"
            if isinstance(done, Depart)
            else f"{verb} {unit} from the edge {onto} {target}"
        )

    def _going(self, going: Go) -> str:
        source, place = (self._place(id) for id in (going.source, going.dest))
        who = the(next(one.name for one in self.compiled.hold.people if one.id == going.person))
        if place.bay is not None:
            return f"{who} {'enters' if source.bay is None else 'goes to'} bay {place.bay}"
        return f"{who} goes outside" if place.name == "outside" else f"{who} goes to this place: {place.name}"

    def _place(self, id: str) -> Place:
        return next(place for place in self.compiled.hold.places if place.id == id)


def bays_named(bays: Sequence[str]) -> str:
    """`bay 3L`, `bays 3L and 3R`."""
    return ("bay " if len(bays) == 1 else "bays ") + listed(bays)


def the(name: str) -> str:
    """With an article, unless it has one, or ends in a number and so is a name of its own: `mid latch 5L`."""
    named = any(c.isdigit() for c in name.split()[-1]) if name.split() else True
    return name if named or name.lower().startswith(("the ", "a ", "an ")) else f"the {name}"
