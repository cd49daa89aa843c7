"""Evidence on disk: a folder that is whole or not there, and never somebody else's."""

from __future__ import annotations

import shutil
from collections.abc import Mapping
from pathlib import Path
from tempfile import mkdtemp

import click

MANIFEST = "MANIFEST.sha256"


def check_folder(folder: Path) -> None:
    """Raises click.UsageError where the folder holds anything that this program did not put there."""
    if not folder.exists():
        return
    if not folder.is_dir():
        raise click.UsageError(f"{folder} is a file; evidence needs a folder.")
    foreign = _foreign(folder)
    if foreign:
        raise click.UsageError(
            f"{folder} has files that are not evidence of this program ({foreign[0]}); it is left alone. "
            "Name an empty or new folder."
        )


def _foreign(folder: Path) -> list[str]:
    """The files in the folder that no manifest of ours names."""
    present = sorted(path.relative_to(folder).as_posix() for path in folder.rglob("*") if not path.is_dir())
    known: set[str] = set()
    for name in present:
        if name == MANIFEST or name.endswith("/" + MANIFEST):
            prefix = name.removesuffix(MANIFEST)
            known.add(name)
            text = (folder / name).read_text(encoding="utf-8", errors="replace")
            known.update(prefix + line[66:] for line in text.splitlines())
    return [name for name in present if name not in known]


def write_folder(folder: Path, files: Mapping[str, str]) -> None:
    """Writes all files under a name of its own, then puts it in place of the folder.

    Raises click.UsageError as `check_folder` does and click.ClickException where the disk refuses.
    """
    check_folder(folder)
    part: Path | None = None
    try:
        folder.parent.mkdir(parents=True, exist_ok=True)
        part = Path(mkdtemp(prefix=f".{folder.name}-part-", dir=folder.parent))
        part.chmod(0o755)
        for name, text in files.items():
            path = part / name
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_text(text, encoding="utf-8", newline="\n")
        if folder.exists():
            old = Path(mkdtemp(prefix=f".{folder.name}-old-", dir=folder.parent))
            folder.replace(old)
            try:
                part.replace(folder)
            except BaseException:
                old.replace(folder)
                raise
            part = None
            shutil.rmtree(old)
        else:
            part.replace(folder)
    except BaseException as fault:
        if part is not None:
            shutil.rmtree(part, ignore_errors=True)
        if not isinstance(fault, OSError):
            raise
        raise click.ClickException(f"cannot write {folder}: {fault.strerror or fault}") from fault
