"""A fleet of our own invention: thousands of tails over three holds with options, as files; and how it is answered for.

    python -m tests.benchmarks.fleets FOLDER [ROWS [SEED]]

writes it.  Two holds are the demonstrations with options, sound ones and flawed ones; the third is written by
`tests.teeth.written_holds`, which nobody fitted the program to.
"""

from __future__ import annotations

import random
import sys
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from tests.teeth.written_holds import chosen, written

MODELS = Path(__file__).parents[2] / "models"
SMALL_SEED = 3


@dataclass(frozen=True, slots=True)
class Sort:
    """A hold with options, each by its id with its changes, and what may be deferred."""

    file: str
    text: str
    options: Mapping[str, str]
    deferrals: tuple[str, ...]


SINGLE = Sort(
    "single.yaml",
    (MODELS / "single-lane.yaml").read_text(encoding="utf-8"),
    {
        "floor_falls_aft": "{change: layout, to: {drift: [aft]}}",
        "second_key": "{change: KEY, to: {reachable: always}}",
        "station_bridged": "{change: STA, to: {owns: always}}",
        "end_latch_fixed": "{fix: M3, in: raised}",
    },
    ("M1=lowered with 1C is empty", "M2=lowered", "M2=lowered with 2C is empty", "M1=lowered"),
)
TWIN = Sort(
    "twin.yaml",
    (MODELS / "twin-lane.yaml").read_text(encoding="utf-8"),
    {
        "no_pallets": "{fix: SEL, in: both}",
        "lock_rigged": '{change: D1, to: {lock: {by: hand, when: "true"}}}',
        "one_sill_lock": "{change: sill_locks_up, to: {is: up_SL1}}",
        "guide_3_fixed": "{fix: CG3, in: raised}",
    },
    ("M3L=lowered with 3L is empty and 4L is empty", "M3R=lowered", "M2L=lowered", "M2R=lowered"),
)


def small() -> Sort:
    """The written hold."""
    options = {
        "only_containers": "{remove: BIG}",
        "relay_set_by_power": "{change: armed, to: {sets: drive_power}}",
        "beam_held": "{change: across, to: {is: door_beam or not door_open}}",
        "end_latch_fixed": "{fix: M3C, in: raised}",
    }
    deferrals = ("M1C=lowered", "M2C=lowered", "M3C=lowered", "M2C=lowered with 2C is empty and 3C is empty")
    return Sort("written.yaml", written(chosen(SMALL_SEED, 4, 8)), options, deferrals)


def description(sort: Sort) -> str:
    """The hold with its options."""
    lines = [
        f"  - {{id: {id}, name: {id.replace('_', ' ')}, changes: [{change}]}}" for id, change in sort.options.items()
    ]
    return sort.text + ("\noptions:\n" + "\n".join(lines) + "\n" if lines else "")


def rows(sorts: Sequence[Sort], number: int, seed: int) -> list[str]:
    """So many aircraft, most of them with few options, one in six with something deferred."""
    rng = random.Random(seed)
    found = []
    for at in range(number):
        sort = rng.choice(sorts)
        options = [one for one in sort.options if rng.random() < 0.35]
        deferrals = [rng.choice(sort.deferrals)] if sort.deferrals and rng.random() < 0.17 else []
        tail = f"ZZ-{chr(65 + at // 676 % 26)}{chr(65 + at // 26 % 26)}{chr(65 + at % 26)}"
        found.append(f"{tail},{sort.file},{'; '.join(options)},{'; '.join(deferrals)}")
    return found


def write_fleet(folder: Path, sorts: Sequence[Sort], number: int, seed: int) -> Path:
    """The holds and the fleet; gives the file of the fleet."""
    folder.mkdir(parents=True, exist_ok=True)
    for sort in sorts:
        (folder / sort.file).write_text(description(sort), encoding="utf-8")
    fleet = folder / "fleet.csv"
    fleet.write_text("\n".join(["tail,hold,options,deferrals", *rows(sorts, number, seed)]) + "\n", encoding="utf-8")
    return fleet


if __name__ == "__main__":
    folder, number, seed = [*sys.argv[1:], *("2000", "1")[len(sys.argv) - 2 :]]
    print(write_fleet(Path(folder), (SINGLE, TWIN, small()), int(number), int(seed)))
