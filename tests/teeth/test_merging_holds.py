"""Lanes that merge into bays in the middle, in many shapes: no false alarm, and two flaws of such holds are found."""

from __future__ import annotations

from dataclasses import fields

import pytest

from interlock.kernel.claims import Limits
from interlock.prove.decide import decide
from interlock.study.verify import Status, verify
from tests.agreement.hold_texts import compile_text, standing
from tests.some import telling
from tests.teeth.merging_holds import chosen, written

SEEDS = (100, 107, 113)
MORE = [pytest.param(seed, marks=pytest.mark.slow) for seed in range(120, 150)]


def statuses(text: str, *asked: str) -> dict[str, set[Status]]:
    found: dict[str, set[Status]] = {}
    for answer in verify(compile_text(text, standing()), decide, Limits(), chosen=asked or None).answers:
        found.setdefault(answer.instance.requirement.id.partition("[")[0], set()).add(answer.status)
    return found


@pytest.mark.parametrize("seed", [*telling(SEEDS, 100), *MORE])
def test_a_sound_hold_meets_every_standing_requirement(seed: int) -> None:
    """All are decided, all hold, none idly."""
    found = statuses(written(seed))
    assert len(found) >= 20
    assert set.union(*found.values()) == {Status.HOLDS}


@pytest.mark.parametrize("seed", [*telling(SEEDS, 100), *MORE])
def test_a_crossed_doorway_lever_is_found(seed: int) -> None:
    """In and out, inboard and outboard, by the door or by its lane: exchanged they are no command of that direction."""
    found = statuses(written(seed, crossed=True), "drive-only-while-held")
    assert found == {"drive-only-while-held": {Status.HOLDS, Status.FAILS}}


@pytest.mark.parametrize("seed", [*telling(SEEDS, 100), *MORE])
def test_half_of_the_line_before_the_middle_is_not_enough(seed: int) -> None:
    """Where the latch of one lane is not asked for a unit is driven against it, or goes over it while it stands."""
    found = statuses(written(seed, half_asked=True), "no-drive-against-device", "nothing-rises-under-a-unit")
    assert Status.FAILS in found["no-drive-against-device"]
    assert Status.FAILS in found["nothing-rises-under-a-unit"]


def test_the_holds_are_of_many_shapes() -> None:
    """Every choice is taken somewhere, and another one elsewhere."""
    taken = [chosen(seed) for seed in range(120, 150)]
    assert all(len({getattr(one, field.name) for one in taken}) > 1 for field in fields(taken[0]))
