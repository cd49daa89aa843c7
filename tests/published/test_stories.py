"""The oven, the pressure tank, the door with a handle and the counter: what the table of rows cannot say."""

from __future__ import annotations

from itertools import combinations, pairwise

import networkx as nx

from interlock.kernel.evaluator import State
from interlock.kernel.expressions import Is, conj
from interlock.kernel.machine import Requirement, question_of
from tests.some import some

from . import stories
from .graphs import explore

OVEN_SOURCE = "Clarke, Grumberg, Peled, Model Checking, MIT Press 1999, pp. 38-49 [read second hand]"
NUMBER: dict[State, int] = {labels: number for number, labels in stories.OVEN_STATES.items()}


def _oven_graph() -> nx.DiGraph[int]:
    return nx.DiGraph((NUMBER[one], NUMBER[two]) for one, two in explore(stories.microwave()).graph.edges())


def _labelled(label: str) -> set[int]:
    at = stories.OVEN_LABELS.index(label)
    return {number for number, labels in stories.OVEN_STATES.items() if labels[at]}


def _for_ever_within(graph: nx.DiGraph[int], allowed: set[int]) -> set[int]:
    """States with an infinite run inside `allowed`: those that reach a cycle of it."""
    inside = graph.subgraph(allowed)
    on_cycles = {node for part in nx.strongly_connected_components(inside) if _cycles(inside, part) for node in part}
    return on_cycles | {node for goal in on_cycles for node in nx.ancestors(inside, goal)}


def _cycles(graph: nx.DiGraph[int], part: set[int]) -> bool:
    return len(part) > 1 or any(graph.has_edge(node, node) for node in part)


def _can_come_to(graph: nx.DiGraph[int], goals: set[int]) -> set[int]:
    return goals | {node for goal in goals for node in nx.ancestors(graph, goal)}


def test_oven_depths() -> None:
    """States 2, 3 lie one step from the start, 5, 6 two, 7 three, 4 four [recomputed]."""
    depths = {NUMBER[state]: depth for state, depth in explore(stories.microwave()).depth.items()}
    assert depths == {1: 0, 2: 1, 3: 1, 5: 2, 6: 2, 7: 3, 4: 4}, OVEN_SOURCE


def test_oven_reachability_properties() -> None:
    """From every state heat can come about; heat only while closed and never in error, in all seven states."""
    graph = _oven_graph()
    everything = set(range(1, 8))
    heat, close, error = _labelled("heat"), _labelled("close"), _labelled("error")
    assert _can_come_to(graph, heat) == everything, OVEN_SOURCE
    assert everything - _can_come_to(graph, heat - close) == everything
    assert everything - _can_come_to(graph, heat & error) == everything


def test_oven_liveness_properties() -> None:
    """The sets for 'heat for ever', 'heat at last' and 'start leads to heat' are as published.

    These are properties of infinite runs, not a kind of requirement of ours: checked on the graph alone.
    """
    graph = _oven_graph()
    everything = set(range(1, 8))
    heat, start = _labelled("heat"), _labelled("start")
    assert _for_ever_within(graph, heat) == {4, 7}, OVEN_SOURCE
    cold_for_ever = _for_ever_within(graph, everything - heat)
    assert everything - cold_for_ever == {4, 6, 7}, OVEN_SOURCE
    # from every state one can come to a started oven that stays cold for ever, so 'start leads to heat' holds in none
    assert _can_come_to(graph, start & cold_for_ever) == everything, OVEN_SOURCE


def test_oven_lasso_and_fairness() -> None:
    """The published counterexample 1-2-5-2... is a run; with a user who does not always err there is none left."""
    graph = _oven_graph()
    assert all(graph.has_edge(one, two) for one, two in pairwise((1, 2, 5, 2)))
    heat = _labelled("heat")
    assert not {2, 5} & heat
    # fair: started, closed and not in error again and again
    proper = _labelled("start") & _labelled("close") - _labelled("error")
    cold = graph.subgraph(set(range(1, 8)) - heat)
    fair_and_cold = [p for p in nx.strongly_connected_components(cold) if _cycles(cold, p) and p & proper]
    assert proper == {6, 7}
    assert fair_and_cold == []


# NUREG-0492 (1981), chapters VIII and XI, pressure tank [memory]: {T} {K2} {S,S1} {S,K1} {S,R}
TANK_CUT_SETS = {frozenset(cut) for cut in ({"T"}, {"K2"}, {"S", "S1"}, {"S", "K1"}, {"S", "R"})}


def _ruptures(faults: frozenset[str]) -> bool:
    machine = stories.pressure_tank(faults)
    return explore(machine).shortest(question_of(machine, machine.requirements[0]).target) is not None


def test_pressure_tank_minimal_cut_sets() -> None:
    """Over all 64 sets of faults the rupture is reachable exactly where a published minimal cut set strikes."""
    subsets = [frozenset(some) for size in range(7) for some in combinations(stories.TANK_FAULTS, size)]
    ruptures = {faults for faults in subsets if _ruptures(faults)}
    minimal = {faults for faults in ruptures if not any(other < faults for other in ruptures)}
    assert len(subsets) == 64
    assert minimal == TANK_CUT_SETS
    assert ruptures == {faults for faults in subsets if any(cut <= faults for cut in TANK_CUT_SETS)}


def test_sound_pressure_tank_works() -> None:
    """Without faults the tank is filled and stops at full: the safe verdict is not that of a dead machine."""
    reach = explore(stories.pressure_tank(()))
    assert reach.satisfying(Is("level", "full"))
    assert not reach.satisfying(Is("level", "overdue"))


def test_timer_matters_only_after_the_switch_failed() -> None:
    """A stuck pressure switch alone brings the level to overdue, where the timer still saves the tank."""
    reach = explore(stories.pressure_tank({"S"}))
    assert reach.satisfying(Is("level", "overdue"))
    assert not reach.satisfying(Is("level", "burst"))


def test_a_handle_without_interlock_goes_home_over_latches_that_are_off() -> None:
    """Without the interlock the door can look shut and locked though nothing is latched."""
    looks_locked = conj(Is("handle", "home"), Is("door", "shut"))
    unlatched = conj(looks_locked, Is("latches", "unlatched"))
    assert explore(stories.door_with_handle(False)).satisfying(unlatched)
    assert explore(stories.door_with_handle(True)).satisfying(looks_locked)
    assert not explore(stories.door_with_handle(True)).satisfying(unlatched)


def test_both_doors_can_be_locked() -> None:
    """The interlocked door is not safe by being unable to shut: both reach shut, latched, locked."""
    for interlocked in (True, False):
        machine = stories.door_with_handle(interlocked)
        for requirement in some(machine.requirements[2:]):
            assert explore(machine).shortest(question_of(machine, requirement).target) is not None, requirement.id


def _requirement(requirements: tuple[Requirement, ...], name: str) -> Requirement:
    return next(r for r in requirements if r.id == name)


def test_counter_flag_is_harmless_until_it_wraps() -> None:
    """Each of the first 255 passes is checked; only the wrap of the counter lets it run with the guard away."""
    machine = stories.counter_flag()
    reach = explore(machine)
    bad: list[State] = reach.satisfying(_requirement(machine.requirements, "runs with the guard away").condition)
    assert {state[0] for state in bad} == {0}
    shorter = stories.counter_flag(16)
    assert explore(shorter).shortest(shorter.requirements[0].condition) == 17
