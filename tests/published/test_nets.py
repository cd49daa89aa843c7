"""Nets and protocols have as many states as is published of them, counted as one diagram; every claim is confirmed."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from math import comb

import pytest

from interlock.confirm.confirm import confirm
from interlock.kernel.claims import Disputed, Fails, Holds, Limits, Undecided
from interlock.kernel.machine import Machine, RequirementKind, question_of
from interlock.prove.decide import decide
from interlock.prove.diagrams.saturation import Saturation
from interlock.prove.engine import Clock
from interlock.prove.search.enumeration import count_states
from tests.published import families, nets, puzzles
from tests.some import telling

COUNTS: list[tuple[str, str, Callable[[], Machine], int]] = [
    *(
        (
            f"kanban {n}",
            "G. Ciardo, M. Tilgner, 1996: 160, 4,600, 58,400, 454,475 [memory]",
            partial(nets.kanban, n),
            states,
        )
        for n, states in ((1, 160), (2, 4_600), (3, 58_400), (4, 454_475))
    ),
    *(
        (
            f"manufacturing {n}",
            "G. Ciardo, K. Trivedi, 1993: 54, 810, 6,520, 35,910, 152,712 [memory; own derivation below agrees]",
            partial(nets.manufacturing, n),
            states,
        )
        for n, states in enumerate((54, 810, 6_520, 35_910, 152_712), 1)
    ),
    *(
        (f"square of zones {n}", "OEIS A006506 [memory]", partial(families.grid_exclusion, n, n), states)
        for n, states in ((4, 1_234), (5, 55_447), (6, 5_598_861), (7, 1_280_128_950))
    ),
    *(
        (f"rings {n}", "one path of 2^n states: OEIS A000975, comments [read]", partial(families.rings, n), 2**n)
        for n in (10, 30, 60)
    ),
    *((f"hanoi {n}", "3^n [trivial]", partial(puzzles.hanoi, 3, n), 3**n) for n in (8, 20)),
    *(
        (f"tray 2 by {n}", "(2n)!/2 [Johnson, Story 1879, memory]", partial(puzzles.sliding, 2, n, (0, 0)), states)
        for n, states in ((3, 360), (4, 20_160))
    ),
    *(
        (
            f"scheduler {n}",
            "R. Milner: Communication and Concurrency, 1989; n 2^(n+1) [own derivation]",
            partial(nets.scheduler, n),
            n * 2 ** (n + 1),
        )
        for n in (4, 10, 30)
    ),
    *(
        (
            f"slotted ring {n}",
            "E. Pastor, O. Roig, J. Cortadella, R. M. Badia, 1994 [memory; own derivation below agrees]",
            partial(nets.slotted_ring, n),
            states,
        )
        for n, states in ((3, 504), (5, 53_856), (10, 8_291_791_872), (15, 1_462_841_567_576_064))
    ),
    *(
        (f"readers and writers {n}", "2^n + n [own derivation]", partial(nets.readers_writers, n), 2**n + n)
        for n in (5, 20)
    ),
    *((f"pipeline {n}", "2^n [trivial]", partial(nets.pipeline, n), 2**n) for n in (8, 32)),
    *((f"counter {n}", "2^n [trivial]", partial(nets.counter, n), 2**n) for n in (8, 40)),
]


@pytest.mark.parametrize(("name", "source", "build", "states"), [pytest.param(*row, id=row[0]) for row in COUNTS])
def test_states_are_as_many_as_published(name: str, source: str, build: Callable[[], Machine], states: int) -> None:
    """All reachable states in one diagram are as many as the source says, however many they are."""
    machine = build()
    everything = [question_of(machine, requirement) for requirement in machine.requirements]
    search = Saturation(machine, everything, Clock(None))
    while not search.try_orders(1_000_000, lambda _progress: None):
        pass
    assert search.part.variables == machine.variables
    assert search.count() == states, (name, source)


def test_what_is_published_of_manufacturing_is_what_a_formula_gives() -> None:
    """k pairs are in one of three places, the third kind in three; the rest in four, no two waiting for each other."""

    def given(n: int) -> int:
        apart = (comb(k + 2, 2) * (comb(n - k + 3, 3) ** 2 - comb(n - k + 2, 3) ** 2) for k in range(n + 1))
        return comb(n + 2, 2) * sum(apart)

    published = [states for name, _, _, states in COUNTS if name.startswith("manufacturing")]
    assert [given(n) for n in range(1, 6)] == published


def test_what_is_published_of_slotted_rings_is_what_a_formula_gives() -> None:
    """n slots are in n stations: k of them taken in, in one of four ways, the others sent, in one of two.

    Published with three digits for 5, 10, 15 and 20 stations (G. Ciardo, G. Lüttgen, R. Siminiceanu, 2000) [memory].
    """

    def given(n: int) -> int:
        return sum(comb(n, k) ** 2 * 4**k * 2 ** (n - k) for k in range(n + 1))

    assert [f"{given(n):.2e}" for n in (5, 10, 15, 20)] == ["5.39e+04", "8.29e+09", "1.46e+15", "2.73e+20"]
    assert [s for name, _, _, s in COUNTS if name.startswith("slotted ring")] == [given(n) for n in (3, 5, 10, 15)]


SMALL: list[tuple[str, Callable[[], Machine], set[str]]] = [
    ("kanban 2", partial(nets.kanban, 2), {"all done"}),
    ("manufacturing 2", partial(nets.manufacturing, 2), {"all pairs done"}),
    ("scheduler 5", partial(nets.scheduler, 5), {"all busy"}),
    ("forks 5", partial(nets.forks, 5), {"deadlock"}),
    ("readers and writers 4", partial(nets.readers_writers, 4), {"all read"}),
    ("token ring 4", partial(nets.token_ring, 4), {"last of all"}),
    ("slotted ring 3", partial(nets.slotted_ring, 3), {"all used"}),
    ("pipeline 6", partial(nets.pipeline, 6), {"every other"}),
    ("counter 6", partial(nets.counter, 6), {"eight"}),
    ("filter lock 2", partial(nets.filter_lock, 2), set()),
    ("filter lock 3", partial(nets.filter_lock, 3), set()),
    ("Dekker", nets.dekker, set()),
    ("lift 4", partial(nets.lift, 4), {"all call"}),
]
"""Machines with what can be reached in them: exclusion and freedom from deadlock are what the algorithms are for."""


@pytest.mark.parametrize(("name", "build", "reached"), [pytest.param(*row, id=row[0]) for row in SMALL])
def test_what_algorithms_exclude_is_never_reached(name: str, build: Callable[[], Machine], reached: set[str]) -> None:
    """The default strategy finds what the algorithm is published for, and `confirm` agrees."""
    machine = build()
    questions = [question_of(machine, requirement) for requirement in machine.requirements]
    findings = confirm(machine, questions, decide(machine, questions))
    assert not any(isinstance(finding, Undecided | Disputed) for finding in findings)
    assert {finding.question for finding in findings if isinstance(finding, Fails)} == reached, name
    assert count_states(machine).complete


@pytest.mark.parametrize(
    ("build", "reached"),
    telling(
        [
            pytest.param(partial(nets.forks, 16), {"deadlock"}, id="forks 16"),
            pytest.param(partial(nets.scheduler, 24), {"all busy"}, id="scheduler 24"),
            pytest.param(partial(families.philosophers, 24), {"deadlock"}, id="philosophers 24"),
            pytest.param(partial(nets.token_ring, 16), {"last of all"}, id="token ring 16"),
            pytest.param(partial(nets.lift, 20), {"all call"}, id="lift 20"),
            pytest.param(partial(families.grid_exclusion, 7, 7), set(), id="square of zones 7"),
        ],
        "forks 16",
        "token ring 16",
    ),
)
def test_nets_of_billions_of_states_are_decided(build: Callable[[], Machine], reached: set[str]) -> None:
    """Nets of 10^6 to 10^13 states are decided whole within a limit, with evidence that is agreed to."""
    machine = build()
    questions = [question_of(machine, requirement) for requirement in machine.requirements]
    findings = confirm(machine, questions, decide(machine, questions, Limits(seconds=60)), seconds=60)
    assert {finding.question for finding in findings if isinstance(finding, Fails)} == reached
    assert all(isinstance(finding, Holds | Fails) for finding in findings)
    assert any(one.kind in (RequirementKind.NEVER, RequirementKind.CAN) for one in machine.requirements)
