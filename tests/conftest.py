"""What holds for every test."""

from __future__ import annotations

import gc
import os
import signal
import sys
from collections.abc import Iterator, Sequence
from tempfile import TemporaryDirectory
from typing import Any, TypeVar

import pytest

from interlock.kernel import beside

One = TypeVar("One")

BETWEEN_COLLECTIONS = 100_000


def part_of(text: str) -> tuple[int, int]:
    """`2/3` is the second of three parts.  Raises ValueError."""
    which, of = map(int, text.split("/"))
    if not 0 < which <= of:
        raise ValueError(f"{text!r} is no part, such as 2/3")
    return which, of


def in_part(items: Sequence[One], which: int, of: int) -> list[One]:
    """Every so many of the items, from the first, second ... on: each is in one part and no other."""
    return list(items[which - 1 :: of])


def pytest_addoption(parser: pytest.Parser) -> None:
    """`--part 2/3`: of the tests that are chosen otherwise one in three, from the second on."""
    parser.addoption("--part", type=part_of, metavar="K/N", help="the Kth of N parts of what is chosen")


@pytest.hookimpl(trylast=True)
def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Leaves the part that is asked for, once marks have chosen."""
    if part := config.getoption("--part"):
        kept = in_part(items, *part)
        chosen = set(kept)
        config.hook.pytest_deselected(items=[item for item in items if item not in chosen])
        items[:] = kept


def pytest_configure(config: pytest.Config) -> None:
    """Ctrl-C means Ctrl-C, though a shell that starts jobs in the background may have told them to ignore it."""
    # no test is helped by what another has proved: in that place no folder can be made
    os.environ["XDG_CACHE_HOME"] = os.devnull
    if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
        signal.signal(signal.SIGINT, signal.default_int_handler)
    # what the tests themselves are made of is never looked through again; ten times as many objects between two looks,
    # as in the program, which proves one hold and ends, made all tests take a seventh more time
    gc.set_threshold(BETWEEN_COLLECTIONS)
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


@pytest.fixture
def two_processors() -> Iterator[None]:
    """Work may go on beside, and none is left behind."""
    beside.allow(2)
    yield
    assert beside.may_begin()
    beside.allow(1)
