"""The bytes of what the command line or a file names: regular files and standard input, up to a limit."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterable, Iterator
from contextlib import contextmanager, suppress
from hashlib import sha256
from pathlib import Path, PurePosixPath
from stat import S_ISREG
from typing import TYPE_CHECKING

import click

from interlock.cli.files import note_read
from interlock.cli.shipped import demonstrations, fleets, procedures, shipped
from interlock.diagnostics.nearest import nearest_name

if TYPE_CHECKING:
    from interlock.hold.loader import Source

DEMO = "demo:"
STANDARD_INPUT = "<standard input>"

_AT_ONCE = getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0)
"""Opening waits for nobody, should a pipe have taken the place of the file since it was looked at."""


def read_source(name: str) -> Source:
    """What a word of the command line names: a file, `demo:NAME`, or standard input for `-`.  Raises click.UsageError.

    At most one byte more than a file may have is read, so that what is too long is known to be.
    """
    from interlock.hold.loader import Source

    return Source(STANDARD_INPUT, _standard_input()) if name == "-" else _read_named(name)


def fetch(name: str) -> Source | None:
    """What a file names: another file, or `demo:NAME`; None where it cannot be read."""
    try:
        return _read_named(name)
    except click.UsageError:
        return None


def _read_named(name: str) -> Source:
    from interlock.hold.loader import Source

    if name.startswith(DEMO):
        demo = name.removeprefix(DEMO).removesuffix(".yaml")
        shown = (*demonstrations(), *procedures(), *fleets())
        if demo not in shown:
            known = [DEMO + one for one in shown]
            raise click.UsageError(f"There is no demonstration {demo!r}." + instead(name, known))
        return Source(f"{DEMO}{demo}.yaml", shipped("models").joinpath(f"{demo}.yaml").read_bytes())
    path = Path(name)
    _note_content(name, None)
    try:
        content = _regular_file(path)
        _note_content(name, content)
        return Source(path.as_posix(), content)
    except FileNotFoundError as fault:
        raise click.UsageError(f"Cannot read {name}: {fault.strerror}.{_beside(path)}") from fault
    except OSError as fault:
        raise click.UsageError(f"Cannot read {name}: {fault.strerror or fault}.") from fault
    except ValueError as fault:  # NUL, or a letter that no file name of this system has
        raise click.UsageError(f"Cannot read {name}: no file can have this name.") from fault


_contents: list[dict[str, str | None]] = []
"""Whoever wants to know what was read, the last one at the end."""


@contextmanager
def noted_contents() -> Iterator[dict[str, str | None]]:
    """While this is open, fills in for each file that is asked for the digest of what was read first, by its name.

    None where it could not be read.  Names are such that they mean the same wherever the program works.
    """
    noted: dict[str, str | None] = {}
    _contents.append(noted)
    try:
        yield noted
    finally:
        _contents.remove(noted)


def _note_content(name: str, content: bytes | None) -> None:
    whole = str(Path(name).absolute())
    for noted in _contents:
        if noted.get(whole) is None:
            noted[whole] = None if content is None else sha256(content).hexdigest()


def digest_now(name: str) -> str | None:
    """The digest of what a file says now; None where it cannot be read."""
    try:
        return sha256(_regular_file(Path(name))).hexdigest()
    except (OSError, ValueError):
        return None


def _regular_file(path: Path) -> bytes:
    """At most one byte more than a file may have.  Raises OSError, and ValueError for an impossible name."""
    from interlock.hold.language.nodes import LARGEST_FILE_BYTES

    _check_regular(path.stat().st_mode)
    with os.fdopen(os.open(path, os.O_RDONLY | _AT_ONCE), "rb") as file:
        status = os.fstat(file.fileno())
        _check_regular(status.st_mode)
        note_read(status, str(path))
        # None is what a file of the kernel says that has nothing to give yet
        return file.read(LARGEST_FILE_BYTES + 1) or b""


def _check_regular(mode: int) -> None:
    if not S_ISREG(mode):
        raise OSError(None, "it is no regular file ('-' reads standard input)")


def _standard_input() -> bytes:
    from interlock.hold.language.nodes import LARGEST_FILE_BYTES

    if sys.stdin is None:
        raise click.UsageError("Cannot read standard input: it is closed.")
    with suppress(OSError):
        note_read(os.fstat(sys.stdin.fileno()))
    try:
        return sys.stdin.buffer.read(LARGEST_FILE_BYTES + 1)
    except OSError as fault:
        raise click.UsageError(f"Cannot read standard input: {fault.strerror or fault}.") from fault


def _beside(path: Path) -> str:
    """A hint at what may have been meant: a description file in the same folder, or a demonstration."""
    try:
        near = [str(entry) for entry in path.parent.iterdir() if entry.suffix in (".yaml", ".yml")]
    except (OSError, ValueError):
        near = []
    known = [*near, *(DEMO + demo for demo in demonstrations())]
    # a shared folder or ending would make any two names look alike
    stems = {PurePosixPath(name.removeprefix(DEMO)).stem: name for name in reversed(known)}
    stem = nearest_name(path.stem, stems) if path.stem not in stems else path.stem
    return f" Did you mean {stems[stem]!r}?" if stem is not None else _listing(known)


def seen_from(hold: str, output: Path | None) -> str:
    """The file of a description as the folder of what is written sees it; without a file, the working folder."""
    if hold.startswith(DEMO):
        return hold
    folder = Path() if output is None or str(output) == "-" else output.parent
    return Path(os.path.relpath(hold, folder)).as_posix()


def instead(word: str, known: Iterable[str]) -> str:
    """A hint at the name that may have been meant, or the names that there are."""
    names = sorted(known)
    hint = nearest_name(word, names)
    return f" Did you mean {hint!r}?" if hint is not None else _listing(names)


def _listing(names: Iterable[str]) -> str:
    """The first names: files beside the one that is missing, whole holds, then the many that vary one."""
    known = sorted(names, key=lambda name: (name.startswith(DEMO), name.count("/"), name))
    more = f" and {len(known) - 8} more" if len(known) > 8 else ""
    return f" There is: {', '.join(known[:8])}{more}." if known else " There is none."
