"""The engines that prove: every goal that is never reached, with a certificate that a second solver accepts."""

from __future__ import annotations

from itertools import combinations

import pytest

from interlock.confirm.confirm import confirm
from interlock.kernel.claims import Claim, Fails, Holds, Limits, Proved, Refuted, Unknown
from interlock.kernel.machine import Machine, Question, question_of
from interlock.prove.decide import decide
from interlock.prove.frames.pdr import pdr
from interlock.prove.invariants.k_induction import k_induction
from interlock.prove.search.bmc import bmc
from interlock.prove.search.guided import guided
from tests.some import swept

from . import stories
from .row import Row
from .test_engines import GOALS, NEVER_REACHED, REACHED, question_in
from .test_stories import TANK_CUT_SETS

OUT_OF_REACH = {"tray 2 by 4", "tray 3 by 3 from a corner", "tray 3 by 3 from the centre"}
"""Parity of permutations: no invariant that these engines could write down; left to the explicit engine."""

LONG = {"couples 6, boat 3, no way", "tray 2 by 3"}
"""Seconds each: marked slow."""

DECIDED = [
    pytest.param(row, id=row.name, marks=[pytest.mark.slow] if row.name in LONG else [])
    for row in GOALS
    if row.name not in OUT_OF_REACH and not (row.large and row.shortest is not None)
]


MOST_K = 17
"""What the two-process turn needs (measured, not published)."""

OPEN_TO_INDUCTION = {"couples 4, boat 2, no way"}
"""Long runs from unreachable states avoid the goal: not proved with k of at most 17."""

SLOW_TO_INDUCTION = {"missionaries 6, boat 3, no way", "flag set, not counted"}
"""Seconds each: marked slow."""

INDUCTIVE = [
    pytest.param(row, id=row.name, marks=[pytest.mark.slow] if row.name in SLOW_TO_INDUCTION else [])
    for row in NEVER_REACHED
    if row.name not in OUT_OF_REACH | LONG and not row.large
]


def assert_as_published(row: Row, machine: Machine, question: Question, claim: Claim) -> None:
    """The claim decides as published, in no fewer steps, and its evidence is confirmed."""
    (finding,) = confirm(machine, (question,), (claim,))
    if row.shortest is None:
        assert isinstance(claim, Proved), claim
        assert claim.certificate is not None or claim.diagram is not None or claim.states is not None
        assert isinstance(finding, Holds), finding
    else:
        assert isinstance(claim, Refuted), claim
        assert claim.trace.depth >= row.shortest, row.source
        assert not claim.shortest or claim.trace.depth == row.shortest, row.source
        assert isinstance(finding, Fails), finding


@pytest.mark.parametrize("row", swept(DECIDED, 6))
def test_reachability_engine_decides_as_published(row: Row) -> None:
    """Property-directed reachability proves or refutes each goal as published; its evidence is confirmed."""
    machine, question = question_in(row)
    (claim,) = pdr(machine, (question,))
    assert_as_published(row, machine, question, claim)
    assert not isinstance(claim, Proved) or claim.certificate is not None


@pytest.mark.parametrize("row", swept(DECIDED, 2))
def test_default_strategy_decides_as_published(row: Row) -> None:
    """The default strategy decides each goal as published, in the fewest steps; its evidence is confirmed."""
    machine, question = question_in(row)
    (claim,) = decide(machine, (question,))
    assert_as_published(row, machine, question, claim)
    assert not isinstance(claim, Refuted) or claim.trace.depth == row.shortest, row.source


@pytest.mark.parametrize("row", swept(INDUCTIVE, 3))
def test_k_induction_proves_what_is_never_reached(row: Row) -> None:
    """k-induction proves each goal that is never reached, with k of at most 17, and refutes none."""
    machine, question = question_in(row)
    (claim,) = k_induction(machine, (question,), Limits(depth=MOST_K))
    if row.name in OPEN_TO_INDUCTION:
        assert isinstance(claim, Unknown), claim
        assert claim.depth == MOST_K
    else:
        assert_as_published(row, machine, question, claim)
        assert isinstance(claim, Proved) and claim.certificate is not None and claim.certificate.k <= MOST_K


def test_guided_search_is_never_shorter_than_published() -> None:
    """Guided search finds a run to more than nine goals in ten, none shorter than published; every run replays."""
    small = [row for row in REACHED if not row.large]
    found = 0
    for row in small:
        machine, question = question_in(row)
        (claim,) = guided(machine, (question,))
        if not isinstance(claim, Unknown):
            assert_as_published(row, machine, question, claim)
            found += 1
    assert found > len(small) * 9 // 10


def test_table_gives_the_proving_engines_work() -> None:
    """More than forty goals of the table are never reached and within reach of a proof."""
    assert len([row for row in NEVER_REACHED if row.name not in OUT_OF_REACH]) > 40


def _tank(faults: frozenset[str]) -> tuple[Machine, Question]:
    machine = stories.pressure_tank(faults)
    return machine, question_of(machine, machine.requirements[0])


@pytest.mark.parametrize("faults", sorted("+".join(sorted(cut)) for cut in TANK_CUT_SETS))
def test_published_cut_sets_are_minimal(faults: str) -> None:
    """Each published cut set bursts the tank; with any one of its faults taken away the tank is proved safe.

    NUREG-0492, pressure tank [memory].
    """
    cut = frozenset(faults.split("+"))
    machine, question = _tank(cut)
    claims = bmc(machine, (question,))
    assert isinstance(claims[0], Refuted)
    assert isinstance(confirm(machine, (question,), claims)[0], Fails)
    for fault in sorted(cut):
        machine, question = _tank(cut - {fault})
        claims = pdr(machine, (question,))
        assert isinstance(claims[0], Proved), fault
        assert isinstance(confirm(machine, (question,), claims)[0], Holds), fault


def test_largest_fault_sets_without_a_cut_are_proved_safe() -> None:
    """The two largest sets of faults that contain no published cut set leave the tank safe, so none is missing."""
    subsets = [frozenset(some) for size in range(7) for some in combinations(stories.TANK_FAULTS, size)]
    spared = [faults for faults in subsets if not any(cut <= faults for cut in TANK_CUT_SETS)]
    largest = [faults for faults in spared if not any(faults < other for other in spared)]
    assert {frozenset({"S"}), frozenset({"S1", "K1", "R"})} == set(largest)
    for faults in largest:
        machine, question = _tank(faults)
        claims = pdr(machine, (question,))
        assert isinstance(confirm(machine, (question,), claims)[0], Holds), sorted(faults)
