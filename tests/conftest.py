"""What holds for every test."""

from __future__ import annotations

import signal


def pytest_configure() -> None:
    """Ctrl-C means Ctrl-C: a shell that starts jobs in the background may have told them to ignore it."""
    if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
        signal.signal(signal.SIGINT, signal.default_int_handler)
