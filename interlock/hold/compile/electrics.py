"""Supplies, sensors, relays and circuits; and the people, who are neither on the floor nor on a face."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from itertools import product

from interlock.diagnostics.said import say, say_both
from interlock.hold.compile.components import Component, compose
from interlock.hold.compile.described import Described, whereabouts
from interlock.hold.compile.supplies import SUPPLIED, carried_without, supplies_of
from interlock.hold.compile.symbols import Additions, Case, Symbols
from interlock.hold.compile.things import let_go
from interlock.hold.compile.world import Thing
from interlock.hold.kinds import ENERGISED, RELAY, RELEASED
from interlock.hold.language.model import Hold, Person, Place, Relay, Sensor, Supply
from interlock.hold.origin import Aspect, Condition, Fact, Go, Sort, Subject
from interlock.kernel.expressions import FALSE, TRUE, Expr, Is, Value, conj, disj, neg, one_of
from interlock.kernel.machine import Actor

MOST_TOLD_APART = 2
"""So many ways to be carried by other supplies are told apart of one supply; each doubles its steps."""


def electrics(described: Described, known: Symbols) -> Symbols:
    """What carries, reads and remembers."""
    made = Additions(described.eased)
    supplies = {supply.id: _supply(described, made, supply) for supply in described.hold.supplies}
    supplied = {id: states["on"] for id, (_, states) in supplies.items()}
    for supply in described.hold.supplies:
        _supply_changes(described, made, supply, supplied, supplies[supply.id][0])
    for sensor in described.hold.sensors:
        _sensor(described, made, sensor)
    for relay in described.hold.relays:
        _relay(described, made, relay)
    for circuit in described.hold.circuits:
        fact = Fact(Subject(Sort.CIRCUIT, circuit.id))
        on = made.promise(
            fact,
            circuit.definition,
            (say_both("{circuit} is on", "{circuit} is off", circuit=circuit.name)),
            so=described.struck(circuit.id, "short_to_power"),
            not_so=described.struck(circuit.id, "open"),
        )
        made.fails(described.may_strike.get(circuit.id, ()))
        made.name(Thing(circuit.id, Sort.CIRCUIT, circuit.name), _on_or_off(on), truth=on)
    return made.symbols()


def _on_or_off(truth: Expr) -> dict[str, Expr]:
    return {"on": truth, "off": neg(truth)}


def _supply(described: Described, made: Additions, supply: Supply) -> tuple[Component, dict[str, Expr]]:
    """How it works, and when it is on and off."""
    thing = Thing(supply.id, Sort.SUPPLY, supply.name)
    of = Condition(Subject(Sort.SUPPLY, supply.id), Aspect.STATE)
    kind = supply.behaviour
    starts = described.starts_of(supply.id, supply.starts, kind.states)
    meaning: dict[str, Expr] = {}
    if supply.needs is not None:
        phrases = say_both("{supply} has what it needs", "{supply} lacks what it needs", supply=supply.name)
        meaning["fed"] = made.promise(Fact(of.subject, "fed"), supply.needs, phrases)
    steady = supply.needs is None and not supply.may_be_lost
    component = compose(of.name, kind, meaning, starts, False, starts[0] if steady and not starts[1:] else None)
    if steady:
        component = replace(component, actions=())
    states = made.states(of, supply.name, component, kind)
    made.fails(described.may_strike.get(supply.id, ()))
    made.failing(of.subject, supply.name, states, "on", *_struck(described, supply))
    made.name(thing, states)
    return component, states


def _struck(described: Described, supply: Supply) -> tuple[Expr, Expr]:
    return described.struck(supply.id, "returns"), described.struck(supply.id, "lost")


def _supply_changes(
    described: Described, made: Additions, supply: Supply, on: Mapping[str, Expr], component: Component
) -> None:
    """It goes off and comes on."""
    thing = Thing(supply.id, Sort.SUPPLY, supply.name)
    of = Condition(Subject(Sort.SUPPLY, supply.id), Aspect.STATE)
    # while a failure has struck nothing else makes the supply go off or come on, so no step may say that it does
    free = neg(disj(*_struck(described, supply)))
    found = _cases(described.hold, supply, on)
    cases = {
        verb: [Case(id, when, tuple((zone, what) for zone in zones)) for id, when, zones in found]
        for verb, what in SUPPLIED.items()
    }
    made.work(thing, of, supply.behaviour, component, TRUE, free, cases=cases)


def _cases(hold: Hold, supply: Supply, on: Mapping[str, Expr]) -> list[tuple[str, Expr, list[str]]]:
    """What tells a case apart, when it is, and for which zones the supply then makes a difference.

    One case where that is the same whatever else is on.
    """
    always: list[str] = []
    carried: dict[Expr, list[str]] = {}
    for zone in hold.zones:
        supplies = supplies_of(hold, zone)
        if supply.id in supplies:
            others = [one for one in supplies if one != supply.id]
            sets = carried_without(hold, zone, supply.id)
            if sets is not None and len(sets) == 2 ** len(others):
                continue
            if not sets:
                always.append(zone.id)
                continue
            ways = [conj(*(on[one] if one in chosen else neg(on[one]) for one in others)) for chosen in sets]
            carried.setdefault(disj(*ways), []).append(zone.id)
    if len(carried) > MOST_TOLD_APART:
        # each as if it always made a difference: nothing is let off for it
        always += [id for ids in carried.values() for id in ids]
        carried = {}
    cases = []
    for signs in product((False, True), repeat=len(carried)):
        chosen = dict(zip(carried, signs, strict=True))
        zones = always + [id for way, ids in carried.items() if not chosen[way] for id in ids]
        when = conj(*(way if so else neg(way) for way, so in chosen.items()))
        id = "" if not any(signs) else "beside_" + "_".join(str(n) for n, so in enumerate(signs, 1) if so)
        cases.append((id, when, zones))
    return cases


def _sensor(described: Described, made: Additions, sensor: Sensor) -> None:
    thing = Thing(sensor.id, Sort.SENSOR, sensor.name)
    fact = Fact(Subject(Sort.SENSOR, sensor.id))
    phrases = say_both("{sensor} sees it", "{sensor} does not see it", sensor=sensor.name)
    read = made.promise(Fact(fact.subject, "read"), sensor.reads, phrases)
    made.fails(described.may_strike.get(sensor.id, ()))
    opposite = described.struck(sensor.id, "reads_opposite")
    honest = read if opposite == FALSE else disj(conj(read, neg(opposite)), conj(neg(read), opposite))
    seen = disj(honest, described.struck(sensor.id, "stuck_true"))
    reading = conj(seen, neg(described.struck(sensor.id, "stuck_false")))
    reports = made.signal(
        fact,
        reading,
        (say_both("{sensor} reports true", "{sensor} reports false", sensor=sensor.name)),
    )
    made.name(thing, _on_or_off(reports), truth=reports)


def _relay(described: Described, made: Additions, relay: Relay) -> None:
    thing = Thing(relay.id, Sort.RELAY, relay.name)
    of = Condition(Subject(Sort.RELAY, relay.id), Aspect.STATE)
    sets = say_both("{relay} is energised", "nothing energises {relay}", relay=relay.name)
    drops = say_both("{relay} is made to release", "nothing releases {relay}", relay=relay.name)
    meaning = {
        "sets": made.promise(
            Fact(of.subject, "sets"), relay.sets, sets, not_so=described.struck(relay.id, "does_not_pull_in")
        ),
        "drops": made.promise(Fact(of.subject, "drops"), relay.drops, drops),
    }
    starts = described.starts_of(relay.id, relay.starts, RELAY.states)
    component = compose(of.name, RELAY, meaning, starts, False, None)
    states = made.states(of, relay.name, component, RELAY)
    made.work(thing, of, RELAY, component, TRUE)
    made.fails(described.may_strike.get(relay.id, ()))
    welded, out = described.struck(relay.id, "welded"), described.struck(relay.id, "drops_out")
    made.failing(of.subject, relay.name, states, ENERGISED, welded, out)
    made.name(thing, {**states, "on": states[ENERGISED], "off": states[RELEASED]}, truth=states[ENERGISED])


_WAYS = {
    (True, False): "{person} enters, and is then {place}",
    (False, True): "{person} leaves, and is then {place}",
}
"""How a person goes, by whether it is from outside and whether it is to there."""


def _hands_off(described: Described, person: Person, source: Place, dest: Place) -> Expr:
    """Each control that springs back, that the person can reach from one place and not from the other, is let go.

    It may stay held where somebody else can reach it, and where no hand is needed: its spring broke, or it is stuck.
    """
    out = {*source.reaches} - {*dest.reaches}
    left = [one for one in described.hold.controls if one.is_held and one.fixed is None and one.id in out]
    others = [one.id for one in described.hold.people if one.id != person.id]
    return conj(
        *(
            disj(
                let_go(control),
                described.reach(control.id, others),
                described.struck(control.id, "spring_broken"),
                described.struck(control.id, "stuck"),
            )
            for control in left
        )
    )


def people(described: Described, known: Symbols) -> Symbols:
    """Where people can be and go, and which bays they can be in."""
    made = Additions(described.eased)
    places = {place.id: place for place in described.hold.places}
    for person in described.hold.people:
        thing = Thing(person.id, Sort.PERSON, person.name)
        at = whereabouts(person.id)
        says: dict[Value, str] = {
            p: say("{person} is {place}", person=person.name, place=places[p].name) for p in person.places
        }
        made.remember(at, person.places, described.starts_of(person.id, person.starts, person.places), says)
        phrases = say_both("{person} can come and go", "{person} cannot come and go", person=person.name)
        moves = made.promise(Fact(at.subject, "moves"), person.moves, phrases)
        inside = one_of(at.name, [p for p in person.places if places[p].bay is not None])
        made.name(thing, {**{place: Is(at.name, place) for place in person.places}, "inside": inside})
        for source in person.places:
            for dest in person.places:
                if source == dest:
                    continue
                bay = places[dest].bay
                way = _WAYS.get((places[source].bay is None, bay is None), "{person} goes, and is then {place}")
                free = TRUE if bay is None else neg(described.occupied(bay))
                made.act(
                    Go(person.id, source, dest),
                    Actor.CREW,
                    conj(Is(at.name, source), moves, free, _hands_off(described, person, places[source], places[dest])),
                    {at.name: dest},
                    say(way, person=person.name, place=places[dest].name),
                    ((person.id, "go"), (person.id, f"go_{dest}")),
                )
    for cell in described.floor.bays:
        manned = (
            one_of(whereabouts(person.id).name, [p for p in person.places if places[p].bay == cell])
            for person in described.hold.people
        )
        made.name(known.things[cell], {"manned": disj(*manned)})
    return made.symbols()
