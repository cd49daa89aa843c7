"""What the parts of the compiler fill in together: variables, signals, drafts and the things that expressions name."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from interlock.hold.compile.components import Component
from interlock.hold.compile.lowering import Lowering, Thing, World
from interlock.hold.compile.settling import Draft
from interlock.hold.floor import Floor, Placement
from interlock.hold.kinds import BY_ITSELF, Kind
from interlock.hold.language.model import Device, Hold
from interlock.hold.language.syntax import Syntax, Truth
from interlock.kernel.expressions import FALSE, TRUE, Const, Expr, Is, Ref, Value, conj, disj, neg, one_of
from interlock.kernel.machine import Actor, Variable

EMPTY = "empty"
NOBODY = "none"


class Builder:
    """Collects variables, signals, drafts and things; `building`, `motion` and the compiler fill it."""

    def __init__(self, hold: Hold, floor: Floor) -> None:
        self.hold = hold
        self.floor = floor
        self.world = World(removed={one.object: one.span for one in hold.changes if one.verb == "remove"})
        self.lowering = Lowering(self.world)
        self.variables: dict[str, Variable] = {}
        self.signals: dict[str, Expr] = {}
        self.promised: dict[str, Syntax] = {}
        self.phrases: dict[str, tuple[str, str]] = {}
        self.values: dict[tuple[str, Value], str] = {}
        self.drafts: list[Draft] = []
        self.urgent: set[str] = set()
        self.start: Expr = TRUE
        self.sets: dict[str, list[str]] = {}
        self.units = {unit.id: unit for unit in hold.units}
        self.components: dict[str, Component] = {}
        self.crossings = _crossing_parts(floor)
        self.holdings = _holding_parts(floor)
        self.hand_work: Expr = TRUE
        self.devices_on: dict[str, list[Device]] = {}
        """Per face what stands on it, as written."""
        for device in hold.devices:
            for face in faces_of(self, device):
                self.devices_on.setdefault(face, []).append(device)

    def define(self, name: str, definition: Expr) -> None:
        """Gives a signal its meaning."""
        self.signals[name] = definition

    def signal(self, name: str, definition: Expr, yes: str, no: str) -> Expr:
        """A named expression with its two sentences; atoms and constants stay what they are."""
        if isinstance(definition, Const | Is):
            return definition
        self.define(name, definition)
        self.phrases[name] = (yes, no)
        return Ref(name)

    def promise(self, name: str, syntax: Syntax, yes: str, no: str) -> Expr:
        """A signal whose definition is lowered later."""
        if isinstance(syntax, Truth):
            return TRUE if syntax.value else FALSE
        self.promised[name] = syntax
        self.signals[name] = FALSE
        self.phrases[name] = (yes, no)
        return Ref(name)

    def remember(
        self, name: str, values: tuple[Value, ...], starts: Iterable[Value], says: Mapping[Value, str]
    ) -> None:
        """A variable with a sentence for each value."""
        self.variables[name] = Variable(name, values, tuple(starts))
        self.values.update({(name, value): text for value, text in says.items()})

    def draft(
        self, name: str, actor: Actor, guard: Expr, updates: Mapping[str, Value], text: str, *tags: tuple[Thing, str]
    ) -> None:
        """A rule before settling; `tags` say which verb it is of which thing.  A guard that is false adds nothing."""
        if guard == FALSE:
            return
        self.drafts.append(Draft(name, actor, guard, dict(updates), text))
        for thing, verb in tags:
            thing.verbs.setdefault(verb, []).append(name)

    def thing(self, id: str, sort: str, phrase: str) -> Thing:
        """A new thing that expressions can name."""
        made = Thing(id, sort, phrase)
        self.world.things[id] = made
        return made

    def holds(self, placement: Placement) -> Expr:
        """A unit stands there; one part in its cell says it all."""
        return Is(f"bay.{placement.cells[0]}.holds", placement.parts[0])

    def occupied(self, cell: str) -> Expr:
        """Some unit or part of one stands in the cell."""
        if cell not in self.holdings:
            return FALSE
        return neg(Is(f"bay.{cell}.holds", EMPTY))

    def crossed(self, face: str) -> Expr:
        """A unit is on its way over the face."""
        if face not in self.crossings:
            return FALSE
        return neg(Is(f"face.{face}.crossing", NOBODY))

    def covered(self, face: str) -> Expr:
        """A unit is over the face, on its way or at rest."""
        return Ref(f"face.{face}.covered") if f"face.{face}.covered" in self.signals else self.crossed(face)

    def reach(self, id: str) -> Expr:
        """Somebody can reach the thing; true where nobody's reach is declared for it."""
        places = {place.id for place in self.hold.places if id in place.reaches}
        if not places or not self.hold.people:
            return TRUE
        return disj(
            *(
                one_of(f"person.{person.id}.at", [place for place in person.places if place in places])
                for person in self.hold.people
            )
        )

    def bay_phrase(self, cell: str) -> str:
        """How a sentence names a cell; of the loader, with the bay beside it where a door has several."""
        found = self.floor.cells[cell]
        if found.door is None:
            return f"bay {cell}"
        bays = next(door.bays for door in self.hold.doorways if door.id == found.door)
        bay, _, step = cell.removeprefix(f"{found.door}-").partition("-")
        loader = f"the loader at {self.world.things[found.door].phrase}"
        beside = f" beside {bay}" if len(bays) > 1 else ""
        return f"the outer part of {loader}{beside}" if step else loader + beside


def _crossing_parts(floor: Floor) -> dict[str, tuple[str, ...]]:
    parts: dict[str, dict[str, None]] = {}
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


def kind_of(builder: Builder, part: str) -> str:
    """The kind of unit that has the part; no kind's name begins like a part of another (`checks` sees to that)."""
    return next(
        unit for unit in sorted(builder.units, key=len, reverse=True) if part == unit or part.startswith(unit + "_")
    )


def part_phrase(builder: Builder, part: str) -> str:
    """How a sentence names a part of a unit, or the whole of a unit of one bay."""
    unit = builder.units[kind_of(builder, part)]
    rest = part.removeprefix(unit.id).strip("_").replace("_", " ")
    return f"the {rest} part of a {unit.name}" if rest else f"a {unit.name}"


def face_phrase(builder: Builder, face: str) -> str:
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


def faces_of(builder: Builder, device: Device) -> tuple[str, ...]:
    """The faces that the device stands on, each once, in the order written."""
    return tuple(dict.fromkeys(builder.floor.face(side.bay, side.direction) for side in device.on))


def add_actions(
    builder: Builder, thing: Thing, path: str, kind: Kind, component: Component, reach: Expr, plant: Expr = TRUE
) -> None:
    """The drafts of one component: crew steps need `reach`, others `plant`.

    What its kind can do is a step that can be asked about also where it can never happen: of a lever that is fixed a
    requirement still says that it must be moved first.
    """
    for word in kind.triggers:
        if word != BY_ITSELF:
            thing.verbs.setdefault(word, [])
            thing.verbs.setdefault(word.split("_")[0], [])
    for action in component.actions:
        trigger = kind.triggers[action.trigger]
        crew = trigger.actor is Actor.CREW
        guard = conj(action.guard, reach if crew else plant)
        name = f"{path}.{action.trigger}"
        if sum(a.trigger == action.trigger for a in component.actions) > 1:
            name += f".{action.source}.{action.dest}"
        text = trigger.order.format(name=thing.phrase)
        if action.trigger == BY_ITSELF:
            text = f"{thing.phrase} goes to {action.dest.replace('_', ' ')} by itself"
        tags = [(thing, action.trigger)]
        if name in builder.urgent:
            # it becomes part of what sets it off: no rule of its own says when it is possible, or what came before it
            tags = []
        elif "_" in action.trigger and action.trigger != BY_ITSELF:
            tags.append((thing, action.trigger.split("_")[0]))
        builder.draft(name, trigger.actor, guard, dict(action.updates), text, *tags)


def add_states(builder: Builder, thing: Thing, path: str, component: Component) -> None:
    """Names every state of the thing and, where it has memory, its variable."""
    for state, expr in component.states.items():
        word = state.replace("_", " ")
        thing.states[state] = builder.signal(
            f"{path}.{state}", expr, f"{thing.phrase} is {word}", f"{thing.phrase} is not {word}"
        )
    if component.variable is not None:
        says: dict[Value, str] = {value: f"{thing.phrase} is {value.replace('_', ' ')}" for value in component.values}
        builder.remember(component.variable, component.values, component.starts, says)


def own_drafts(path: str, component: Component) -> list[str]:
    """The names of what a component with memory does by itself, as `_act` gives them."""
    own = [action for action in component.actions if action.trigger == BY_ITSELF]
    if len(own) == 1:
        return [f"{path}.{BY_ITSELF}"]
    return [f"{path}.{BY_ITSELF}.{action.source}.{action.dest}" for action in own]


def fails(builder: Builder, id: str, mode: str) -> bool:
    """The description declares this failure of the thing."""
    return any(failure.of == id and failure.mode == mode for failure in builder.hold.failures)


def failure_memory(builder: Builder, thing: Thing, mode: str, text: str) -> Expr:
    """The memory of a declared failure: it may strike, once and for good; `false` where it is not declared."""
    if not fails(builder, thing.id, mode):
        return FALSE
    name = f"failure.{thing.id}.{mode}"
    builder.remember(name, (False, True), (False,), {True: text, False: f"{thing.phrase} works"})
    struck = Is(name, True)
    builder.draft(name, Actor.FAILURE, neg(struck), {name: True}, text, (thing, f"fail_{mode}"), (thing, "fail"))
    return struck
