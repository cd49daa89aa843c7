"""Supplies, sensors, relays and circuits; and the people, who are neither on the floor nor on a face."""

from __future__ import annotations

from dataclasses import replace

from interlock.hold.compile.builder import (
    Builder,
    add_actions,
    add_states,
    failure_memory,
    own_drafts,
    start_states,
    whereabouts,
)
from interlock.hold.compile.components import compose
from interlock.hold.compile.lowering import Thing
from interlock.hold.kinds import RELAY, SUPPLY
from interlock.hold.origin import Aspect, Condition, Fact, Go, Sort, Subject
from interlock.kernel.expressions import FALSE, TRUE, Expr, Is, Ref, Value, conj, disj, neg, one_of
from interlock.kernel.machine import Actor


def add_electrics(builder: Builder) -> None:
    hold = builder.hold
    for supply in hold.supplies:
        thing = builder.thing(supply.id, Sort.SUPPLY, supply.name)
        of = Condition(Subject(Sort.SUPPLY, supply.id), Aspect.STATE)
        starts = start_states(builder, supply.id, supply.starts, SUPPLY.states)
        steady = not supply.may_be_lost
        component = compose(of.name, SUPPLY, {}, starts, False, starts[0] if steady and not starts[1:] else None)
        if steady:
            component = replace(component, actions=())
        add_states(builder, thing, of, component)
        add_actions(builder, thing, of, SUPPLY, component, TRUE)
    for sensor in hold.sensors:
        thing = builder.thing(sensor.id, Sort.SENSOR, sensor.name)
        fact = Fact(Subject(Sort.SENSOR, sensor.id))
        yes, no = f"{sensor.name} sees it", f"{sensor.name} does not see it"
        read = builder.promise(Fact(fact.subject, "read"), sensor.reads, yes, no)
        true = failure_memory(builder, thing, "stuck_true", f"{sensor.name} sticks at true")
        false = failure_memory(builder, thing, "stuck_false", f"{sensor.name} sticks at false")
        opposite = failure_memory(builder, thing, "reads_opposite", f"{sensor.name} reads the opposite")
        honest = read if opposite == FALSE else disj(conj(read, neg(opposite)), conj(neg(read), opposite))
        reading = conj(disj(honest, true), neg(false))
        _truth(builder, thing, fact, reading, f"{sensor.name} reports true", f"{sensor.name} reports false")
    for relay in hold.relays:
        thing = builder.thing(relay.id, Sort.RELAY, relay.name)
        of = Condition(Subject(Sort.RELAY, relay.id), Aspect.STATE)
        meaning = {
            "sets": builder.promise(
                Fact(of.subject, "sets"), relay.sets, f"{relay.name} is made to set", f"nothing sets {relay.name}"
            ),
            "drops": builder.promise(
                Fact(of.subject, "drops"), relay.drops, f"{relay.name} is made to drop", f"nothing drops {relay.name}"
            ),
        }
        starts = start_states(builder, relay.id, relay.starts, RELAY.states)
        component = compose(of.name, RELAY, meaning, starts, False, None)
        add_states(builder, thing, of, component)
        builder.urgent.update(own_drafts(of, component))
        add_actions(builder, thing, of, RELAY, component, TRUE)
        thing.truth = thing.states["set"]
        thing.states["on"], thing.states["off"] = thing.states["set"], thing.states["dropped"]
    for circuit in hold.circuits:
        thing = builder.thing(circuit.id, Sort.CIRCUIT, circuit.name)
        fact = Fact(Subject(Sort.CIRCUIT, circuit.id))
        expr = builder.promise(fact, circuit.definition, f"{circuit.name} is on", f"{circuit.name} is off")
        _truth(builder, thing, fact, expr, f"{circuit.name} is on", f"{circuit.name} is off")


def _truth(builder: Builder, thing: Thing, fact: Fact, expr: Expr, yes: str, no: str) -> None:
    thing.truth = expr if expr == Ref(fact.name) else builder.signal(fact, expr, yes, no)
    thing.states["on"], thing.states["off"] = thing.truth, neg(thing.truth)


def add_people(builder: Builder) -> None:
    places = {place.id: place for place in builder.hold.places}
    for person in builder.hold.people:
        thing = builder.thing(person.id, Sort.PERSON, person.name)
        memory = whereabouts(person.id)
        says: dict[Value, str] = {p: f"{person.name} is {places[p].name}" for p in person.places}
        starts = start_states(builder, person.id, person.starts, person.places)
        builder.remember(memory, person.places, starts, says)
        moves = builder.promise(
            Fact(memory.subject, "moves"),
            person.moves,
            f"{person.name} can come and go",
            f"{person.name} cannot come and go",
        )
        for place in person.places:
            thing.states[place] = Is(memory.name, place)
        inside = [p for p in person.places if places[p].bay is not None]
        thing.states["inside"] = one_of(memory.name, inside)
        for source in person.places:
            for dest in person.places:
                if source == dest:
                    continue
                bay = places[dest].bay
                free = TRUE if bay is None else neg(builder.occupied(bay))
                builder.draft(
                    Go(person.id, source, dest),
                    Actor.CREW,
                    conj(Is(memory.name, source), moves, free),
                    {memory.name: dest},
                    f"{person.name} goes, and is then {places[dest].name}",
                    (thing, "go"),
                    (thing, f"go_{dest}"),
                )
    for cell in builder.floor.bays:
        manned = [
            one_of(whereabouts(person.id).name, [p for p in person.places if places[p].bay == cell])
            for person in builder.hold.people
        ]
        builder.world.things[cell].states["manned"] = disj(*manned)
