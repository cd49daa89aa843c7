"""Evidence on disk: a folder that is whole or not there, and takes the place of nothing but evidence as it was written.

The folder is written beside its place, under a name of its own; then the old one is moved aside, the new one takes its
place, and the old one is deleted.  Whoever is killed between these moves has both, whole, one of them under its
temporary name.
"""

from __future__ import annotations

import os
import re
import shutil
import stat
from collections.abc import Iterator, Mapping
from contextlib import suppress
from hashlib import file_digest
from itertools import islice
from pathlib import Path
from tempfile import mkdtemp

import click

from interlock.cli.files import is_read_only, umask
from interlock.cli.stopping import held

MANIFEST = "MANIFEST.sha256"
_README = "README.txt"
_MARK = b"WHAT THIS FOLDER IS\n\nEvidence for what is written in findings.json about the machine in machine.json."
"""How the README of every evidence begins."""
_PROOF = r"start|step|safe|goal|stage-\d+"
_EVIDENCE = re.compile(
    rf"README\.txt|machine\.json|findings\.json|diagram-\d+\.json|traces/\d{{4,}}-[^/]+\.json"
    rf"|(certificate|way-back)-\d+/(({_PROOF})\.smt2|ways\.json|trace\.json|in-words\.md)"
)
"""The names that a manifest of ours lists: one that lists more was made by somebody else, for files of his own."""
_LINE = re.compile(r"([0-9a-f]{64})  (.+)")
_MOST_BYTES = 1 << 24
"""No manifest of ours is longer."""
_NAMED = 5
"""So many foreign files are named to the user."""


def check_folder(folder: Path) -> None:
    """Raises click.UsageError where evidence cannot go there, or would take the place of anything else.

    What lies there may be replaced only where it is evidence, exactly as it was written: a manifest that lists nothing
    but evidence, files with the digests that it says, no links, nothing beside them.
    """
    try:
        why = _why_not(folder)
    except OSError as fault:
        why = str(fault.strerror)
    if why:
        raise click.UsageError(f"Cannot write evidence to {folder}: {why}. Name an empty or new folder.")


def _why_not(folder: Path) -> str:
    if folder.name in ("", ".."):
        return "this is no name for a folder of its own"
    if folder.is_symlink():
        return "it is a link"
    if not folder.exists():
        above = next(one for one in folder.absolute().parents if one.exists())
        if not above.is_dir():
            return f"{above} is a file"
        return f"{above} cannot be written to" if is_read_only(above, above.stat()) else ""
    if not folder.is_dir():
        return "it is a file"
    here = Path.cwd()
    if any(folder.samefile(one) for one in (here, *here.parents)) or folder.is_mount():
        return "it is in use"
    if is_read_only(folder, folder.stat()) or is_read_only(folder.parent, folder.parent.stat()):
        return "it is read-only"
    named = [*islice(_foreign(folder, {}), _NAMED + 1)]
    more = " and more" if len(named) > _NAMED else ""
    return f"it has what is not evidence as it was written ({', '.join(named[:_NAMED])}{more})" if named else ""


def _foreign(folder: Path, listed: Mapping[str, str]) -> Iterator[str]:
    """What is in the folder but is no evidence, or no longer: names relative to it; `listed` are digests by name."""
    own = _manifest(folder)
    known = own or listed
    with os.scandir(folder) as entries:
        found = sorted(entries, key=lambda entry: entry.name)
    for entry in found:
        path = folder / entry.name
        if entry.is_dir(follow_symlinks=False):
            within = f"{entry.name}/"
            below = {name.removeprefix(within): digest for name, digest in known.items() if name.startswith(within)}
            if not any(path.iterdir()) or is_read_only(path, path.stat()):
                yield within
            yield from (within + name for name in _foreign(path, below))
        elif not (own and entry.name == MANIFEST) and not _is_as_written(path, known.get(entry.name)):
            yield entry.name


def _manifest(folder: Path) -> Mapping[str, str]:
    """Digest by name, where the folder has a manifest that is recognisably ours; else nothing."""
    text = _content(folder / MANIFEST)
    lines = [_LINE.fullmatch(line) for line in text.decode(errors="replace").splitlines()]
    listed = {line[2]: line[1] for line in lines if line is not None}
    ours = len(listed) == len(lines) and all(_EVIDENCE.fullmatch(name) for name in listed)
    return listed if ours and _README in listed and _content(folder / _README).startswith(_MARK) else {}


def _content(path: Path) -> bytes:
    """What a regular file begins with; nothing where it is none, or cannot be read."""
    try:
        if not stat.S_ISREG(path.lstat().st_mode):
            return b""
        with path.open("rb") as file:
            return file.read(_MOST_BYTES)
    except OSError:
        return b""


def _is_as_written(path: Path, digest: str | None) -> bool:
    if digest is None or not stat.S_ISREG(path.lstat().st_mode):
        return False
    with path.open("rb") as file:
        return file_digest(file, "sha256").hexdigest() == digest


def write_folder(folder: Path, files: Mapping[str, str]) -> None:
    """Writes all files under a name of its own, then puts it in place of the folder.

    Raises click.UsageError as `check_folder` does and click.ClickException where the disk refuses; the old folder is
    then as it was, and nothing else is left.
    """
    check_folder(folder)
    try:
        with held():
            _write_folder(folder, files)
    except OSError as fault:
        raise click.ClickException(f"cannot write {folder}: {fault.strerror or fault}") from fault


def _write_folder(folder: Path, files: Mapping[str, str]) -> None:
    missing = [one for one in folder.absolute().parents if not one.exists()]
    part = None
    try:
        folder.parent.mkdir(parents=True, exist_ok=True)
        part = Path(mkdtemp(prefix=".evidence-", dir=folder.parent))
        part.chmod(stat.S_IMODE(folder.stat().st_mode) if folder.exists() else 0o777 & ~umask())
        for name, text in files.items():
            path = part / name
            path.parent.mkdir(parents=True, exist_ok=True)
            with path.open("wb") as file:
                file.write(text.encode())
                file.flush()
                os.fsync(file.fileno())
        if folder.exists():
            _replace(folder, part)
        else:
            part.replace(folder)
    except BaseException:
        if part is not None:
            shutil.rmtree(part, ignore_errors=True)
        with suppress(OSError):
            for path in missing:
                path.rmdir()
        raise


def _replace(folder: Path, part: Path) -> None:
    """Puts `part` in the folder's place; the old one is deleted only once it is seen, moved aside, to be evidence."""
    old = Path(mkdtemp(prefix=".evidence-", dir=folder.parent))
    try:
        folder.replace(old)
        # a file may have been put there since the folder was looked at
        named = next(_foreign(old, {}), None)
        if named is not None:
            raise click.UsageError(f"Cannot write evidence to {folder}: {named} was put there meanwhile.")
        part.replace(folder)
    except BaseException:
        # gives the folder back, or, where it was not moved, fails
        with suppress(OSError):
            old.replace(folder)
        with suppress(OSError):
            old.rmdir()
        raise
    shutil.rmtree(old)
