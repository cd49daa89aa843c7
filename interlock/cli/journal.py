"""A journal of the configurations of fleets that are done, so that a run that was interrupted goes on where it stopped.

A line has the digest of the rest of it, the digest of what was asked, and the claims on which the answer rests.  It is
no list of verdicts: claims are confirmed anew before they are believed (see `study.kept_claims`).  A line that is
damaged, or was torn when something ended, is as if it were not there.
"""

from __future__ import annotations

import os
from base64 import b64decode, b64encode
from binascii import Error
from hashlib import sha256
from pathlib import Path
from stat import S_ISREG

import click

from interlock.cli.files import note_read
from interlock.cli.stopping import held

HEAD = b"interlock journal of a fleet, 1\n"
LONGEST_LINE = 2**25
"""Bytes; a longer one is none of ours."""


class Journal:
    """A file that is read once and then grows.

    Raises click.UsageError where the file is there and is no journal, or cannot be read or written.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        self._found: dict[str, bytes] = {}
        try:
            self._file = os.open(path, os.O_RDWR | os.O_CREAT | os.O_APPEND | getattr(os, "O_NONBLOCK", 0), 0o666)
            is_new = self._read()
            if is_new:
                os.write(self._file, HEAD)
        except OSError as fault:
            raise click.UsageError(f"--journal: cannot use {path}: {fault.strerror or fault}.") from fault

    def claims(self, asked: str) -> bytes | None:
        """What stands there under the digest of what is asked; of several lines the last counts."""
        return self._found.get(asked)

    def add(self, asked: str, claims: bytes) -> None:
        """Writes a line, whole.  Raises click.ClickException where that cannot be done."""
        body = asked.encode() + b" " + b64encode(claims)
        line = _digest(body) + b" " + body + b"\n"
        try:
            with held():
                written = os.write(self._file, line)
                os.fsync(self._file)
        except OSError as fault:
            raise click.ClickException(f"cannot write {self.path}: {fault.strerror or fault}") from fault
        if written < len(line):
            raise click.ClickException(f"cannot write {self.path}: there is no room left")
        self._found[asked] = claims

    def close(self) -> None:
        """Nothing is added any more."""
        os.close(self._file)

    def _read(self) -> bool:
        """Reads what is there, and sees to it that a line can be added; whether the file is empty."""
        status = os.fstat(self._file)
        note_read(status, str(self.path))
        if not S_ISREG(status.st_mode):
            raise click.UsageError(f"--journal: {self.path} is no regular file.")
        with self.path.open("rb") as file:
            head = file.readline(len(HEAD))
            if not head:
                return True
            if head != HEAD:
                raise click.UsageError(f"--journal: {self.path} is there already, and is no journal of a fleet.")
            last = head
            while line := file.readline(LONGEST_LINE):
                self._take(line)
                last = line
        if not last.endswith(b"\n"):
            os.write(self._file, b"\n")
        return False

    def _take(self, line: bytes) -> None:
        digest, _, body = line.rstrip(b"\n").partition(b" ")
        if digest != _digest(body):
            return
        asked, _, claims = body.partition(b" ")
        try:
            self._found[asked.decode("ascii")] = b64decode(claims, validate=True)
        except (Error, UnicodeDecodeError):
            return


def _digest(body: bytes) -> bytes:
    return sha256(body).hexdigest().encode()
