"""Work beside other work gives what it would give here, whatever becomes of its process."""

from __future__ import annotations

import os
import pickle
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from interlock.kernel import beside
from interlock.kernel.beside import Beside

LONG = 1 << 20
"""More than a pipe holds."""


@pytest.fixture(params=[1, 2])
def number(request: pytest.FixtureRequest) -> Iterator[int]:
    """So many processors are allowed."""
    beside.allow(request.param)
    yield request.param
    beside.allow(1)


def test_its_result_is_what_the_work_gives(number: int) -> None:
    """In another process where there is one, however long it is."""
    with Beside(lambda: ("long", os.getpid(), b"x" * LONG)) as work:
        assert work.goes_on == (number == 2)
        word, process, rest = work.result()
    assert (word, len(rest)) == ("long", LONG)
    assert (process == os.getpid()) == (number == 1)


def test_what_it_raises_is_raised_here(number: int) -> None:
    """As if it had been done here."""
    known: dict[str, int] = {}
    with Beside(lambda: known["missing"]) as work, pytest.raises(KeyError, match="missing"):
        work.result()


def test_work_that_is_lost_is_done_here() -> None:
    """A process that is killed loses time, no result."""
    beside.allow(2)
    here = os.getpid()
    with Beside(lambda: os.getpid() if os.getpid() == here else os.kill(os.getpid(), signal.SIGKILL)) as work:
        assert work.goes_on
        assert work.result() == here
    beside.allow(1)


def test_work_that_is_lost_as_it_sends_is_done_here(monkeypatch: pytest.MonkeyPatch) -> None:
    """A part of a result is none."""
    here = os.getpid()
    whole = pickle.dumps

    def torn(sent: object) -> bytes:
        text = whole(sent)
        threading.Timer(0.1, os.kill, (os.getpid(), signal.SIGKILL)).start()
        return text

    beside.allow(2)
    monkeypatch.setattr(pickle, "dumps", torn)
    with Beside(lambda: (os.getpid(), b"x" * LONG)) as work:
        time.sleep(0.4)
        assert work.result()[0] == here
    beside.allow(1)


def test_where_no_process_can_begin_it_is_done_here(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where there is no memory or no process left for another nothing is said of it, and no file stays open."""

    def refused() -> int:
        raise BlockingIOError(11, "Resource temporarily unavailable")

    beside.allow(2)
    monkeypatch.setattr(os, "fork", refused)
    before = len(list(Path("/proc/self/fd").iterdir()))
    with Beside(os.getpid) as work:
        assert not work.goes_on
        assert work.result() == os.getpid()
    assert len(list(Path("/proc/self/fd").iterdir())) == before
    assert beside.may_begin()
    beside.allow(1)


def test_as_many_as_are_free_and_none_from_work_itself() -> None:
    """Two processors are used by two, not by more; one that has ended makes room."""
    beside.allow(2)

    def within() -> bool:
        with Beside(lambda: 0) as inner:
            return inner.goes_on

    with Beside(within) as first:
        with Beside(lambda: 0) as second:
            assert (first.goes_on, second.goes_on) == (True, False)
        assert first.result() is False
        with Beside(lambda: 0) as third:
            assert third.goes_on
    assert beside.may_begin()
    beside.allow(1)


def test_leaving_it_ends_it() -> None:
    """Whoever is torn out of waiting leaves nothing behind."""
    beside.allow(2)
    began = time.monotonic()
    with Beside(lambda: time.sleep(60)) as work:
        assert work.goes_on
    assert time.monotonic() - began < 30
    assert beside.may_begin()
    beside.allow(1)


@pytest.mark.parametrize("gives", [True, False])
def test_what_is_interrupted_gives_what_it_has(gives: bool, tmp_path: Path) -> None:
    """Or, where that is nothing, raises what it raised there."""
    beside.allow(2)
    note = tmp_path / "begun"

    def work() -> str:
        try:
            note.touch()
            time.sleep(60)
        except KeyboardInterrupt:
            if not gives:
                raise
        return "something"

    began = time.monotonic()
    with Beside(work) as other:
        while not note.exists():
            assert not other.is_done(0.01)
        other.interrupt()
        assert other.is_done(30)
        if gives:
            assert other.result() == "something"
        else:
            with pytest.raises(KeyboardInterrupt):
                other.result()
    assert time.monotonic() - began < 30
    beside.allow(1)


def test_what_was_not_begun_need_not_be_waited_for() -> None:
    """Its result is made when it is asked for."""
    with Beside(lambda: 1) as other:
        assert other.is_done(60)
        assert other.result() == 1


def test_a_process_whose_asker_is_gone_ends(tmp_path: Path) -> None:
    """Nothing goes on for a program that was killed."""
    note = tmp_path / "process"
    script = f"""
import os, pathlib, signal, time
from interlock.kernel import beside
beside.allow(2)
beside.LOOKS_EVERY_S = 0.1
def work():
    pathlib.Path({str(note)!r}).write_text(str(os.getpid()))
    time.sleep(60)
with beside.Beside(work):
    while not (pathlib.Path({str(note)!r}).exists() and pathlib.Path({str(note)!r}).read_text()):
        time.sleep(0.01)
    os.kill(os.getpid(), signal.SIGKILL)
"""
    subprocess.run([sys.executable, "-c", script], check=False)
    process = int(note.read_text())
    for _ in range(200):
        try:
            state = Path(f"/proc/{process}/stat").read_text().rsplit(")", 1)[1].split()[0]
        except FileNotFoundError:
            return
        if state == "Z":
            return
        time.sleep(0.05)
    raise AssertionError("it goes on")
