"""Doors that somebody has to stand within reach of, as devices and controls are."""

from __future__ import annotations

from functools import cache

from interlock.hold.compile.compiler import CompiledHold
from interlock.hold.origin import Aspect, Condition, Work
from interlock.hold.sorts import Sort
from interlock.kernel.evaluator import State, is_enabled, successors
from interlock.kernel.expressions import Is
from interlock.kernel.machine import Actor
from interlock.study.checklist.goals import Reach
from interlock.study.checklist.making import NoChecklist, make_checklist
from interlock.study.walk import begin_walk
from tests.agreement.hold_texts import compile_file, compile_source, overlay

OUTSIDE = "  - {change: at_door, to: {reaches: [D1]}}\n"
INSIDE = "  - {change: in_bay_1, to: {reaches: [D1]}}\n"
PLACES = ("at_door", "in_bay_1")


@cache
def hold(changes: str) -> CompiledHold:
    """The single lane, in which a door within reach of one place is worked from there."""
    return compile_source(overlay("single-lane", changes)) if changes else compile_file("models/single-lane.yaml")


@cache
def states() -> frozenset[State]:
    """Some states of the hold in which the door can be worked from anywhere."""
    walk = begin_walk(hold(""))
    waiting = list(walk.starts)
    known = set(waiting)
    for state in waiting:
        for _, after in successors(walk.machine, state):
            if after not in known and len(known) < 800:
                known.add(after)
                waiting.append(after)
    return frozenset(known)


def worked_from(changes: str) -> dict[Aspect, set[str]]:
    """Where the one person can be while a step of the crew works the door, by what of it is worked: in each of the
    states, put to either place."""
    compiled, found = hold(changes), dict[Aspect, set[str]]()
    machine = begin_walk(compiled).machine
    assert machine.variables == begin_walk(hold("")).machine.variables
    where = machine.positions["person.P1.at"]
    for rule in machine.rules:
        deed = compiled.origins.deed_of(rule.name)
        if rule.actor is Actor.CREW and isinstance(deed, Work) and deed.subject.sort is Sort.DOOR:
            assert isinstance(deed.of, Condition)
            for state in states():
                for place in PLACES:
                    if is_enabled(machine, rule, (*state[:where], place, *state[where + 1 :])):
                        found.setdefault(deed.of.aspect, set()).add(place)
    return found


def everything(*places: str) -> dict[Aspect, set[str]]:
    return {aspect: set(places) for aspect in (Aspect.POSITION, Aspect.LATCH, Aspect.LOCK)}


def test_a_door_is_worked_by_hand_from_where_it_is_within_reach() -> None:
    """Its position, latch and lock alike, from no other place; one that no place lists from anywhere, as ever."""
    assert worked_from("") == everything(*PLACES)
    assert worked_from(OUTSIDE) == everything("at_door")
    assert worked_from(INSIDE) == everything("in_bay_1")


def test_reach_is_named_where_it_keeps_a_door_shut() -> None:
    """From inside alone a shut door is opened by nobody who is outside; that is told as what hinders it."""
    made = make_checklist(hold(INSIDE), Reach("D1 is open", Is("door.D1.position", "open")))
    assert isinstance(made, NoChecklist) and made.why is not None
    told = {one.text for way in made.why.ways for one in way.hindrances}
    assert "side door can be reached only in bay 1C" in told
