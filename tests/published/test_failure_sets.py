"""Published smallest sets of failures, as static formulas and as runs, through the same engine and check as a hold."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from itertools import combinations
from math import comb

import pytest

from interlock.confirm.failures import confirm_sets
from interlock.kernel.expressions import Expr, Is, conj, disj
from interlock.kernel.failures import KnownSets
from interlock.kernel.machine import Actor, Machine, Question, Rule, Variable
from interlock.prove.failures.sets import smallest_sets

Sets = Collection[Collection[str]]


def failed(name: str) -> Expr:
    return Is(name, True)


def machine_of(failures: Sequence[str], steps: Mapping[str, Expr]) -> Machine:
    """A machine in which each of these steps, once the failures allow it, brings its own fact about for good."""
    strikes = [Rule(f"{name} strikes", Actor.FAILURE, Is(name, False), ((name, True),)) for name in failures]
    others = [Rule(name, Actor.PLANT, guard, ((name, True),)) for name, guard in steps.items()]
    variables = [Variable(name, (False, True), (False,)) for name in (*failures, *steps)]
    return Machine(tuple(variables), (), (*strikes, *others))


def found(machine: Machine, target: Expr, most: int) -> set[frozenset[str]]:
    """The smallest sets of at most so many, confirmed to be all."""
    question = Question("top", target)
    claims = smallest_sets(machine, [question], most)
    (finding,) = confirm_sets(machine, [question], claims)
    assert isinstance(finding, KnownSets)
    assert finding.complete == most
    assert not finding.claim.open
    return set(map(frozenset, finding.claim.sets))


def sets_of(*words: str) -> set[frozenset[str]]:
    return {frozenset(word.split()) for word in words}


def test_bridge() -> None:
    """Five components, 3 across: cut sets 1 4, 2 5, 1 3 5, 2 3 4 (a textbook exercise, from memory; recomputed)."""
    paths = [("1", "2"), ("4", "5"), ("1", "3", "5"), ("4", "3", "2")]
    cut = conj(*(disj(*map(failed, path)) for path in paths))
    parts = ["1", "2", "3", "4", "5"]
    wanted = sets_of("1 4", "2 5", "1 3 5", "2 3 4")
    assert found(machine_of(parts, {}), cut, 3) == wanted
    # the same as runs: what is cut stays cut, one path after the other
    steps = {f"path {'-'.join(path)} is cut": disj(*map(failed, path)) for path in paths}
    assert found(machine_of(parts, steps), conj(*(Is(name, True) for name in steps)), 3) == wanted


def test_pressure_tank() -> None:
    """T, K2, S S1, S K1, S R (Fault Tree Handbook NUREG-0492, 1981, chapter VIII; its structure from memory)."""
    timer = {"pump runs on": disj(failed("K2"), conj(failed("S"), Is("supplied", True)))}
    steps = {"supplied": disj(failed("S1"), failed("K1"), failed("R")), **timer}
    machine = machine_of(["T", "K2", "S", "S1", "K1", "R"], steps)
    target = disj(failed("T"), Is("pump runs on", True))
    assert found(machine, target, 2) == sets_of("T", "K2", "S S1", "S K1", "S R")


def test_a_textbook_trap() -> None:
    """(w1+b1)(w2+b2)(w3+b3)(w4+b4) b3 b4 has four smallest sets, by algebra; an exercise prints twelve."""
    top = conj(*(disj(failed(f"w{at}"), failed(f"b{at}")) for at in range(1, 5)), failed("b3"), failed("b4"))
    parts = [f"{kind}{at}" for at in range(1, 5) for kind in "wb"]
    wanted = {frozenset({one, two, "b3", "b4"}) for one in ("w1", "b1") for two in ("w2", "b2")}
    assert found(machine_of(parts, {}), top, 4) == wanted


@pytest.mark.parametrize(
    ("edges", "wanted"),
    [
        # the example of a text on hypergraph dualisation, source not at hand
        (["2 4 7", "7 8", "9", "9 10"], ["7 9", "4 8 9", "2 8 9"]),
        # the Fano plane: its own seven lines (mathematics)
        (["1 2 3", "1 4 5", "1 6 7", "2 4 6", "2 5 7", "3 4 7", "3 5 6"],) * 2,
    ],
)
def test_hitting_sets(edges: list[str], wanted: list[str]) -> None:
    """What meets every set of a family: as many smallest ones as published."""
    parts = sorted({part for edge in edges for part in edge.split()})
    top = conj(*(disj(*map(failed, edge.split())) for edge in edges))
    assert found(machine_of(parts, {}), top, 3) == sets_of(*wanted)


def test_disjoint_pairs_and_all_subsets() -> None:
    """n/2 disjoint pairs have 2^(n/2) smallest meeting sets, all k-subsets of n have C(n, n-k+1) (mathematics)."""
    pairs = [(f"a{at}", f"b{at}") for at in range(4)]
    top = conj(*(disj(*map(failed, pair)) for pair in pairs))
    assert len(found(machine_of([part for pair in pairs for part in pair], {}), top, 4)) == 2**4
    parts = [f"p{at}" for at in range(6)]
    top = conj(*(disj(*map(failed, some)) for some in combinations(parts, 4)))
    assert len(found(machine_of(parts, {}), top, 3)) == comb(6, 3)


@pytest.mark.parametrize("lanes", [2, 6, 12])
def test_lanes_apart(lanes: int) -> None:
    """Of n lanes, each brought down by w, by sa sb or by sa ov, n sets have one member and 2 n two (closed form)."""
    failures, steps, tops = [], {}, []
    for at in range(lanes):
        w, sa, sb, ov = (f"{name}{at}" for name in ("w", "sa", "sb", "ov"))
        failures += [w, sa, sb, ov]
        steps[f"alarm {at} silent"] = failed(sa)
        steps[f"lane {at} down"] = disj(failed(w), conj(Is(f"alarm {at} silent", True), disj(failed(sb), failed(ov))))
        tops.append(Is(f"lane {at} down", True))
    sets = found(machine_of(failures, steps), disj(*tops), 2)
    assert [sum(len(one) == size for one in sets) for size in (1, 2)] == [lanes, 2 * lanes]
