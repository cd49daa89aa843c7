"""What the parts of the compiler fill in together: variables, signals, drafts and the things that expressions name."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from interlock.hold.compile.components import Action, Component
from interlock.hold.compile.lowering import Lowering, Thing, World
from interlock.hold.compile.settling import Draft
from interlock.hold.floor import Face, Floor, Placement
from interlock.hold.kinds import BY_ITSELF, MECHANISM, Kind, Trigger, Verb
from interlock.hold.language.model import Device, Hold
from interlock.hold.language.syntax import Syntax, Truth
from interlock.hold.origin import (
    EMPTY,
    NOBODY,
    Aspect,
    Condition,
    Crossing,
    Deed,
    Fact,
    Failure,
    Holding,
    Meaning,
    Memory,
    Sort,
    Strike,
    Subject,
    Work,
)
from interlock.kernel.expressions import FALSE, TRUE, Const, Expr, Is, Ref, Value, conj, disj, neg, one_of
from interlock.kernel.machine import Actor, Variable


class Builder:
    """Collects variables, signals, drafts and things; `building`, `motion` and the compiler fill it."""

    def __init__(self, hold: Hold, floor: Floor) -> None:
        self.hold = hold
        self.floor = floor
        self.world = World(removed={one.object: one.span for one in hold.changes if one.verb == "remove"})
        self.lowering = Lowering(self.world)
        self.variables: dict[str, Variable] = {}
        self.memories: dict[str, Memory] = {}
        self.signals: dict[str, Expr] = {}
        self.meanings: dict[str, Meaning] = {}
        self.promised: dict[str, Syntax] = {}
        self.phrases: dict[str, tuple[str, str]] = {}
        self.values: dict[tuple[str, Value], str] = {}
        self.drafts: list[Draft] = []
        self.deeds: dict[str, Deed] = {}
        self.urgent: set[str] = set()
        self.start: Expr = TRUE
        self.sets: dict[str, list[str]] = {}
        self.units = {unit.id: unit for unit in hold.units}
        self.components: dict[str, Component] = {}
        self.crossings = _crossing_parts(floor)
        self.holdings = _holding_parts(floor)
        self.hand_work: Expr = TRUE
        self.devices_on: dict[Face, list[Device]] = {}
        """Per face what stands on it, as written."""
        for device in hold.devices:
            for face in faces_of(self, device):
                self.devices_on.setdefault(face, []).append(device)

    def define(self, meaning: Meaning, definition: Expr, yes: str, no: str) -> Expr:
        """A named expression with its two sentences."""
        name = meaning.name
        self.signals[name] = definition
        self.meanings[name] = meaning
        self.phrases[name] = (yes, no)
        return Ref(name)

    def signal(self, meaning: Meaning, definition: Expr, yes: str, no: str) -> Expr:
        """The same; atoms and constants stay what they are."""
        return definition if isinstance(definition, Const | Is) else self.define(meaning, definition, yes, no)

    def promise(self, meaning: Meaning, syntax: Syntax, yes: str, no: str) -> Expr:
        """A signal whose definition is lowered later."""
        if isinstance(syntax, Truth):
            return TRUE if syntax.value else FALSE
        self.promised[meaning.name] = syntax
        return self.define(meaning, FALSE, yes, no)

    def remember(
        self, memory: Memory, values: tuple[Value, ...], starts: Iterable[Value], says: Mapping[Value, str]
    ) -> None:
        """A variable with a sentence for each value."""
        name = memory.name
        self.memories[name] = memory
        self.variables[name] = Variable(name, values, tuple(starts))
        self.values.update({(name, value): text for value, text in says.items()})

    def draft(
        self, deed: Deed, actor: Actor, guard: Expr, updates: Mapping[str, Value], text: str, *tags: tuple[Thing, str]
    ) -> None:
        """A rule before settling; `tags` say which verb it is of which thing.  A guard that is false adds nothing."""
        if guard == FALSE:
            return
        self.deeds[deed.name] = deed
        self.drafts.append(Draft(deed.name, actor, guard, dict(updates), text))
        for thing, verb in tags:
            thing.verbs.setdefault(verb, []).append(deed.name)

    def thing(self, id: str, sort: Sort, phrase: str) -> Thing:
        """A new thing that expressions can name."""
        made = Thing(id, sort, phrase)
        self.world.things[id] = made
        return made

    def holds(self, placement: Placement) -> Expr:
        """A unit stands there; one part in its cell says it all."""
        return Is(Holding(placement.cells[0]).name, placement.parts[0])

    def occupied(self, cell: str) -> Expr:
        """Some unit or part of one stands in the cell."""
        if cell not in self.holdings:
            return FALSE
        return neg(Is(Holding(cell).name, EMPTY))

    def crossed(self, face: Face) -> Expr:
        """A unit is on its way over the face."""
        if face not in self.crossings:
            return FALSE
        return neg(Is(Crossing(face).name, NOBODY))

    def covered(self, face: Face) -> Expr:
        """A unit is over the face, on its way or at rest."""
        name = covered(face).name
        return Ref(name) if name in self.signals else self.crossed(face)

    def reach(self, id: str) -> Expr:
        """Somebody can reach the thing; true where nobody's reach is declared for it."""
        places = {place.id for place in self.hold.places if id in place.reaches}
        if not places or not self.hold.people:
            return TRUE
        return disj(
            *(
                one_of(whereabouts(person.id).name, [place for place in person.places if place in places])
                for person in self.hold.people
            )
        )

    def bay_phrase(self, cell: str) -> str:
        """How a sentence names a cell; of the loader, with the bay beside it where a door has several."""
        found = self.floor.cells[cell]
        if found.door is None:
            return f"bay {cell}"
        bays = next(door.bays for door in self.hold.doorways if door.id == found.door)
        loader = f"the loader at {self.world.things[found.door].phrase}"
        beside = f" beside {found.bay}" if len(bays) > 1 else ""
        return f"the outer part of {loader}{beside}" if found.depth > 1 else loader + beside


def whereabouts(person: str) -> Condition:
    """The memory of where a person is."""
    return Condition(Subject(Sort.PERSON, person), Aspect.PLACE)


def position(sort: Sort, id: str) -> Condition:
    """The memory of a thing's position."""
    return Condition(Subject(sort, id), Aspect.POSITION)


def covered(face: Face) -> Fact:
    """That a unit is over the face."""
    return Fact(Subject(Sort.FACE, face.id), "covered")


def _crossing_parts(floor: Floor) -> dict[Face, tuple[str, ...]]:
    parts: dict[Face, dict[str, None]] = {}
    for move in floor.moves:
        for face, part in move.crossed:
            parts.setdefault(face, {})[part] = None
    return {face: tuple(sorted(found)) for face, found in sorted(parts.items())}


def _holding_parts(floor: Floor) -> dict[str, tuple[str, ...]]:
    parts: dict[str, dict[str, None]] = {}
    for placement in floor.placements:
        for cell, part in zip(placement.cells, placement.parts, strict=True):
            parts.setdefault(cell, {})[part] = None
    return {cell: tuple(sorted(parts[cell])) for cell in floor.cells if cell in parts}


def start_states(builder: Builder, id: str, starts: tuple[str, ...], states: tuple[str, ...]) -> tuple[str, ...]:
    """The start states among `states`: those of the chosen situation, else those given, else the first."""
    told = tuple(state for state in builder.sets.get(id, ()) if state in states)
    return told or tuple(state for state in starts if state in states) or states[:1]


def part_phrase(builder: Builder, part: str) -> str:
    """How a sentence names a part of a unit, or the whole of a unit of one bay."""
    found = builder.floor.parts[part]
    name = builder.units[found.unit].name
    return f"the {found.side} part of a {name}" if found.side else f"a {name}"


def face_phrase(builder: Builder, face: Face) -> str:
    """How a sentence names a face: its sill, its devices, or the border between its cells."""
    sides = builder.floor.sides_of_face(face)
    doors = [cell.door for cell in (builder.floor.cells[name] for name, _ in sides) if cell.door]
    if doors and len(sides) == 2 and len(doors) == 1:
        return f"the sill of {builder.world.things[doors[0]].phrase}"
    devices = [device.name for device in builder.devices_on.get(face, ())]
    if devices:
        return " and ".join(devices)
    if len(doors) == 2:
        return builder.bay_phrase(sides[0][0])
    if len(sides) == 2:
        return f"the line between {builder.bay_phrase(sides[0][0])} and {builder.bay_phrase(sides[1][0])}"
    return f"the {sides[0][1]} edge of {builder.bay_phrase(sides[0][0])}"


def faces_of(builder: Builder, device: Device) -> tuple[Face, ...]:
    """The faces that the device stands on, each once, in the order written."""
    return tuple(dict.fromkeys(builder.floor.face(side.bay, side.direction) for side in device.on))


def add_actions(
    builder: Builder, thing: Thing, of: Condition, kind: Kind, component: Component, reach: Expr, plant: Expr = TRUE
) -> None:
    """The drafts of one component: crew steps need `reach`, others `plant`.

    What its kind can do is a step that can be asked about also where it can never happen: of a lever that is fixed a
    requirement still says that it must be moved first.
    """
    for trigger in kind.triggers.values():
        if trigger.verb is not Verb.SETTLE:
            thing.verbs.setdefault(trigger.word, [])
            thing.verbs.setdefault(trigger.verb, [])
    for action in component.actions:
        trigger = kind.triggers[action.trigger]
        crew = trigger.actor is Actor.CREW
        guard = conj(action.guard, reach if crew else plant)
        deed = work(of, trigger, action, component)
        text = trigger.order.format(name=thing.phrase)
        if trigger.verb is Verb.SETTLE:
            text = f"{thing.phrase} goes to {action.dest.replace('_', ' ')} by itself"
        tags = [(thing, trigger.word)]
        if deed.name in builder.urgent:
            # it becomes part of what sets it off: no rule of its own says when it is possible, or what came before it
            tags = []
        elif trigger.to:
            tags.append((thing, str(trigger.verb)))
        builder.draft(deed, trigger.actor, guard, dict(action.updates), text, *tags)


def work(of: Condition, trigger: Trigger, action: Action, component: Component) -> Work:
    """The origin of what one transition does."""
    sole = sum(one.trigger == action.trigger for one in component.actions) == 1
    return Work(of, trigger, action.source, action.dest, sole)


def add_states(builder: Builder, thing: Thing, of: Condition, component: Component) -> None:
    """Names every state of the thing and, where it has memory, its variable."""
    for state, expr in component.states.items():
        word = state.replace("_", " ")
        thing.states[state] = builder.signal(
            Fact(of.subject, state), expr, f"{thing.phrase} is {word}", f"{thing.phrase} is not {word}"
        )
    if component.variable is not None:
        says: dict[Value, str] = {value: f"{thing.phrase} is {value.replace('_', ' ')}" for value in component.values}
        builder.remember(of, component.values, component.starts, says)


def own_drafts(of: Condition, component: Component) -> list[str]:
    """The names of what a component with memory does by itself."""
    own = [action for action in component.actions if action.trigger == BY_ITSELF]
    return [work(of, MECHANISM, action, component).name for action in own]


def fails(builder: Builder, id: str, mode: str) -> bool:
    """The description declares this failure of the thing."""
    return any(failure.of == id and failure.mode == mode for failure in builder.hold.failures)


def failure_memory(builder: Builder, thing: Thing, mode: str, text: str) -> Expr:
    """The memory of a declared failure: it may strike, once and for good; `false` where it is not declared."""
    if not fails(builder, thing.id, mode):
        return FALSE
    failure = Failure(Subject(thing.sort, thing.id), mode)
    builder.remember(failure, (False, True), (False,), {True: text, False: f"{thing.phrase} works"})
    struck = Is(failure.name, True)
    tags = (thing, f"fail_{mode}"), (thing, "fail")
    builder.draft(Strike(failure), Actor.FAILURE, neg(struck), {failure.name: True}, text, *tags)
    return struck
