"""Sound holds of many shapes and words: no standing requirement cries wolf, and a crossed lever is found or named.

The seeds that run by default are others than those on which the standing set was fitted.
"""

from __future__ import annotations

from dataclasses import fields, replace

import pytest

from interlock.hold.loader import Source, load_hold
from interlock.kernel.claims import Limits
from interlock.prove.decide import decide
from interlock.report.views.assumptions import assumptions_of
from interlock.study.verify import Status, Verification, verify
from tests.agreement.hold_texts import compile_text, fetch, standing
from tests.some import telling
from tests.teeth.written_holds import ACROSS, FLAWS, Choices, chosen, with_flaw, written

FITTED = range(100)
SEEDS = (1001, 1005, 1009, 1020, 1100)
MORE = [pytest.param(seed, marks=pytest.mark.slow) for seed in range(1032, 1082)]


def small(seed: int) -> Choices:
    return chosen(seed, most_rows=5, most_bays=10)


def verified(choices: Choices, *chosen_ids: str) -> Verification:
    return verify(compile_text(written(choices), standing()), decide, Limits(), chosen=chosen_ids or None)


def failing(verification: Verification) -> set[str]:
    assert verification.answers
    assert {answer.status for answer in verification.answers} <= {Status.HOLDS, Status.VACUOUS, Status.FAILS}
    return {answer.instance.requirement.id for answer in verification.answers if answer.status is Status.FAILS}


@pytest.mark.parametrize("seed", [*telling(SEEDS, 1009, 1100), *MORE])
def test_a_sound_hold_meets_every_standing_requirement(seed: int) -> None:
    """All are asked of it, all are decided, none fails."""
    assert failing(verified(small(seed))) == set()


@pytest.mark.parametrize("seed", telling((712, 1222), 1222))
def test_no_unit_is_asked_for_where_half_of_it_would_stand_outside(seed: int) -> None:
    """Beside a crew hatch a bay that has none on its other side is not said to take units as wide as two lanes."""
    choices = small(seed)
    assert choices.unit == "wide" and choices.hatch
    assert failing(verified(choices, "bay-can-be-filled")) == set()


@pytest.mark.parametrize("seed", [*telling(SEEDS, 1009, 1100), *MORE])
def test_a_crossed_lever_is_found_or_named(seed: int) -> None:
    """Where a position is marked, or called after a direction, its crossed contact is blamed; else it is named."""
    choices = small(seed)
    if not choices.cross_rows or choices.drives == "none":
        pytest.skip("nothing is driven across this hold")
    crossed = replace(choices, flaw="the levers are crossed")
    lost = failing(verified(crossed, "drive-only-while-held"))
    of_door_rows = {
        f"drive-only-while-held[{row}{lane},{row}{lane}.{way}]"
        for row in choices.cross_rows
        for lane in choices.lanes_of(row)
        for way in ("left", "right")
    }
    named = [line for line in assumptions_of(compile_text(written(crossed))) if line.startswith("Nothing says which")]
    told = choices.across[2] or set(choices.across[:2]) == {"left", "right"}
    assert lost == (of_door_rows if told else set())
    assert any(f"'{choices.across[0]}'" in line for line in named) == (not told)


def test_what_would_be_too_long_a_line_is_said_in_parts() -> None:
    """Of fifteen rows with units over two lanes nobody says in one circuit what holds them all: it would be refused."""
    text = written(chosen(10361))
    assert load_hold(Source("written.yaml", text.encode()), fetch).value is not None
    assert "is: 'lines_held and guides_held and SILL1_up and SILL2_up'" in text


def test_the_holds_are_of_many_shapes() -> None:
    """Among those that run by default and those fitted on, every choice is taken somewhere, and both ways of it."""
    for seeds in (FITTED, (*SEEDS, *range(1032, 1082))):
        taken = [chosen(seed) for seed in seeds]
        for field in fields(taken[0]):
            assert field.name == "flaw" or len({getattr(one, field.name) for one in taken}) > 1, field.name
        assert {len(one.lanes) for one in taken} == {1, 2, 3, 4}
        assert {len(one.doors) for one in taken} == {1, 2}
        assert {door.side for one in taken for door in one.doors} == {"left", "right", "fore", "aft"}
        assert {one.across[2] for one in taken} == {across[2] for across in ACROSS}
        assert {one.unit for one in taken} == {"none", "wide", "long"}
        assert any(len(set(one.ranges)) > 1 for one in taken)
        assert max(one.rows for one in taken) > 12
        assert min(one.rows for one in taken) == 2


def test_every_flaw_is_tried() -> None:
    """Each can be had, and changes the description of a hold that can have it."""
    flawed = [with_flaw(chosen(seed), seed // 3) for seed in range(2, 300, 3)]
    assert {one.flaw for one in flawed} == set(FLAWS)
    changed = {one.flaw for one in flawed if written(one) != written(replace(one, flaw=""))}
    assert changed == set(FLAWS)
