"""Files of one call: what it reads, none of which its results may replace, and how a result is written whole."""

from __future__ import annotations

import os
import stat
from pathlib import Path
from tempfile import NamedTemporaryFile

import click

from interlock.cli.stopping import held

_READ = f"{__name__}.read"
"""Where the context of a call keeps what it has read."""


def note_read(status: os.stat_result, name: str | None = None) -> None:
    """The call reads this file, by this name if it has one: none of its results takes its place.

    Called by whatever opens a file for reading; outside a call, and for what is no regular file, nothing is noted.
    """
    context = click.get_current_context(silent=True)
    if context is None or not stat.S_ISREG(status.st_mode):
        return
    read = context.meta.setdefault(_READ, set())
    read.add((status.st_dev, status.st_ino))
    if name is not None:
        # an editor may put another file in its place meanwhile: then the name counts
        read.add(os.path.realpath(name))


def is_read(path: Path) -> bool:
    """Whether the call has read this file, by this or another name."""
    context = click.get_current_context(silent=True)
    read = set() if context is None else context.meta.get(_READ, set())
    try:
        status = path.stat()
    except OSError:
        return os.path.realpath(path) in read
    return not read.isdisjoint({(status.st_dev, status.st_ino), os.path.realpath(path)})


def check_file(path: Path) -> None:
    """Raises click.UsageError where a result cannot or must not be written there: early, since late costs an hour."""
    why = _why_not(path)
    if why:
        raise click.UsageError(f"Cannot write {path}: {why}.")
    if is_read(path):
        raise click.UsageError(f"--output would overwrite {path}, which is read.")


def _why_not(path: Path) -> str:
    try:
        status = path.stat()
    except FileNotFoundError:
        status = None
    except OSError as fault:
        return str(fault.strerror)
    if status is not None and is_read_only(path, status):
        return "it is read-only"
    if status is not None and not stat.S_ISREG(status.st_mode):
        return ""
    folder = Path(os.path.realpath(path)).parent
    if not folder.is_dir():
        return "there is no such folder"
    return "" if os.access(folder, os.W_OK | os.X_OK) else "its folder cannot be written to"


def is_read_only(path: Path, status: os.stat_result) -> bool:
    """Nobody may write to it, whatever the administrator could do; or whoever runs the program may not."""
    return not stat.S_IMODE(status.st_mode) & 0o222 or not os.access(path, os.W_OK)


def write_whole(path: Path, content: bytes) -> None:
    """Writes the file so that it is never seen half-written; an old one of that name is replaced, its mode kept.

    A link stays a link, and what is no file (a pipe, a device) is written to as it is: nothing takes its place.
    Raises click.UsageError as `check_file` does and click.ClickException where the disk refuses.
    """
    check_file(path)
    try:
        if path.exists() and not path.is_file():
            path.write_bytes(content)
        else:
            with held():
                _write_whole(path.resolve(), content)
    except OSError as fault:
        raise click.ClickException(f"cannot write {path}: {fault.strerror or fault}") from fault


def _write_whole(path: Path, content: bytes) -> None:
    mode = stat.S_IMODE(path.stat().st_mode) if path.exists() else 0o666 & ~umask()
    with NamedTemporaryFile(dir=path.parent, prefix=".part-", delete=False) as file:
        part = Path(file.name)
        try:
            file.write(content)
            file.flush()
            # or a power cut soon after could leave an empty file in place of the old one
            os.fsync(file.fileno())
            part.chmod(mode)
            part.replace(path)
        except BaseException:
            part.unlink(missing_ok=True)
            raise


def umask() -> int:
    """What files and folders that are made anew are not to permit."""
    mask = os.umask(0)
    os.umask(mask)
    return mask
