"""A hold as it can be worked on a page: the machine as tables, the things that people see and touch, what must not be.

All of it is plain data: rows of expressions by number (`numbering`), variables and values by their places.  Names stay
behind, sentences go along.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping

from interlock.diagnostics.frozen import frozen
from interlock.diagnostics.said import joined, perhaps_ours, say
from interlock.hold.compile.compiler import CompiledHold
from interlock.hold.kinds import DEVICE_KINDS, ENERGISED
from interlock.hold.origin import Arrive, Bring, Deed, Depart, Means, Sort, TakeAway
from interlock.kernel.evaluator import State, as_mapping
from interlock.kernel.expressions import Expr, Value
from interlock.kernel.machine import Actor, Machine, question_of
from interlock.report.views.harm import label_of, severity_words
from interlock.report.views.numbering import Numbering, Row
from interlock.report.views.wording import named, sentence
from interlock.study.walk import Walk, start_differences

CIRCUIT_USES = {
    "power": say("Power"),
    "permit": say("Permits"),
    "inhibit": say("Inhibits"),
    "indication": say("Lights"),
    "logic": say("Logic"),
}
"""How circuits are listed, by their use."""
DOOR_WORDS = ("closed", "moving", "open", "latched", "unlatched", "locked", "unlocked")


@frozen
class RuleRow:
    """A rule: the row of its guard, (variable, value) pairs, and how it is told."""

    guard: int
    writes: tuple[tuple[int, int], ...]
    actor: Actor
    text: str
    responses: tuple[str, ...]
    driven: bool
    """Equipment does it because of what people have commanded: no supply, no drift, no failure."""


@frozen
class Offer:
    """Something that can be done to or by some things, in whatever way mechanism then follows."""

    text: str
    actor: Actor
    rules: tuple[int, ...]
    things: tuple[str, ...]


@frozen
class Item:
    """A thing that has states: (word, row) pairs, of which the first that is true is said of each of its aspects."""

    id: str
    name: str
    sort: str
    states: tuple[tuple[str, int], ...]


@frozen
class Panel:
    """Controls that belong together, in the order of the description; `owning` is the row of its being in charge."""

    name: str
    controls: tuple[str, ...]
    owning: int | None


@frozen
class Lamp:
    """Something electrical that is so or not; whether it is one of the supplies, without which little can be done."""

    group: str
    name: str
    row: int
    supplies: bool = False


@frozen
class Forbidden:
    """A requirement that states or steps can break: broken where `row` is true; `rules` are the steps it speaks of."""

    id: str
    text: str
    label: str
    hazard: str
    severity: str
    source: str
    row: int
    rules: tuple[int, ...]


@frozen
class Tables:
    """The machine: what the evaluator of the page takes.

    `values` say each value of each variable in words (None: it is not told), `idle` which of these say only that
    nothing happens.
    """

    rows: tuple[Row, ...]
    phrases: tuple[tuple[str, str], ...]
    values: tuple[tuple[str | None, ...], ...]
    idle: tuple[tuple[int, int], ...]
    rules: tuple[RuleRow, ...]


@frozen
class Start:
    """A way to start, and what is not so in all ways."""

    state: tuple[int, ...]
    text: str


@frozen
class Working:
    """Everything that a page needs to work the hold, but how it looks."""

    tables: Tables
    items: tuple[Item, ...]
    offers: tuple[Offer, ...]
    panels: tuple[Panel, ...]
    lamps: tuple[Lamp, ...]
    forbidden: tuple[Forbidden, ...]
    starts: tuple[Start, ...]


@frozen
class Numbers:
    """What numbers stand for: rules by name, states by their values, expressions by their rows."""

    machine: Machine
    rows: Numbering
    rules: Mapping[str, int]

    def state(self, machine: Machine, state: State) -> tuple[int, ...]:
        """A state of another machine that has the variables of this one."""
        return self.places(as_mapping(machine, state))

    def places(self, values: Mapping[str, Value]) -> tuple[int, ...]:
        """The values by their places in the domains; what is not said of a variable is as it is at first."""
        variables = self.machine.variables
        return tuple(one.domain.index(values.get(one.name, one.init[0])) for one in variables)


def numbers_of(walk: Walk) -> Numbers:
    """Numbers for the machine that is walked."""
    machine = walk.machine
    numbering = Numbering(machine, walk.compiled.glossary.signals)
    return Numbers(machine, numbering, {rule.name: at for at, rule in enumerate(machine.rules)})


def working_of(walk: Walk, numbers: Numbers, shown: Iterable[Expr]) -> Working:
    """The hold as the walk finds it; `shown` are expressions that the page needs besides."""
    compiled, number = walk.compiled, numbers.rows.number
    rules = tuple(_rules(compiled, numbers))
    items, panels = tuple(_items(compiled, numbers)), tuple(_panels(compiled, numbers))
    lamps, forbidden = tuple(_lamps(compiled, numbers)), tuple(_forbidden(walk, numbers))
    for expr in shown:
        number(expr)
    says, is_idle = compiled.glossary.values, compiled.origins.is_idle
    variables = walk.machine.variables
    tables = Tables(
        tuple(numbers.rows.rows),
        tuple(numbers.rows.phrases),
        tuple(tuple(says.get((one.name, value)) for value in one.domain) for one in variables),
        tuple(
            (at, place)
            for at, one in enumerate(variables)
            for place, value in enumerate(one.domain)
            if is_idle(one.name, value)
        ),
        rules,
    )
    return Working(tables, items, tuple(_offers(compiled, numbers)), panels, lamps, forbidden, starts_of(walk, numbers))


def starts_of(walk: Walk, numbers: Numbers) -> tuple[Start, ...]:
    """Every way to begin; where there are several, with what tells it from the others."""
    differences = start_differences(walk) if len(walk.starts) > 1 else ((),)
    return tuple(
        Start(numbers.state(walk.machine, state), joined(texts, "; "))
        for state, texts in zip(walk.starts, differences, strict=True)
    )


def _rules(compiled: CompiledHold, numbers: Numbers) -> Iterator[RuleRow]:
    machine = numbers.machine
    places = {one.name: {value: at for at, value in enumerate(one.domain)} for one in machine.variables}
    for rule in machine.rules:
        said = compiled.glossary.rules[rule.name]
        writes = tuple((machine.positions[name], places[name][value]) for name, value in rule.update)
        guard = numbers.rows.number(rule.guard)
        driven = rule.actor is Actor.PLANT and _is_driven(compiled.origins.deed_of(rule.name))
        yield RuleRow(guard, writes, said.actor, said.text, said.responses, driven)


def _is_driven(deed: Deed) -> bool:
    if isinstance(deed, Depart | Arrive):
        return deed.means is Means.DRIVE
    return deed.subject.sort in (Sort.DOOR, Sort.DEVICE, Sort.RELAY) or deed.subject.sort.is_control


def _things_of(deed: Deed) -> tuple[str, ...]:
    """What a person would touch or look at to do it."""
    if isinstance(deed, Depart | Arrive):
        return tuple(dict.fromkeys((*deed.move.source.cells, *deed.move.target.cells)))
    if isinstance(deed, Bring | TakeAway):
        return (deed.door, *deed.placement.cells)
    return (deed.subject.id,)


def _offers(compiled: CompiledHold, numbers: Numbers) -> Iterator[Offer]:
    """Deeds that are told alike, of the same things, are one offer: letting go of a lever, wherever it is."""
    found: dict[tuple[str, Actor, tuple[str, ...]], list[int]] = {}
    for name, at in numbers.rules.items():
        said = compiled.glossary.rules[name]
        found.setdefault((said.text, said.actor, _things_of(compiled.origins.deed_of(name))), []).append(at)
    for (text, actor, things), rules in found.items():
        yield Offer(text, actor, tuple(rules), things)


def _items(compiled: CompiledHold, numbers: Numbers) -> Iterator[Item]:
    hold, things = compiled.hold, compiled.world.things

    def item(id: str, name: str, sort: str, words: Mapping[str, str]) -> Item:
        states = things[id].states
        pairs = ((said, numbers.rows.number(states[word])) for word, said in words.items() if word in states)
        return Item(id, name, sort, tuple(pairs))

    for door in hold.doorways:
        yield item(door.id, named(door.id, door.name, " "), say("door"), {word: say(word) for word in DOOR_WORDS})
    for device in hold.devices:
        kind = DEVICE_KINDS[device.kind]
        states = {word: kind.word(word) for word in kind.states}
        yield item(device.id, named(device.id, device.name, " "), say(kind.id), states)
    for control in hold.controls:
        states = {word: control.behaviour.word(word) for word in things[control.id].states if word != "held"}
        yield item(control.id, control.name, say("control"), states)
    for supply in hold.supplies:
        yield item(supply.id, supply.name, say("supply"), {word: say(word) for word in ("off", "on")})
    for person in hold.people:
        yield item(person.id, person.name, say("person"), {place: place.replace("_", " ") for place in person.places})
    for cell in compiled.floor.cells.values():
        filled = {unit.id: unit.id.replace("_", " ") for unit in hold.units}
        states = {"empty": say("empty"), **filled, "occupied": say("occupied")}
        yield item(cell.id, things[cell.id].phrase, say("bay") if cell.door is None else say("loader"), states)


def _panels(compiled: CompiledHold, numbers: Numbers) -> Iterator[Panel]:
    hold = compiled.hold
    placed: set[str] = set()
    for station in hold.stations:
        placed.update(station.controls)
        owning = compiled.world.things[station.id].states["owning"]
        row = numbers.rows.number(owning) if len(hold.stations) > 1 else None
        yield Panel(station.name, station.controls, row)
    others = tuple(control.id for control in hold.controls if control.id not in placed)
    if others:
        yield Panel(say("Elsewhere in the hold") if placed else say("Controls"), others, None)


def _lamps(compiled: CompiledHold, numbers: Numbers) -> Iterator[Lamp]:
    hold, things = compiled.hold, compiled.world.things
    for supply in hold.supplies:
        yield Lamp(say("Supplies"), supply.name, numbers.rows.number(things[supply.id].states["on"]), True)
    for use, group in CIRCUIT_USES.items():
        for circuit in hold.circuits:
            truth = things[circuit.id].truth
            if circuit.use == use and truth is not None:
                yield Lamp(group, circuit.name, numbers.rows.number(truth))
    for relay in hold.relays:
        yield Lamp(say("Relays energised"), relay.name, numbers.rows.number(things[relay.id].states[ENERGISED]))
    for zone in hold.zones:
        for word, said in (("powered", "{zone} has power"), ("running", "{zone} runs")):
            if word in things[zone.id].states:
                row = numbers.rows.number(things[zone.id].states[word])
                yield Lamp(say("Drive zones"), say(said, zone=zone.name), row)


def _forbidden(walk: Walk, numbers: Numbers) -> Iterator[Forbidden]:
    for instance in walk.compiled.instances:
        requirement, origin = instance.requirement, instance.origin
        if requirement.kind.is_about_work:
            continue
        yield Forbidden(
            requirement.id,
            sentence(instance.text),
            label_of(origin),
            sentence(perhaps_ours(origin.hazard) or origin.hazard),
            severity_words(origin),
            origin.source,
            numbers.rows.number(question_of(walk.machine, requirement).target),
            tuple(sorted(numbers.rules[name] for name in requirement.steps)),
        )
