"""Long random walks over the demonstration holds: what must be true of every state whatever is done."""

from __future__ import annotations

import random
from collections import Counter
from functools import cache

import pytest

from interlock.hold.compile.compiler import CompiledHold
from interlock.hold.floor import Move, Placement
from interlock.hold.kinds import DEVICE_KINDS, DOOR_KINDS
from interlock.kernel.claims import Refuted
from interlock.kernel.evaluator import State, evaluate, fire, is_enabled
from interlock.kernel.expressions import TRUE, Expr, Value
from interlock.kernel.machine import Machine, Question, Rule
from interlock.prove.core.packing import Packing, compile_enabled
from interlock.prove.search.guided import guided
from tests.agreement.hold_texts import SOUND, compile_file
from tests.some import some, swept, telling

STEPS = 1_000
SEEDS = (1, 2)
FAVOUR = {"unit": 12.0, "supply": 0.3}
"""Units keep going where they can and power mostly stays: left to chance alone, hardly anything would ever move."""
AIMS = {
    "single-lane": (("4C", "HALF"), ("2C", "HALF")),
    "twin-lane": (("6L", "HALF"), ("4R", "WIDE"), ("3R", "HALF")),
    "main-deck": (("7R", "LONG"), ("2L", "SHORT"), ("5L", "LONG")),
}
"""Loads that later parts of a walk are led to, because chance would not get there."""


@cache
def demonstration(name: str) -> tuple[CompiledHold, Machine]:
    compiled = compile_file(f"models/{name}.yaml")
    return compiled, compiled.machine


def class_of(rule: Rule) -> str:
    """What sort of thing happens: `unit depart driven`, `door start_opening`, `device raise`, ..."""
    words = rule.name.partition(" + ")[0].split(".")
    if words[0] == "unit":
        return f"unit {words[-2]} {words[-1]}"
    if words[0] == "loader":
        return f"loader {words[-1]}"
    if words[0] == "person":
        return "person go"
    triggers = [word for word in words[2:] if word not in ("latch", "lock") or words[-1] == word]
    return f"{words[0]} {triggers[0].split('_')[0]}"


@cache
def walk(name: str, seed: int) -> tuple[tuple[State, ...], tuple[Rule | None, ...]]:
    """A run from the start and one from the end of a run to each aim, drawn sort by sort, then step by step.

    The rule that led to each state, None where a new run starts.
    """
    compiled, machine = demonstration(name)
    by_name = {rule.name: rule for rule in machine.rules}
    enabled = compile_enabled(packing := Packing(machine))
    choice = random.Random(seed)
    states: list[State] = []
    rules: list[Rule | None] = []
    done: Counter[str] = Counter()
    aims = [TRUE, *(compiled.world.things[bay].states[kind] for bay, kind in AIMS[name])]
    for aim in aims:
        (claim,) = guided(machine, [Question("aim", aim)])
        assert isinstance(claim, Refuted), aim
        states += claim.trace.states
        rules += [None, *(by_name[rule] for rule in claim.trace.rules)]
        done.update(class_of(by_name[rule]) for rule in claim.trace.rules)
        state = states[-1]
        for _ in range(STEPS):
            by_class: dict[str, list[Rule]] = {}
            for at in enabled(packing.pack(state)):
                by_class.setdefault(class_of(machine.rules[at]), []).append(machine.rules[at])
            sorts = sorted(by_class)
            # what happened less often is likelier
            weights = [FAVOUR.get(sort.split()[0], 1.0) / (1 + done[sort]) ** 0.5 for sort in sorts]
            sort = choice.choices(sorts, weights)[0]
            rule = choice.choice(by_class[sort])
            done[sort] += 1
            state = fire(machine, rule, state)
            states.append(state)
            rules.append(rule)
    return tuple(states), tuple(rules)


EVERYWHERE = tuple((name, seed) for name in SOUND for seed in SEEDS)


def value(machine: Machine, state: State, name: str) -> Value:
    return state[machine.positions[name]]


def standing_units(compiled: CompiledHold, machine: Machine, state: State) -> list[Placement]:
    """The units that stand somewhere whole: every part in its cell."""
    return [
        placement
        for placement in compiled.floor.placements
        if all(
            value(machine, state, f"bay.{cell}.holds") == part
            for cell, part in zip(placement.cells, placement.parts, strict=True)
        )
    ]


def crossing_units(compiled: CompiledHold, machine: Machine, state: State) -> list[Move]:
    """The units on their way: one move for each, whichever way it goes."""
    found: dict[str, Move] = {}
    for move in compiled.floor.moves:
        if all(value(machine, state, f"face.{face}.crossing") == part for face, part in move.crossed):
            found[move.passage] = move
    return list(found.values())


@pytest.mark.parametrize(("name", "seed"), telling(EVERYWHERE, ("single-lane", 1), ("twin-lane", 1)))
def test_units_are_whole_apart_and_conserved(name: str, seed: int) -> None:
    """Every part that is anywhere belongs to exactly one unit, at rest or on its way; a unit on its way leaves the
    cells at both ends of its way empty; the number of units changes only when one is brought or taken away, by one.
    """
    compiled, machine = demonstration(name)
    holds = [f"bay.{cell}.holds" for cell in compiled.floor.cells if f"bay.{cell}.holds" in machine.positions]
    ways = [variable.name for variable in machine.variables if variable.name.endswith(".crossing")]
    before: int | None = None
    states, rules = walk(name, seed)
    for state, rule in some(zip(states, rules, strict=True)):
        at_rest = standing_units(compiled, machine, state)
        on_way = crossing_units(compiled, machine, state)
        cells = Counter(f"bay.{cell}.holds" for placement in at_rest for cell in placement.cells)
        faces = Counter(f"face.{face}.crossing" for move in on_way for face, _ in move.crossed)
        assert cells == {cell: 1 for cell in holds if value(machine, state, cell) != "empty"}
        assert faces == {way: 1 for way in ways if value(machine, state, way) != "none"}
        for move in on_way:
            assert not any(cells[f"bay.{cell}.holds"] for cell in move.cells)
        number = len(at_rest) + len(on_way)
        if rule is not None and before is not None:
            assert number - before == {"loader bring": 1, "loader take_away": -1}.get(class_of(rule), 0)
        before = number


@pytest.mark.parametrize(("name", "seed"), swept(EVERYWHERE, 2))
def test_every_thing_is_in_exactly_one_of_its_states(name: str, seed: int) -> None:
    """Devices, doors with latch and lock, controls, supplies, relays, people."""
    compiled, machine = demonstration(name)
    things = compiled.world.things
    groups: list[list[Expr]] = [
        [things[device.id].states[state] for state in DEVICE_KINDS[device.kind].states]
        for device in compiled.hold.devices
    ]
    for door in some(compiled.hold.doorways):
        states = things[door.id].states
        groups.append([states[word] for word in DOOR_KINDS[door.moved_by].states])
        groups += [[states["latched"], states["unlatched"]], [states["locked"], states["unlocked"]]]
    for control in compiled.hold.controls:
        words = [w for w in things[control.id].states if w != "held"]
        groups.append([things[control.id].states[word] for word in words])
    groups += [[things[s.id].states["off"], things[s.id].states["on"]] for s in compiled.hold.supplies]
    groups += [[things[r.id].states["energised"], things[r.id].states["released"]] for r in compiled.hold.relays]
    groups += [[things[p.id].states[place] for place in p.places] for p in compiled.hold.people]
    for state in walk(name, seed)[0][::5]:
        for group in groups:
            assert sum(evaluate(machine, expr, state) for expr in group) == 1


@pytest.mark.parametrize(("name", "seed"), swept(EVERYWHERE, 2))
def test_the_mechanism_is_at_rest_and_nothing_stands_under_a_unit(name: str, seed: int) -> None:
    """After every step handles and relays have settled (the condition on starting), and what a unit is over is down."""
    compiled, machine = demonstration(name)
    devices = [compiled.world.things[d.id] for d in compiled.hold.devices if not d.kind.startswith("fixed")]
    covered = 0
    for state in walk(name, seed)[0]:
        assert evaluate(machine, machine.start, state)
        for device in devices:
            if evaluate(machine, device.states["covered"], state):
                covered += 1
                assert not evaluate(machine, device.states["standing"], state), device.id
    assert covered > 20


@pytest.mark.parametrize("name", SOUND)
def test_the_start_condition_is_not_empty_where_there_is_mechanism(name: str) -> None:
    """Rest means something: some setting of the variables is not at rest."""
    compiled, machine = demonstration(name)
    assert compiled.hold.relays
    state = walk(name, SEEDS[0])[0][0]
    relay = compiled.hold.relays[0].id
    at = machine.positions[f"relay.{relay}.state"]
    disturbed = [(*s[:at], other, *s[at + 1 :]) for s in walk(name, 1)[0][:200] for other in ("energised", "released")]
    assert any(not evaluate(machine, machine.start, one) for one in disturbed)
    assert evaluate(machine, machine.start, state)


@pytest.mark.parametrize(("name", "seed"), swept(EVERYWHERE, 2))
def test_the_walk_is_one_of_the_reference_evaluator(name: str, seed: int) -> None:
    """The compiled guards that the walk was drawn with agree with the evaluator in a sample of states."""
    _, machine = demonstration(name)
    packing = Packing(machine)
    enabled = compile_enabled(packing)
    for state in some(walk(name, seed)[0][::150]):
        fast = {machine.rules[at].name for at in enabled(packing.pack(state))}
        assert fast == {rule.name for rule in machine.rules if is_enabled(machine, rule, state)}


@pytest.mark.parametrize("name", telling(SOUND, "single-lane", "twin-lane"))
def test_the_walks_are_not_trivial(name: str) -> None:
    """Everything of every sort that the hold can do was done, and many units were there at once."""
    compiled, machine = demonstration(name)
    done = {class_of(rule) for seed in SEEDS for rule in walk(name, seed)[1] if rule is not None}
    assert done == {class_of(rule) for rule in machine.rules}
    most = max(len(standing_units(compiled, machine, state)) for state in walk(name, SEEDS[0])[0][::20])
    assert most >= 2
    assert len({state for state in walk(name, SEEDS[0])[0]}) > STEPS
