"""The plain count of what a departure leads to, against a telling of its definition by reachability alone."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from itertools import combinations_with_replacement, permutations
from random import Random
from time import monotonic

import pytest

from interlock.confirm.consequences import MISSED, Track, Watched, count_consequences, stopped_at
from interlock.kernel.evaluator import State
from interlock.kernel.expressions import Expr, Is, Value
from interlock.kernel.machine import Actor, Machine, Rule, Variable

from .machines_confirm import a_machine, an_expr, atoms_of, true_in, world_of

Edge = tuple[State, str, State]


def a_track(rng: Random) -> Track:
    """Any machine, some of its rules departures, some things watched, some places ends."""
    machine = a_machine(rng)
    atoms = atoms_of(machine)
    names = [rule.name for rule in machine.rules]
    place = rng.choice(machine.variables)
    watched = {
        f"w{n}": Watched(
            an_expr(rng, atoms), None if rng.random() < 0.5 else frozenset(rng.sample(names, len(names) // 2))
        )
        for n in range(3)
    }
    ends: dict[Value, Expr | None] = {
        value: None if rng.random() < 0.4 else an_expr(rng, atoms) for value in place.domain if rng.random() < 0.4
    }
    departures = {name: rng.choice(("slip", "fault")) for name in names if rng.random() < 0.4}
    return Track(machine, place.name, departures, watched, ends, 2)


def edges_of(machine: Machine) -> list[Edge]:
    """Every step of the machine, reachable or not."""
    found = []
    for state in world_of(machine).states:
        for rule in machine.rules:
            if true_in(machine, rule.guard, state):
                after = dict(zip((v.name for v in machine.variables), state, strict=True)) | dict(rule.update)
                found.append((state, rule.name, tuple(after.values())))
    return found


def from_these(states: Iterable[State], edges: Iterable[Edge]) -> set[State]:
    """All states to which these edges lead from these states, themselves included."""
    seen, listed = set(states), list(edges)
    while more := {after for state, _, after in listed if state in seen} - seen:
        seen |= more
    return seen


Leading = dict[str, frozenset[tuple[str, ...]]]


def told(track: Track) -> tuple[int, dict[str, set[str]], Leading]:
    """The states, what comes of each label and which choices of labels lead where, as the definitions say."""
    machine, edges = track.machine, edges_of(track.machine)
    at = [v.name for v in machine.variables].index(track.place)
    usual = [edge for edge in edges if edge[1] not in track.departures]
    away = [edge for edge in edges if edge[1] in track.departures]

    def amiss(state: State) -> set[str]:
        here = state[at]
        within = from_these([state], [e for e in usual if e[0][at] == e[2][at] == here])
        if here not in track.ends:
            goes_on = any(e[0] in within and e[2][at] != here for e in usual)
            return set() if goes_on else {stopped_at(here)}
        wanted = track.ends[here]
        if wanted is None:
            return {stopped_at(here)}
        return set() if any(true_in(machine, wanted, s) for s in within) else {MISSED}

    def bad(state: State, rule: str | None) -> set[str]:
        return {
            name
            for name, w in track.watched.items()
            if true_in(machine, w.bad, state) and (w.steps is None if rule is None else rule in (w.steps or ()))
        }

    def comes_of(state: State) -> set[str]:
        later = from_these([state], usual)
        on_the_way = [bad(s, r) for s, r, _ in usual if s in later]
        return set().union(*on_the_way, *(bad(s, None) | amiss(s) for s in later))

    def meets(choice: tuple[str, ...]) -> set[str]:
        """What is met on runs on which exactly these departures fire, in some order."""
        met: set[str] = set()
        for order in set(permutations(choice)):
            states = from_these(world_of(machine).initial, usual)
            for label in order:
                those = [e for e in away if e[0] in states and track.departures[e[1]] == label]
                last = [bad(s, r) for s, r, _ in those]
                states = from_these([after for _, _, after in those], usual)
            met |= set().union(*(bad(s, None) for s in states), *(bad(s, r) for s, r, _ in usual if s in states))
            met |= set().union(*last) if order else set()
        return met

    layer = from_these(world_of(machine).initial, usual)
    of: dict[str, set[str]] = {}
    for state, rule, after in away:
        if state in layer:
            of.setdefault(track.departures[rule], set()).update(bad(state, rule), comes_of(after))
    seen = set(layer)
    for _ in range(track.together):
        layer = from_these([after for state, _, after in away if state in layer], usual)
        seen |= layer
    leads = {name: smallest(choice for choice in choices(track) if name in meets(choice)) for name in track.watched}
    return len(seen), of, {name: found for name, found in leads.items() if found}


def choices(track: Track) -> list[tuple[str, ...]]:
    """Every sorted choice of up to so many labels."""
    labels = sorted(set(track.departures.values()))
    return [one for size in range(track.together + 1) for one in combinations_with_replacement(labels, size)]


def smallest(those: Iterable[tuple[str, ...]]) -> frozenset[tuple[str, ...]]:
    """Those that are no more than another with something added."""
    counted = {one: Counter(one) for one in those}
    return frozenset(one for one in counted if not any(o != one and counted[o] <= counted[one] for o in counted))


@pytest.mark.parametrize("part", range(4))
def test_count_is_what_the_definition_says(part: int) -> None:
    """On random machines the states, what comes of each departure and which of them lead where are as defined."""
    for seed in range(60 * part, 60 * part + 60):
        track = a_track(Random(seed))
        states, of, leading = told(track)
        counted = count_consequences(track)
        assert not counted.stopped
        assert counted.states == states and counted.of == of and counted.leading == leading, seed


def test_random_tracks_are_not_trivial() -> None:
    """Among them are departures with and without consequences of each kind, and things that need two departures."""
    drawn = [told(a_track(Random(seed))) for seed in range(240)]
    marks = [mark for _, of, _ in drawn for found in of.values() for mark in found]
    assert marks.count(MISSED) > 5
    assert sum(mark.startswith("stopped at") for mark in marks) > 20
    assert sum(mark in ("w0", "w1", "w2") for mark in marks) > 20
    assert sum(not found for _, of, _ in drawn for found in of.values()) > 3
    sets = [one for _, _, leading in drawn for found in leading.values() for one in found]
    assert all(sum(len(one) == number for one in sets) > 2 for number in (0, 1, 2))
    assert sum(one == ("slip", "slip") for one in sets) > 1 and ("fault", "slip") in sets


def test_count_that_ends_early_says_why() -> None:
    """More states than allowed, or no time left, gives a reason and no result; exactly as many is enough."""
    rules = tuple(Rule(f"up{n}", Actor.CREW, Is("n", n), (("n", n + 1),)) for n in range(4))
    machine = Machine((Variable("n", (0, 1, 2, 3, 4), (0,)),), (), rules)
    track = Track(machine, "n", {}, {"far": Watched(Is("n", 4), None)}, {4: None}, 0)
    short = count_consequences(track, most=4)
    assert short.stopped == "more than 4 points in the procedure" and not short.of and not short.leading
    assert count_consequences(track, most=5).leading == {"far": {()}}
    late = count_consequences(track, deadline=monotonic() - 1)
    assert late.stopped == "out of time" and not late.of and not late.leading
    assert count_consequences(track, deadline=monotonic() + 1e6).states == 5
