"""On each small example every engine gives the same verdict, and those that claim the shortest run the same length."""

from __future__ import annotations

import pytest

from interlock.confirm.confirm import confirm
from interlock.kernel.claims import Disputed, Limits, Proved, Refuted, Undecided, Unknown
from interlock.prove.decide import decide
from interlock.prove.engine import Engine
from interlock.prove.frames.pdr import pdr
from interlock.prove.invariants.k_induction import k_induction
from interlock.prove.invariants.mined import mined
from interlock.prove.search.bmc import bmc
from interlock.prove.search.explicit import explicit
from interlock.prove.search.guided import guided
from tests.some import some, swept

from .row import Row
from .test_engines import GOALS, question_in

ENGINES: dict[str, Engine] = {
    "explicit": explicit,
    "bmc": bmc,
    "k_induction": k_induction,
    "pdr": pdr,
    "mined": mined,
    "guided": guided,
    "decide": decide,
}
COMPLETE = ("explicit", "pdr", "mined", "decide")
"""Engines that decide every small example; the others may leave open what is never reached."""
SHORTEST = ("explicit", "bmc", "k_induction", "decide")
"""Engines that claim the shortest run whenever they refute a small example."""
BOUNDED = ("bmc", "k_induction")
"""Engines that are told how deep to go: as deep as the goal, or eight steps where there is none to find."""
MOST_STATES = 130

SMALL = [
    row for row in GOALS if not row.large and not row.deep and row.states is not None and row.states <= MOST_STATES
]


@pytest.mark.parametrize("row", swept(SMALL, 6), ids=lambda row: row.name)
def test_engines_agree(row: Row) -> None:
    """No engine contradicts another or the published verdict, in kind or in length; no evidence is disputed."""
    machine, question = question_in(row)
    limits = Limits(depth=8 if row.shortest is None else row.shortest)
    expected = Proved if row.shortest is None else Refuted
    for name, engine in some(ENGINES.items()):
        (claim,) = engine(machine, (question,), limits if name in BOUNDED else Limits())
        assert claim.question == question.id
        if name in COMPLETE or (name in BOUNDED and row.shortest is not None) or not isinstance(claim, Unknown):
            assert isinstance(claim, expected), (name, claim)
        if name in SHORTEST and isinstance(claim, Refuted):
            assert claim.shortest, name
        if isinstance(claim, Refuted):
            assert row.shortest is not None
            assert claim.trace.depth >= row.shortest, name
            assert claim.trace.depth == row.shortest or not claim.shortest, name
        (finding,) = confirm(machine, (question,), (claim,))
        assert not isinstance(finding, Disputed), (name, finding)
        assert not isinstance(finding, Undecided) or isinstance(claim, Unknown), (name, finding)


def test_small_examples_are_many_and_of_both_kinds() -> None:
    """The agreement is not that of a few easy cases: dozens of examples are reached, dozens never."""
    assert sum(row.shortest is None for row in SMALL) >= 30
    assert sum(row.shortest is not None for row in SMALL) >= 30
