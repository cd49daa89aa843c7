"""Clauses made fewer: the kept variables can be what they could be, by every assignment tried."""

from __future__ import annotations

import random
from collections.abc import Sequence
from itertools import product

import pytest

from interlock.prove.core.solvers import simplified
from tests.some import swept

KEPT = (1, 2, 3, 4)
ALL = 9


def kept_in_models(clauses: Sequence[Sequence[int]]) -> set[tuple[bool, ...]]:
    """What the kept variables are in some model."""
    models = (
        values
        for values in product((False, True), repeat=ALL)
        if all(any(values[abs(one) - 1] == (one > 0) for one in clause) for clause in clauses)
    )
    return {values[: len(KEPT)] for values in models}


@pytest.mark.parametrize("seed", swept(range(200), 40))
def test_what_is_kept_can_be_what_it_could_be(seed: int) -> None:
    """The kept variables are in models of the fewer clauses what they are in models of all, which name no others."""
    draw = random.Random(seed)
    clauses = [
        [draw.choice((1, -1)) * at for at in draw.sample(range(1, ALL + 1), draw.choice((2, 3)))]
        for _ in range(draw.randrange(4, 26))
    ]
    fewer = simplified(clauses, KEPT)
    assert kept_in_models(fewer) == kept_in_models(clauses)
    left = {abs(literal) for clause in fewer for literal in clause}
    assert left <= {abs(literal) for clause in clauses for literal in clause}
