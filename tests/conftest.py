"""What holds for every test."""

from __future__ import annotations

import gc
import os
import signal
import sys
from collections.abc import Iterator
from tempfile import TemporaryDirectory
from typing import Any

import pytest

from interlock.__main__ import OBJECTS_BETWEEN_COLLECTIONS


def pytest_configure(config: pytest.Config) -> None:
    """Ctrl-C means Ctrl-C, though a shell that starts jobs in the background may have told them to ignore it."""
    # no test is helped by what another has proved: in that place no folder can be made
    os.environ["XDG_CACHE_HOME"] = os.devnull
    if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
        signal.signal(signal.SIGINT, signal.default_int_handler)
    # as the program does; what the tests themselves are made of is never looked through again
    gc.set_threshold(OBJECTS_BETWEEN_COLLECTIONS)
    if os.environ.pop("PYTHONDONTWRITEBYTECODE", None):
        # where none is to be left beside the sources, it is kept elsewhere: each program that a test starts is
        # compiled anew else, which takes longer than what many of them do
        place = TemporaryDirectory(prefix="bytecode-")
        config.add_cleanup(place.cleanup)
        os.environ["PYTHONPYCACHEPREFIX"] = sys.pycache_prefix = place.name
        sys.dont_write_bytecode = False


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config: pytest.Config, log: Any) -> Any:
    """Where several processes test, each takes whole stretches of files: what is studied once is studied in one."""
    from xdist.scheduler import WorkStealingScheduling

    return WorkStealingScheduling(config, log) if config.getvalue("dist") == "load" else None


def pytest_collection_finish() -> None:
    """All that was collected stays until the end."""
    gc.collect()
    gc.freeze()


@pytest.fixture(scope="module")
def done_once() -> Iterator[None]:
    """For tests of what is told: what it is told of is read, compiled and studied once (`tests/done_once.py`)."""
    from tests.done_once import make_once

    with pytest.MonkeyPatch.context() as patches:
        make_once(patches)
        yield


@pytest.fixture
def compiled_anew() -> Iterator[None]:
    """For a test that changes what reads or compiles: of `tests/agreement/hold_texts` nothing is as before."""
    from tests.agreement.hold_texts import forget

    forget()
    yield
    forget()
