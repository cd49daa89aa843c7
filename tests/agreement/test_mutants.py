"""Files with something wrong in them are refused or used; nothing raises, hangs or ends as a fault inside the program.

Some hundreds here; `python -m tests.agreement.mutant_run` takes any number.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.some import swept

from .mutant_run import run_command
from .mutants import SORTS, judge_mutant, make_mutant, originals

BLOCK = 40


@pytest.mark.parametrize(
    "first",
    [*swept(range(0, 160, BLOCK), 4), *(pytest.param(at, marks=pytest.mark.slow) for at in range(160, 320, BLOCK))],
)
def test_mutants(first: int) -> None:
    """Each is taken through reading, compiling and a bounded proof or audit, and nothing goes wrong."""
    outcomes = {seed: judge_mutant(seed) for seed in range(first, first + BLOCK)}
    assert {seed: fault for seed, (_, fault) in outcomes.items() if fault is not None} == {}


@pytest.mark.parametrize("first", swept(range(0, 24, 8), 3))
def test_commands_on_mutants(first: int, tmp_path: Path) -> None:
    """No command that reads one ends with the code of a fault inside the program."""
    outcomes = {seed: run_command(seed, tmp_path / str(seed)) for seed in range(first, first + 8)}
    assert {seed: fault for seed, (_, fault) in outcomes.items() if fault is not None} == {}


def test_a_seed_gives_a_mutant() -> None:
    """The same seed gives the same mutant of each sort, and most differ from what they were made of."""
    sound = {content for files in originals().values() for _, content in files}
    made = [make_mutant(seed) for seed in range(100)]
    assert made == [make_mutant(seed) for seed in range(100)]
    assert {one.sort for one in made} == set(SORTS)
    assert sum(one.content not in sound for one in made) > 90


@pytest.mark.thorough
def test_mutants_are_not_all_refused() -> None:
    """Enough of them are taken all the way for what lies there to be tried."""
    became = [judge_mutant(seed)[0] for seed in range(400, 480)]
    assert len({*became} & {"proved", "audited", "compiled"}) >= 2
    assert "refused" in became
