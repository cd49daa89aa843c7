"""Sound holds of many shapes and words: no standing requirement cries wolf, and a crossed lever is found or named.

The seeds that run by default are others than those on which the standing set was fitted.
"""

from __future__ import annotations

from dataclasses import fields

import pytest

from interlock.kernel.claims import Limits
from interlock.prove.decide import decide
from interlock.report.views.assumptions import assumptions_of
from interlock.study.verify import Status, Verification, verify
from tests.agreement.hold_texts import compile_text, standing
from tests.teeth.written_holds import ACROSS, chosen, written

FITTED = range(100)
SEEDS = (1001, 1005, 1009, 1020, 1100)
MORE = [pytest.param(seed, marks=pytest.mark.slow) for seed in range(1032, 1082)]


def verified(text: str, *chosen_ids: str) -> Verification:
    return verify(compile_text(text, standing()), decide, Limits(), chosen=chosen_ids or None)


def failing(verification: Verification) -> set[str]:
    assert verification.answers
    assert {answer.status for answer in verification.answers} <= {Status.HOLDS, Status.VACUOUS, Status.FAILS}
    return {answer.instance.requirement.id for answer in verification.answers if answer.status is Status.FAILS}


@pytest.mark.parametrize("seed", [*SEEDS, *MORE])
def test_a_sound_hold_meets_every_standing_requirement(seed: int) -> None:
    """All are asked of it, all are decided, none fails."""
    assert failing(verified(written(seed))) == set()


@pytest.mark.parametrize("seed", [*SEEDS, *MORE])
def test_a_crossed_lever_is_found_or_named(seed: int) -> None:
    """Where a position is marked, or called after a direction, its crossed contact is blamed; else it is named."""
    choices = chosen(seed)
    text = written(seed, crossed=True)
    lost = failing(verified(text, "drive-only-while-held"))
    of_door_row = {
        f"drive-only-while-held[{choices.row}{lane},{choices.row}{lane}.{way}]"
        for lane in choices.lanes
        for way in ("left", "right")
    }
    named = [line for line in assumptions_of(compile_text(text)) if line.startswith("Nothing says which way these")]
    told = choices.across[2] or set(choices.across[:2]) == {"left", "right"}
    assert lost == (of_door_row if told else set())
    assert any(f"'{choices.across[0]}'" in line for line in named) == (not told)


def test_the_holds_are_of_many_shapes() -> None:
    """Among those that run by default and those fitted on, every choice is taken somewhere, and both ways of it."""
    for seeds in (FITTED, (*SEEDS, *range(1032, 1082))):
        taken = [chosen(seed) for seed in seeds]
        for field in fields(taken[0]):
            assert len({getattr(one, field.name) for one in taken}) > 1, field.name
        assert {len(one.lanes) for one in taken} == {1, 2, 3, 4}
        assert {one.across[2] for one in taken} == {across[2] for across in ACROSS}
