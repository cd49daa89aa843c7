"""How long the rest will take, as far as that can be told from what is done."""

from __future__ import annotations

LEAST_DONE = 3
LEAST_SECONDS = 2.0
"""Of less than that nothing can be told."""


class Estimate:
    """The rest is taken to go as what is done went: it is no more than that, and says so by how it is rounded."""

    def __init__(self, whole: int, began: float) -> None:
        self._whole = whole
        self._began = began
        self._done = 0
        self._now = began

    def note(self, done: int, now: float) -> None:
        """So many are done at that time, in seconds of the clock by which it began."""
        self._done, self._now = done, now

    def seconds(self) -> float | None:
        """What is left, in seconds; None where nothing can be told."""
        elapsed = self._now - self._began
        if self._done < LEAST_DONE or elapsed < LEAST_SECONDS:
            return None
        return elapsed / self._done * (self._whole - self._done)

    def in_words(self) -> str:
        """` (about 3 minutes left if the rest goes as these did)`; empty where nothing can be told."""
        left = self.seconds()
        if left is None or not left:
            return ""
        about = f"{max(1, round(left / 5)) * 5} seconds" if left < 90 else f"{round(left / 60)} minutes"
        return f" (about {about} left if the rest goes as these did)"
