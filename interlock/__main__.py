"""The entry point: `interlock`, or `python -m interlock`."""

from __future__ import annotations

import gc
import os
import signal
import sys
from types import FrameType

SIGNALS = (signal.SIGINT, signal.SIGTERM)
OBJECTS_BETWEEN_COLLECTIONS = 1_000_000
"""Fourteen hundred times as many as Python lets pass: more than to prove a hold of twenty bays makes and keeps."""


def main() -> None:
    """Runs the command line and ends the program with its exit code."""
    # before anything that takes time is loaded: an exception inside an import leaves it half done
    for number in SIGNALS:
        if signal.getsignal(number) is not signal.SIG_IGN:
            signal.signal(number, leave)
    # what is made here are trees: to look for circles among more and more of them finds none and takes time
    gc.set_threshold(OBJECTS_BETWEEN_COLLECTIONS)
    from interlock.cli import run
    from interlock.kernel.beside import allow, processors

    allow(processors())
    code = run(sys.argv[1:])
    # all is said; what the libraries put away at the end must not be torn
    for number in SIGNALS:
        signal.signal(number, signal.SIG_IGN)
    # nor is anything to be gained by looking through all of it as the program ends
    gc.freeze()
    sys.exit(code)


def leave(number: int, frame: FrameType | None) -> None:
    """Ends the program at once; commands with something to lose handle the signal otherwise meanwhile."""
    try:
        os.write(2, b"Stopped.\n")
    finally:
        # as shells say it: 130 for Ctrl-C; also where standard error is closed
        os._exit(128 + number)


if __name__ == "__main__":
    main()
