"""More random machines than CI has time for: `python -m agreement.long_run FIRST COUNT`, run in the tests folder."""

from __future__ import annotations

import sys
from collections import Counter
from time import monotonic

from .test_engines_agree import judge


def main() -> None:
    """Judges COUNT machines from seed FIRST on; stops at the first that an engine gets wrong, naming its seed."""
    first, count = int(sys.argv[1]), int(sys.argv[2])
    tally: Counter[str] = Counter()
    begun = monotonic()
    for seed in range(first, first + count):
        try:
            tally += judge(seed)
        except BaseException:
            print(f"seed {seed}", file=sys.stderr)
            raise
    print(f"{count} machines, {monotonic() - begun:.0f} s")
    for what, number in sorted(tally.items()):
        print(f"{number:8} {what}")


if __name__ == "__main__":
    main()
