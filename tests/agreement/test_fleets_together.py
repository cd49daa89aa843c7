"""Fleets of holds that other tests use: what a family proof says of each configuration is what it says alone."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from interlock import cli
from tests.benchmarks.fleets import SINGLE, TWIN, Sort, small, write_fleet

ROWS = {"single": 60, "twin": 45, "written": 60}
SORTS = {"single": SINGLE, "twin": TWIN, "written": small()}


def told(folder: Path, *args: str) -> list[Any]:
    """What is told of each configuration, and of the hold, but for the runs."""
    cli.run(
        ["fleet", str(folder / "fleet.csv"), "--no-cache", "--workers", "1", *args, "-o", str(folder / "told.json")]
    )
    found = json.loads((folder / "told.json").read_text())
    groups = {one["number"]: [x["id"] for x in one["failing"]] for one in found["groups"]}
    of_each = [
        (one["result"], one["asked"], one["vacuous"], one["assumes"], groups[one["group"]])
        for one in found["configurations"]
    ]
    return [*of_each, found["holds"]]


@pytest.mark.slow
@pytest.mark.parametrize("name", SORTS)
def test_a_family_says_what_each_configuration_says_alone(name: str, tmp_path: Path) -> None:
    """Every verdict, how much was asked and assumed, and what tells aircraft apart."""
    sort: Sort = SORTS[name]
    write_fleet(tmp_path, (sort,), ROWS[name], 7)
    together = told(tmp_path)
    assert len(together) > 20
    assert together == told(tmp_path, "--alone")
