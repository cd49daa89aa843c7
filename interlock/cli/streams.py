"""Standard input, output and error such that nothing is lost on them unnoticed.

Text for people is written in the encoding of the stream; a character that it lacks is written escaped, as \\u2192, and
does not end the program.  What other programs read is UTF-8 wherever it goes: see `Screen`.
"""

from __future__ import annotations

import codecs
import errno
import os
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from typing import Any

Note = Callable[[OSError], None]


class Unwritten(Exception):
    """Standard output takes no more.  No OSError: of these click takes some for its own."""

    def __init__(self, fault: OSError) -> None:
        super().__init__(fault.strerror or str(fault))
        self.reader_is_gone = isinstance(fault, BrokenPipeError)


class _Closed:
    """The place of a stream that whoever started the program has closed."""

    encoding = "utf-8"

    @property
    def buffer(self) -> _Closed:
        return self

    def write(self, _: bytes) -> int:
        raise OSError(errno.EBADF, "it is closed")

    def flush(self) -> None:
        """Nothing waits."""

    def isatty(self) -> bool:
        return False


class _WatchedBytes:
    """The bytes of a stream: all of them are written, or `note` is told why not."""

    def __init__(self, stream: Any, note: Note) -> None:
        self._stream = stream
        self._note = note

    def write(self, data: bytes) -> int:
        left = memoryview(data)
        try:
            while left:
                # a stream without a buffer of its own takes a part, and says no more than how much that was
                taken = self._stream.write(left)
                if taken is None:
                    raise BlockingIOError(errno.EAGAIN, "it takes no more for now")
                left = left[taken:]
        except OSError as fault:
            self._note(fault)
        return len(data)

    def flush(self) -> None:
        try:
            self._stream.flush()
        except OSError as fault:
            self._note(fault)

    def __getattr__(self, name: str) -> Any:
        return getattr(self._stream, name)


class _Watched:
    """A stream of text over watched bytes."""

    errors = "backslashreplace"

    def __init__(self, stream: Any, note: Note) -> None:
        self._stream = stream
        self.buffer = _WatchedBytes(stream.buffer, note)
        # a locale that was never set, rather than a wish for it
        self.encoding = "utf-8" if codecs.lookup(stream.encoding).name == "ascii" else stream.encoding

    def write(self, text: str) -> int:
        self.buffer.write(text.encode(self.encoding, self.errors))
        return len(text)

    def flush(self) -> None:
        self.buffer.flush()

    def __getattr__(self, name: str) -> Any:
        return getattr(self._stream, name)


@contextmanager
def watched_streams() -> Iterator[Callable[[], bool]]:
    """While this is open standard output raises Unwritten for what it does not take, and standard error is silent then.

    Gives a function that tells whether anything was lost on either.
    """
    before = sys.stdin, sys.stdout, sys.stderr
    # the numbers of streams that are closed must not become those of other files
    for stream in before:
        if stream is None:
            os.open(os.devnull, os.O_RDWR)
    lost: dict[str, OSError] = {}

    def refuse(fault: OSError) -> None:
        lost["stdout"] = fault
        raise Unwritten(fault) from fault

    def pass_over(fault: OSError) -> None:
        lost["stderr"] = fault

    if hasattr(sys.stdin, "reconfigure"):
        sys.stdin.reconfigure(errors="backslashreplace")
    for name, note in (("stdout", refuse), ("stderr", pass_over)):
        open_one = getattr(sys, name) or _Closed()
        if hasattr(open_one, "buffer"):
            setattr(sys, name, _Watched(open_one, note))
    try:
        yield lambda: bool(lost)
    finally:
        sys.stdin, sys.stdout, sys.stderr = before
        for name in lost:
            # Python would try once more, and complain, when it flushes at exit
            with suppress(OSError, AttributeError):
                os.dup2(os.open(os.devnull, os.O_WRONLY), getattr(sys, name).fileno())
