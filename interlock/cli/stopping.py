"""Ctrl-C, or a polite request to end, that is noted: what is at work looks for it and gives what it has."""

from __future__ import annotations

import signal
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from time import monotonic
from types import FrameType

PATIENCE_S = 1.0
"""Whoever asks again sooner is only nervous: what is at work may still be about to end in order."""
SIGNALS = (signal.SIGINT, signal.SIGTERM)

_times_asked = 0


def times_asked() -> int:
    """How often an end was asked for since the program began, and noted."""
    return _times_asked


class Stop:
    """Whether the user asked to stop, and whether the program may be torn out of what it does if asked again."""

    def __init__(self) -> None:
        self.asked = False
        self.number = 0
        """The last signal that was heard."""
        self._may_tear = False
        self._heard = 0.0

    def is_asked(self) -> bool:
        """For `Limits`."""
        return self.asked

    @contextmanager
    def tearing(self) -> Iterator[None]:
        """Whoever asks again, later, while this is open tears the program out of it: for long work, and only that."""
        self._may_tear = True
        try:
            yield
        finally:
            self._may_tear = False

    def note(self, number: int, frame: FrameType | None) -> None:
        """Handles the signal.  Raises KeyboardInterrupt where it comes again, later, and tearing is allowed."""
        global _times_asked
        _times_asked += 1
        now = monotonic()
        again = self.asked and now - self._heard >= PATIENCE_S
        if again or not self.asked:
            self._heard = now
        self.asked, self.number = True, number
        if again and self._may_tear:
            raise KeyboardInterrupt


@contextmanager
def noted_stop() -> Iterator[Stop]:
    """While this is open Ctrl-C is only noted; within `Stop.tearing` a second one raises KeyboardInterrupt."""
    stop = Stop()
    if threading.current_thread() is not threading.main_thread():
        yield stop
        return
    # what was told to ignore a signal, as shells do for what runs in the background, goes on doing so
    heeded = [number for number in SIGNALS if signal.getsignal(number) is not signal.SIG_IGN]
    before = {number: signal.signal(number, stop.note) for number in heeded}
    try:
        yield stop
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


@contextmanager
def held() -> Iterator[None]:
    """Nothing tears the program out of this; a signal that came meanwhile takes effect when it has ended."""
    with noted_stop() as stop:
        yield
    if stop.asked:
        signal.raise_signal(stop.number)
