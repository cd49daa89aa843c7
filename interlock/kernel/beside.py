"""Work that goes on beside other work, in a process forked from this one, where there is a processor for it.

It begins with all that is known here and changes nothing here: what comes of it is sent back as a value.  Where it is
not allowed, or no processor is free, it is done here when its result is asked for, so that nothing but time depends on
it.
"""

from __future__ import annotations

import os
import pickle
import select
import signal
import sys
import threading
from collections.abc import Callable
from types import TracebackType
from typing import Any, Generic, TypeVar

R = TypeVar("R")

LOOKS_EVERY_S = 1.0
"""So often, about, the work looks whether who asked for it is still there."""

LENGTH_BYTES = 8
"""So many bytes before what is sent say how long it is."""

_free = 0
"""How many more processes may be begun."""


def allow(processors: int) -> None:
    """From now on so many may be used, this one included; a program that says nothing uses one."""
    global _free
    _free = processors - 1


def processors() -> int:
    """How many this program may run on."""
    affinity = getattr(os, "sched_getaffinity", None)
    return len(affinity(0)) if affinity is not None else os.cpu_count() or 1


def may_begin() -> bool:
    """Whether work would go on beside: elsewhere, or in a thread, what libraries hold is not safe to fork."""
    return _free > 0 and sys.platform == "linux" and threading.current_thread() is threading.main_thread()


class Beside(Generic[R]):
    """Work that has begun, or is done when its result is asked for; leaving the `with` ends it.

    `work` reports nothing to people, and what it gives or raises can be pickled.
    """

    def __init__(self, work: Callable[[], R]) -> None:
        global _free
        self._work = work
        self._process: int | None = None
        self._interrupted = False
        if may_begin():
            source, sink = os.pipe()
            parent = os.getpid()
            try:
                self._process = os.fork()
            except OSError:  # there is no memory or no process left: it is done here
                os.close(source)
                os.close(sink)
                return
            if not self._process:
                _send(work, parent, sink)
            _free -= 1
            os.close(sink)
            self._source = source

    @property
    def goes_on(self) -> bool:
        """Whether another process is at it."""
        return self._process is not None

    def is_done(self, seconds: float) -> bool:
        """Whether its result is there, waited for so long at the most; what was not begun is as good as done."""
        return self._process is None or bool(select.select([self._source], [], [], seconds)[0])

    def interrupt(self) -> None:
        """Raises KeyboardInterrupt in it, which may give what it has; what gives nothing raises that here, too."""
        self._interrupted = True
        if self._process is not None:
            os.kill(self._process, signal.SIGUSR1)

    def result(self) -> R:
        """What comes of it, waited for; raises what it raised.  Done here, too, where its process was lost."""
        if self._process is not None:
            with os.fdopen(os.dup(self._source), "rb") as source:
                sent = source.read()
            self.close()
            length = int.from_bytes(sent[:LENGTH_BYTES], "little")
            # a process that is lost while it sends leaves a part
            if len(sent) >= LENGTH_BYTES and len(sent) == LENGTH_BYTES + length:
                value, error = pickle.loads(sent[LENGTH_BYTES:])  # noqa: S301 (this program's own process sent it)
                if error is not None:
                    raise error
                return value  # type: ignore[no-any-return]
        if self._interrupted:
            raise KeyboardInterrupt
        return self._work()

    def close(self) -> None:
        """Ends it."""
        global _free
        if self._process is not None:
            os.kill(self._process, signal.SIGKILL)
            os.waitpid(self._process, 0)
            os.close(self._source)
            self._process = None
            _free += 1

    def __enter__(self) -> Beside[R]:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        self.close()


def _send(work: Callable[[], Any], parent: int, sink: int) -> None:
    """Does the work in the process that was forked for it, and ends that; an end is asked for where it was forked."""
    allow(1)
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    signal.signal(signal.SIGUSR1, signal.default_int_handler)
    signal.signal(signal.SIGTERM, signal.SIG_DFL)
    signal.signal(signal.SIGALRM, lambda number, frame: os._exit(1) if os.getppid() != parent else None)
    signal.setitimer(signal.ITIMER_REAL, LOOKS_EVERY_S, LOOKS_EVERY_S)
    try:
        try:
            sent = pickle.dumps((work(), None))
        except Exception as error:
            sent = pickle.dumps((None, error))
        with os.fdopen(sink, "wb") as out:
            out.write(len(sent).to_bytes(LENGTH_BYTES, "little"))
            out.write(sent)
    finally:
        # nothing that is buffered here is written twice, nothing at its end is put away twice
        os._exit(0)
