"""What holds for every test."""

from __future__ import annotations

import os
import signal


def pytest_configure() -> None:
    """Ctrl-C means Ctrl-C, though a shell that starts jobs in the background may have told them to ignore it."""
    # no test is helped by what another has proved: in that place no folder can be made
    os.environ["XDG_CACHE_HOME"] = os.devnull
    if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
        signal.signal(signal.SIGINT, signal.default_int_handler)
