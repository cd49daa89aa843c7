"""How likely the pressure tank of the Fault Tree Handbook bursts; which failures are enough: `test_stories.py`.

Vesely, Goldberg, Roberts, Haasl, Fault Tree Handbook, NUREG-0492, 1981, chapters VIII, XI [memory]: T tank, K2 relay,
S pressure switch, S1 start switch, K1 relay, R timer relay; the tank bursts on T + K2 + S.S1 + S.K1 + S.R.  The
probabilities are [memory], what is made of them [recomputed].  The handbook prints about 3.4e-5 [memory].
"""

from __future__ import annotations

from math import prod

import pytest

from interlock.kernel.expressions import Is, conj, disj
from interlock.kernel.machine import Actor, Machine

from .cases import never, step, switch
from .graphs import explore
from .test_stories import TANK_CUT_SETS

LIKELY = {"T": 5e-6, "K2": 3e-5, "S": 1e-4, "S1": 3e-5, "K1": 3e-5, "R": 1e-4}
BURST = disj(
    Is("T", True),
    Is("K2", True),
    *(conj(Is("S", True), Is(other, True)) for other in ("S1", "K1", "R")),
)


def tank() -> Machine:
    """Each part may fail, once and for good, in any order."""
    rules = [step(name, Is(name, False), {name: True}, Actor.FAILURE) for name in LIKELY]
    return Machine(tuple(map(switch, LIKELY)), (), tuple(rules), (never("burst", BURST),))


def test_states_and_probabilities() -> None:
    """64 states, 55 of them burst; 3.5015849e-5 in all, 3.5016e-5 by rare events, 85.7 % of it from relay K2."""
    machine = tank()
    reach = explore(machine)
    burst = set(reach.satisfying(BURST))
    # T or K2 with whatever else, 3 times 16; else S with one or more of three, 7
    assert (reach.states, len(burst)) == (64, 48 + 7)
    chances = [LIKELY[variable.name] for variable in machine.variables]
    exact = sum(prod(p if failed else 1 - p for p, failed in zip(chances, state, strict=True)) for state in burst)
    rare = sum(prod(LIKELY[name] for name in cut) for cut in TANK_CUT_SETS)
    assert exact == pytest.approx(3.5015849e-5, rel=1e-7)
    assert rare == pytest.approx(3.5016e-5, rel=1e-6)
    assert LIKELY["K2"] / rare == pytest.approx(0.857, abs=5e-4)
