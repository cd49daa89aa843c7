"""The pressure tank of the Fault Tree Handbook as a machine: which failures together are enough, and how likely.

NUREG-0492, chapters VIII and XI [memory; title and year read docslib 7958334]: T tank, K2 relay, S pressure switch, S1
start switch, K1 relay, R timer relay; the tank bursts on T + K2 + S.S1 + S.K1 + S.R.  The probabilities are [memory],
what is made of them [recomputed].  The handbook prints about 3.4e-5 [memory].
"""

from __future__ import annotations

from itertools import combinations
from math import prod

import pytest

from interlock.kernel.claims import Proved, Refuted
from interlock.kernel.expressions import Is, conj, disj
from interlock.kernel.machine import Actor, Machine, question_of
from interlock.prove.engine import Engine
from interlock.prove.explicit import explicit
from interlock.prove.mined import mined
from interlock.prove.pdr import pdr
from interlock.prove.strategy import decide

from .cases import never, step, switch
from .graphs import explore

LIKELY = {"T": 5e-6, "K2": 3e-5, "S": 1e-4, "S1": 3e-5, "K1": 3e-5, "R": 1e-4}
BURST = disj(
    Is("T", True),
    Is("K2", True),
    *(conj(Is("S", True), Is(other, True)) for other in ("S1", "K1", "R")),
)
CUTS = [{"T"}, {"K2"}, {"K1", "S"}, {"R", "S"}, {"S", "S1"}]


def tank(may_fail: frozenset[str]) -> Machine:
    """Only these may fail, each once and for good, in any order."""
    rules = [step(name, Is(name, False), {name: True}, Actor.FAILURE) for name in LIKELY if name in may_fail]
    return Machine(tuple(map(switch, LIKELY)), (), tuple(rules), (never("burst", BURST),))


@pytest.mark.parametrize("engine", [explicit, pdr, mined, decide], ids=lambda engine: str(engine.__name__))
def test_minimal_cut_sets(engine: Engine) -> None:
    """Of all 64 sets of failures the smallest that burst the tank are {T} {K2} {S,S1} {S,K1} {S,R}, on each engine."""
    enough: list[frozenset[str]] = []
    for size in range(len(LIKELY) + 1):
        for some in map(frozenset, combinations(LIKELY, size)):
            machine = tank(some)
            (claim,) = engine(machine, [question_of(machine, machine.requirements[0])])
            assert isinstance(claim, Refuted | Proved)
            assert isinstance(claim, Refuted) == any(cut <= some for cut in CUTS), some
            if isinstance(claim, Refuted) and not any(cut <= some for cut in enough):
                enough.append(some)
    assert sorted(enough, key=lambda cut: (len(cut), sorted(cut))) == sorted(CUTS, key=lambda c: (len(c), sorted(c)))
    assert [len(cut) for cut in enough] == [1, 1, 2, 2, 2]


def test_states_and_probabilities() -> None:
    """64 states, 55 of them burst; 3.5015849e-5 in all, 3.5016e-5 by rare events, 85.7 % of it from relay K2."""
    machine = tank(frozenset(LIKELY))
    reach = explore(machine)
    burst = set(reach.satisfying(BURST))
    # T or K2 with whatever else, 3 times 16; else S with one or more of three, 7
    assert (reach.states, len(burst)) == (64, 48 + 7)
    chances = [LIKELY[variable.name] for variable in machine.variables]
    exact = sum(prod(p if failed else 1 - p for p, failed in zip(chances, state, strict=True)) for state in burst)
    rare = sum(prod(LIKELY[name] for name in cut) for cut in CUTS)
    assert exact == pytest.approx(3.5015849e-5, rel=1e-7)
    assert rare == pytest.approx(3.5016e-5, rel=1e-6)
    assert LIKELY["K2"] / rare == pytest.approx(0.857, abs=5e-4)
