"""How much memory the program holds, for a budget."""

from __future__ import annotations

import os
import sys
from pathlib import Path
from time import monotonic

EVERY_SECONDS = 0.05
"""So often, at most, it is looked how much is held: a look costs about ten microseconds."""
STATM = Path("/proc/self/statm")


def resident_bytes() -> int | None:
    """What the program holds now; where only that is known, the most that it ever held; None where nothing is known."""
    try:
        return int(STATM.read_bytes().split()[1]) * os.sysconf("SC_PAGE_SIZE")
    except (OSError, ValueError, IndexError, AttributeError):
        pass
    try:
        import resource
    except ImportError:
        return None
    most = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return most if sys.platform == "darwin" else most * 1024


class Budget:
    """A number of bytes; once they were all used it stays used up, whatever is freed afterwards."""

    def __init__(self, most: int) -> None:
        self.most = most
        self._next = 0.0
        self._is_used_up = False

    def is_used_up(self, beside: int = 0) -> bool:
        """The program holds, or held when it was looked at, as much, with `beside` bytes that it will need more."""
        now = monotonic()
        if not self._is_used_up and now >= self._next:
            self._next = now + EVERY_SECONDS
            held = resident_bytes()
            self._is_used_up = held is not None and held + beside >= self.most
        return self._is_used_up
