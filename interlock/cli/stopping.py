"""Ctrl-C that is remembered: an engine may catch it and give what it has, and the rest must still not begin."""

from __future__ import annotations

import signal
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from types import FrameType


class Stop:
    """Whether the user asked to stop."""

    asked = False


@contextmanager
def noted_stop() -> Iterator[Stop]:
    """While this is open Ctrl-C raises KeyboardInterrupt as ever and is noted as well."""
    stop = Stop()
    if threading.current_thread() is not threading.main_thread():
        yield stop
        return

    def note(number: int, frame: FrameType | None) -> None:
        stop.asked = True
        raise KeyboardInterrupt

    before = signal.signal(signal.SIGINT, note)
    try:
        yield stop
    finally:
        signal.signal(signal.SIGINT, before)
