"""What proofs left for the next ones on this computer, in the user's folder for such things.

Names of files are digests of what descriptions say, so that a hold is known by what it is, not by where it lies; those
of claims are digests of the machine that they are about.  Nothing of it is trusted, nothing of it is missed: what
cannot be read or written is passed over in silence.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from contextlib import suppress
from hashlib import sha256
from pathlib import Path
from tempfile import NamedTemporaryFile
from typing import TYPE_CHECKING

from interlock import __version__
from interlock.cli.stopping import held

if TYPE_CHECKING:
    from interlock.prove.invariants.lemmas import Remembered

LARGEST_BYTES = 2**24
"""A larger file is none of ours."""
MOST_FILES = 200
"""Of more files those that were left longest ago are removed."""
MOST_CLAIMS = 5000
"""The same for claims, which are kept apart: some tens of kilobytes each."""


def keys_of(sources: Mapping[str, tuple[str, ...]], situation: str | None) -> tuple[str, ...]:
    """Names for a description and for each that it modifies, in the order in which they were read."""
    found = []
    digest = sha256(f"{__version__}\n{situation}\n".encode())
    for lines in reversed(tuple(sources.values())):
        digest.update("\n".join([*lines, "", ""]).encode("utf-8", "surrogatepass"))
        found.append(digest.hexdigest())
    return tuple(reversed(found))


def recalled(keys: Iterable[str]) -> Remembered | None:
    """What was left under the first of these names under which there is something."""
    for key in keys:
        with suppress(OSError, RuntimeError):
            path = _folder() / f"{key}.json"
            if path.is_file() and path.stat().st_size <= LARGEST_BYTES:
                from interlock.study.keeping import from_bytes

                found = from_bytes(path.read_bytes())
                if found is not None:
                    return found
    return None


def leave(key: str, found: Remembered) -> None:
    """Leaves it under that name, whole; what was there before is replaced."""
    from interlock.study.keeping import as_bytes

    _leave(_folder, f"{key}.json", as_bytes(found), MOST_FILES)


def kept_claims(key: str) -> bytes | None:
    """The claims that were left under this name; whoever reads them confirms them (see `study.kept_claims`)."""
    with suppress(OSError, RuntimeError):
        path = _folder() / "claims" / f"{key}.claims"
        if path.is_file() and path.stat().st_size <= LARGEST_BYTES:
            return path.read_bytes()
    return None


def keep_claims(key: str, content: bytes) -> None:
    """Leaves claims under that name."""
    _leave(lambda: _folder() / "claims", f"{key}.claims", content, MOST_CLAIMS)


def _leave(place: Callable[[], Path], name: str, content: bytes, most: int) -> None:
    """Leaves a file in a folder that keeps at most so many of its kind."""
    if len(content) > LARGEST_BYTES:
        return
    with suppress(OSError, RuntimeError), held():
        folder = place()
        folder.mkdir(parents=True, exist_ok=True)
        _write(folder / name, content)
        files = sorted(folder.glob("*" + Path(name).suffix), key=lambda path: path.stat().st_mtime, reverse=True)
        for path in files[most:]:
            path.unlink(missing_ok=True)


def _write(path: Path, content: bytes) -> None:
    with NamedTemporaryFile(dir=path.parent, prefix=".part-", delete=False) as file:
        part = Path(file.name)
        try:
            file.write(content)
            file.close()
            part.replace(path)
        except BaseException:
            part.unlink(missing_ok=True)
            raise


def _folder() -> Path:
    from platformdirs import user_cache_path

    return user_cache_path("interlock", appauthor=False)
