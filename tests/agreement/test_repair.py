"""What `repair` offers is all that works: every contact in every place is really tried, compiled and asked everything.

The other way of finding out shares nothing with the search: no run is followed, no table made, no candidate left out.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import cache
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from interlock.hold.compile.compiler import CompiledHold, compile_hold
from interlock.hold.language.model import Hold, RequirementText
from interlock.hold.language.printer import print_syntax
from interlock.hold.language.syntax import Truth
from interlock.hold.loader import Source, load_hold, load_specification
from interlock.hold.wiring import inhibits_written, wires_of
from interlock.kernel.claims import Limits
from interlock.kernel.machine import question_of
from interlock.prove.decide import decide
from interlock.report.yaml.modification import modification_text
from interlock.study.causes.trials import Bench
from interlock.study.repair.abilities import Abilities, Cost, abilities_of
from interlock.study.repair.additions import Additions
from interlock.study.repair.places import (
    Addition,
    Nearness,
    Place,
    contacts_both_ways,
    facts_of,
    linkages_of,
    places_of,
    reachable,
    replaceable,
    states_of,
)
from interlock.study.repair.repair import repair
from interlock.study.repair.results import Mending, Part, Repair, Sort, Written
from interlock.study.repair.tables import Choice, Tables
from interlock.study.repair.unfused import Unfused
from interlock.study.verify import Status, verify
from tests.agreement.test_limiting import reaches
from tests.golden.wired_hold import WIRED

ASKED = (
    ("powered", "never", "Z is running and not GP is on"),
    ("held-to-run", "never", "Z is running and LV is neutral"),
    ("fresh-command", "never", "Z is running and not fresh"),
    ("not-onto-the-latch", "never", "Z.right is running and SL is raised"),
    ("can-run-in", "can", "Z.right is running"),
    ("can-run-out", "can", "Z.left is running and SL is lowered"),
    ("can-always-be-filled", "can always", "1C is HALF"),
)
RELAY = """\
relays:
  - {id: fresh, name: fresh command relay, sets: GP is on and LV is neutral, drops: not GP is on}
zones:"""
SOUND = (
    WIRED.replace("zones:", RELAY)
    .replace("starts: [off, on], may", "starts: off, may")
    .replace("GP is on and door_open", "GP is on and door_open and fresh")
)
MODELS = Path(__file__).parents[2] / "models"
SWITCHED = SOUND.replace("sensors:\n", "sensors:\n  - {id: up, name: switch of the sill latch, reads: SL is raised}\n")
INHIBIT = "    inhibits:\n      right: SL is raised\n"
FLAWED = {
    "a permit without the relay": SOUND.replace("GP is on and door_open and fresh", "GP is on and door_open"),
    "an inhibit that never comes": SOUND.replace("right: SL is raised", "right: never"),
    "an inhibit that nobody wrote": SWITCHED.replace(INHIBIT, ""),
    "a command that is always there": SOUND.replace("left: LV is left", "left: always"),
}


# a relay that holds until power goes, and one that holds for good: a contact of either keeps the drive from running on
TRIPPED = WIRED.replace(
    "zones:",
    """\
relays:
  - {id: trip, name: trip relay, sets: LV is right, drops: not GP is on}
  - {id: seen, name: tell-tale relay, sets: LV is right, drops: never}
zones:""",
).replace("starts: [off, on], may", "starts: on, may")
TRIPPING = (
    ("not-after-a-trip", "never", "Z.left is running and trip"),
    ("can-run-in", "can", "Z.left is running"),
    ("can-always-run-in", "can always", "Z.left is running"),
)


# a door that a circuit opens, which does not ask for power: nothing comes in but through it
DOOR = (
    WIRED.replace("moved_by: hand", "moved_by: power")
    .replace('opens: "true"', "opens: door_up")
    .replace("zones:", "  - {id: door_up, name: door drive up, use: power, is: LV is left}\nzones:")
)
POWERED = ("powered-door", "never", "door_up and not GP is on")
CAN_OPEN = ("can-be-opened", "can", "D1 is open")


def specification(rows: Sequence[tuple[str, str, str]]) -> tuple[RequirementText, ...]:
    """Requirements by id, kind and condition."""
    text = "interlock: 1\nspecification: Of a drive at a sill\nrequirements:\n"
    for id, kind, condition in rows:
        text += f"""\
  - {{id: {id}, text: invented, kind: {kind}, condition: {condition}, hazard: invented, severity: "1",
     scheme: MIL-STD-882E, source: "common practice, no source"}}
"""
    found = load_specification(Source("asked.yaml", text.encode())).value
    assert found is not None
    return found


@cache
def asked() -> tuple[RequirementText, ...]:
    """The requirements of most holds here."""
    return specification(ASKED)


def compiled_of(text: str, texts: tuple[RequirementText, ...]) -> CompiledHold:
    """The hold that the text describes."""
    loaded = load_hold(Source("hold.yaml", text.encode()), lambda name: None)
    assert loaded.value is not None, loaded.diagnostics
    compilation = compile_hold(loaded.value, texts)
    assert compilation.compiled is not None, compilation.diagnostics
    return compilation.compiled


def mended(
    text: str,
    texts: tuple[RequirementText, ...] | None = None,
    *,
    most: int | None = None,
    thorough: bool = True,
    **options: Any,
) -> Repair:
    """What would mend it, each written and read again."""
    texts = texts or asked()
    compiled = compiled_of(text, texts)

    def write(changed: Hold, parts: Sequence[Part]) -> Written:
        written = modification_text("mended", "", "hold.yaml", compiled.hold, changed)
        source = Source("mended.yaml", written.encode())
        loaded = load_hold(source, lambda name: Source("hold.yaml", text.encode()))
        assert loaded.value is not None, (loaded.diagnostics, written)
        return Written(written, compile_hold(loaded.value, texts).compiled)

    return repair(compiled, write, most=most, thorough=thorough, **options)


def every_place(hold: Hold) -> tuple[Place, ...]:
    """Where contacts can be added, with directions of drives that have no inhibit yet."""
    return places_of(inhibits_written(hold))


def really_works(compiled: CompiledHold, addition: Addition) -> bool:
    """Compiled with it and asked everything, nothing fails."""
    changed = compile_hold(addition.made_in(compiled.hold), asked()).compiled
    if changed is None:
        return False
    found = verify(changed, decide, Limits())
    assert not found.count(Status.UNDECIDED)
    return not found.count(Status.FAILS)


def offered_by(found: Repair) -> set[tuple[str, str, tuple[int, ...], str]]:
    """The single contacts that are offered: where, how, and which."""
    return {
        (one.place.wire.meaning.name, one.place.joint, one.place.way, print_syntax(one.contact))
        for mending in found.mendings
        for one in mending.additions
    }


def contacts_in(mending: Mending) -> list[str]:
    """The contacts that are added, as they are written."""
    return [print_syntax(one.contact) for one in mending.additions]


def compare(name: str, every: int, sort: Sort = Sort.CONTACT) -> None:
    """Of every so many contacts in all places: it works exactly where it is offered, and all is settled."""
    compiled = compiled_of(FLAWED[name], asked())
    found = mended(FLAWED[name], sorts=(sort,))
    (tried,) = found.tried
    assert tried.is_exhausted
    assert tried.works == len(found.mendings) == len(offered_by(found))
    additions = [
        Addition(place, contact)
        for place in (every_place if sort is Sort.CONTACT else replaceable)(compiled.hold)
        for contact in contacts_both_ways(facts_of(compiled.hold))
    ]
    keys = {
        (one.place.wire.meaning.name, one.place.joint, one.place.way, print_syntax(one.contact)): one
        for one in additions
    }
    assert offered_by(found) <= set(keys)
    for at, (key, addition) in enumerate(keys.items()):
        if at % every == 0 or key in offered_by(found):
            assert really_works(compiled, addition) == (key in offered_by(found)), key


@pytest.mark.slow
@pytest.mark.parametrize("name", FLAWED)
def test_what_is_offered_is_all_that_works(name: str) -> None:
    """Every single contact in every place, really tried."""
    compare(name, 1)


@pytest.mark.slow
@pytest.mark.parametrize("name", FLAWED)
def test_what_is_offered_in_the_place_of_another_is_all_that_works(name: str) -> None:
    """Every contact in the place of every other one, really tried: the set offered is the set that works."""
    compare(name, 1, Sort.REPLACED)


WRONG = "GP is on and door_open and LV is neutral"
"""A permit that asks for the lever where it should ask for the relay: nothing runs, and nothing is broken."""


def test_a_wrong_contact_gives_way_to_the_right_one() -> None:
    """Taken out alone it would let what must not be happen: the relay is offered in its place, and what was not tried
    is counted."""
    found = mended(SOUND.replace("GP is on and door_open and fresh", WRONG), most=3, thorough=False)
    assert {one.instance.requirement.id for one in found.failing} == {"can-run-in", "can-run-out"}
    (mending,) = [one for one in found.mendings if one.sort is Sort.REPLACED]
    assert [part.done for part in mending.parts] == [
        "take out the contact 'LV is neutral'",
        "put the contact 'fresh' there",
    ]
    assert "GP is on and door_open and fresh" in mending.written.text
    (tried,) = [one for one in found.tried if one.sort is Sort.REPLACED]
    assert tried.works == 1
    assert tried.by_runs and found.runs
    assert tried.untried and not tried.is_exhausted


def test_the_wrong_contact_is_not_put_back_in_its_own_place() -> None:
    """Where all are to be settled, the contact that was taken out is none of those that may come there."""
    text = SOUND.replace("GP is on and door_open and fresh", WRONG)
    found = mended(text, sorts=(Sort.REMOVED, Sort.REPLACED))
    done = [[part.done for part in one.parts] for one in found.mendings]
    assert ["take out the contact 'LV is neutral'", "put the contact 'fresh' there"] in done


@pytest.mark.slow
def test_what_is_offered_works_and_others_do_not() -> None:
    """The same of some of them."""
    compare("a command that is always there", 7)


@pytest.mark.slow
def test_where_no_contact_does_that_is_said() -> None:
    """The latch has no switch that a contact could read: every contact is settled, and none is offered."""
    found = mended(FLAWED["an inhibit that never comes"], sorts=(Sort.CONTACT,))
    (tried,) = found.tried
    assert not found.mendings
    assert tried.is_exhausted
    assert tried.possible == tried.by_runs + tried.by_proof + tried.senseless + tried.useless > 0


def test_an_inhibit_is_put_where_nobody_wrote_one() -> None:
    """The zone has none towards the latch: the contact of its switch may stand there alone, as the file then says."""
    flawed = FLAWED["an inhibit that nobody wrote"]
    assert "inhibits" not in flawed
    texts = specification([row for row in ASKED if row[0] in ("not-onto-the-latch", "can-run-in", "can-run-out")])
    found = mended(flawed, texts, sorts=(Sort.CONTACT,))
    assert found.tried[0].is_exhausted
    assert ("zone.Z.right.inhibited", "or", (), "up") in offered_by(found)
    (mending,) = [one for one in found.mendings if "inhibit" in one.parts[0].item]
    assert [(one.item, one.done) for one in mending.parts] == [
        ("the right inhibit of doorway (Z)", "put the contact 'up' there")
    ]
    assert 'inhibits: {right: "up"}' in mending.written.text


def test_an_inhibit_that_nobody_wrote_means_nothing() -> None:
    """Written out, of the zone and of each of its bays, the hold is the same machine, up to what is never so."""
    text = (MODELS / "twin-lane.yaml").read_text()
    plain = load_hold(Source("hold.yaml", text.encode()), lambda name: None).value
    assert plain is not None
    written = inhibits_written(plain)
    assert written == inhibits_written(written) != plain
    wires = {wire.meaning: wire.syntax for wire in wires_of(written)}
    added = wires.keys() - {wire.meaning for wire in wires_of(plain)}
    assert added and all(wires[one] == Truth(False, wires[one].span) for one in added)
    first, second = compile_hold(plain).compiled, compile_hold(written).compiled
    assert first is not None and second is not None
    assert first.machine.rules == second.machine.rules
    assert first.machine.definitions == second.machine.definitions


def test_a_search_that_is_not_thorough_says_what_it_did_not_try() -> None:
    """Three are enough: the others that stop every known run are counted, and nothing is called exhausted."""
    found = mended(FLAWED["a command that is always there"], sorts=(Sort.CONTACT,), thorough=False, most=3)
    (tried,) = found.tried
    assert len(found.mendings) == 3
    assert tried.untried > 0
    assert not tried.is_exhausted


def contacts(found: Repair) -> set[tuple[str, str]]:
    """The contacts that are offered in the permit itself, and how they are joined."""
    return {(joint, contact) for name, joint, way, contact in offered_by(found) if name == "circuit.permit" and not way}


def test_can_always_is_asked() -> None:
    """A contact of the relay that never drops would do for all else: with it the drive runs no more, once it is set."""
    texts = specification(TRIPPING)
    offered = contacts(mended(TRIPPED, texts, sorts=(Sort.CONTACT,)))
    assert ("and", "not trip") in offered and ("and", "not seen") not in offered
    careless = TRIPPED.replace("GP is on and door_open", "GP is on and door_open and not seen")
    answers = verify(compiled_of(careless, texts), decide, Limits()).answers
    assert [a.instance.requirement.id for a in answers if a.status is Status.FAILS] == ["can-always-run-in"]


def test_what_leaves_a_hold_that_carries_nothing_is_no_repair() -> None:
    """Of seven contacts that work six leave the door shut for good: by stepping through all states of each hold.

    They are counted and not offered; where it is asked for that the door can be opened, they fail.
    """
    texts = specification([POWERED])
    compiled, found = compiled_of(DOOR, texts), mended(DOOR, texts, sorts=(Sort.CONTACT,))
    (tried,) = found.tried
    assert [(contacts_in(one), one.cost) for one in found.mendings] == [(["GP is on"], Cost())]
    contacts = contacts_both_ways(facts_of(compiled.hold))
    useless = 0
    for changed in (
        Addition(place, one).made_in(compiled.hold) for place in every_place(compiled.hold) for one in contacts
    ):
        made = compile_hold(changed, texts).compiled
        if made is not None and not reaches(
            made.machine, question_of(made.machine, made.machine.requirements[0]).target, ()
        ):
            useless += not any(reaches(made.machine, one.target, ()) for one in abilities_of(made).values())
    assert (tried.works, tried.useless) == (1, useless) == (1, 6)
    asked = mended(DOOR, specification([POWERED, CAN_OPEN]), sorts=(Sort.CONTACT,))
    assert [contacts_in(one) for one in asked.mendings] == [["GP is on"]]
    assert asked.tried[0].useless == 0


def test_what_a_change_takes_away_is_told_by_kind_and_bay() -> None:
    """With the door shut for good nothing is carried; where one kind of two no longer fits the other still is.

    A zone that runs one way no more is told too, although units can be pushed.
    """
    two = DOOR.replace("units:\n", "units:\n  - {id: LOW, name: low pallet, across: 1, along: 1}\n")
    found = verify(compiled_of(two, specification([POWERED])), decide, Limits())
    abilities = Abilities(Bench(found, decide, Limits()), Limits())
    half = next(one.name for one in found.compiled.hold.units if one.id == "HALF")
    ids = (
        "low pallet carried in 1C",
        f"{half} carried in 1C",
        "side door open",
        "doorway driving a unit left",
        "doorway driving a unit right",
    )
    assert set(abilities.runs) == set(ids)
    outwards_only = compiled_of(two.replace("right: SL is raised", "right: always"), specification([POWERED]))
    assert abilities.cost(outwards_only) == Cost((ids[-1],))
    assert abilities.cost(compiled_of(two, specification([POWERED]))).is_none
    one_kind = compiled_of(DOOR, specification([POWERED]))
    assert abilities.cost(one_kind) == Cost((ids[0],))
    shut = compiled_of(two.replace("opens: door_up", "opens: never"), specification([POWERED]))
    cost = abilities.cost(shut)
    assert (set(cost.lost), cost.unknown, cost.is_all) == (set(ids), (), True)


@pytest.mark.parametrize("asked", [[POWERED], [POWERED, CAN_OPEN]])
def test_what_stops_a_known_way_of_doing_something_is_tried_last(asked: list[tuple[str, str, str]]) -> None:
    """Asked for by a requirement or not: no other contact is put to proof before the one that costs nothing."""
    found = mended(DOOR, specification(asked), sorts=(Sort.CONTACT,), most=1, thorough=False)
    (tried,) = found.tried
    assert contacts_in(found.mendings[0]) == ["GP is on"]
    assert (tried.works, tried.by_proof, tried.senseless) == (1, 0, 0)


def test_of_two_contacts_neither_stops_what_must_be_possible() -> None:
    """With a permit without power as well: no pair is put to proof with which the door stays shut."""
    asked = [POWERED, ("powered", "never", "Z is running and not GP is on"), CAN_OPEN]
    text = DOOR.replace("GP is on and door_open", "door_open")
    found = mended(text, specification(asked), sorts=(Sort.CONTACT, Sort.PAIR), most=1, thorough=False)
    single, pairs = found.tried
    assert contacts_in(found.mendings[0]) == 2 * ["GP is on"]
    assert (single.works, pairs.works, pairs.by_proof) == (0, 1, 0)


def test_of_two_pairs_neither_need_be_the_nearer(monkeypatch: pytest.MonkeyPatch) -> None:
    """Pairs whose ranks come to the same are both tried; what is nearer stands before them."""
    stopped = {0: frozenset({0}), 1: frozenset({0}), 2: frozenset({1}), 3: frozenset({1})}
    search = Additions.__new__(Additions)
    search._bad = 2
    found = [(Choice(0, contact, frozenset()), some) for contact, some in stopped.items()]
    search._tables = SimpleNamespace(partial_choices=lambda required: iter(found))  # type: ignore[assignment]
    monkeypatch.setattr(Additions, "_order", lambda self, choice: (choice.contact,))
    pairs = [{one.contact, two.contact} for one, two in search._promising()]
    assert pairs[0] == {0, 2} and pairs[-1] == {1, 3}
    assert {0, 3} in pairs[1:3] and {1, 2} in pairs[1:3]


@pytest.mark.slow
def test_runs_only_exclude_what_does_not_work(monkeypatch: pytest.MonkeyPatch) -> None:
    """With no run against the candidates the same are offered, each after a proof of its own."""
    texts = specification(TRIPPING[:2])
    filtered = mended(TRIPPED, texts, sorts=(Sort.CONTACT,))
    monkeypatch.setattr(Tables, "add_bad", lambda self, run: 0)
    every = mended(TRIPPED, texts, sorts=(Sort.CONTACT,))
    assert every.tried[0].by_runs == 0 < filtered.tried[0].by_runs
    assert offered_by(filtered) == offered_by(every) != set()


def test_a_table_that_is_wrong_is_found_out(monkeypatch: pytest.MonkeyPatch) -> None:
    """With contacts taken to be made where they are open, what works is excluded: the comparison above would tell."""
    texts = specification([POWERED])
    sound = offered_by(mended(DOOR, texts, sorts=(Sort.CONTACT,)))
    made = Unfused.made
    monkeypatch.setattr(Unfused, "made", lambda self, state: (1 << 2 * len(self.facts)) - 1 & ~made(self, state))
    assert sound
    assert offered_by(mended(DOOR, texts, sorts=(Sort.CONTACT,))) != sound


def test_a_condition_that_nobody_wrote_has_neighbours() -> None:
    """Of a lever nobody says when it is reached: a linkage for it is as near, or as far, as any."""
    compiled = compiled_of(SOUND, asked())
    hold = replace(compiled.hold, controls=tuple(map(reachable, compiled.hold.controls)))
    near = Nearness(compiled.hold, compiled.floor, None)
    places = [one for one in linkages_of(hold) if one.wire.place == "reachable"]
    assert {near.of(place, fact) for place in places for fact in states_of(hold)} <= {2, 3}
    assert places
