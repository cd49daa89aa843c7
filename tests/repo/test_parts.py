"""`--part`: the sweeps that `.ci/run` takes in turn leave nothing out."""

from __future__ import annotations

import pytest

from tests.conftest import in_part, part_of


@pytest.mark.parametrize("of", [1, 2, 3, 7])
def test_every_test_is_in_one_part(of: int) -> None:
    """The parts together are all, and none is in two."""
    parts = [in_part(range(20), *part_of(f"{which}/{of}")) for which in range(1, of + 1)]
    assert sorted(item for part in parts for item in part) == list(range(20))


@pytest.mark.parametrize("text", ["0/3", "4/3", "3", "a/b", "-1/3"])
def test_what_is_no_part_is_refused(text: str) -> None:
    """Nothing is taken for all, or for nothing."""
    with pytest.raises(ValueError):
        part_of(text)
