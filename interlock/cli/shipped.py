"""Files that come with the program: the standing requirements, the catalogue of failures, the demonstrations."""

from __future__ import annotations

from collections.abc import Iterator
from importlib.resources import files
from importlib.resources.abc import Traversable
from pathlib import Path

STANDING = "standing.yaml"
CATALOGUE = "failures.yaml"
"""The standing catalogue of failures."""
PROCEDURES = "procedures"
"""The folder of demonstration procedures beside the holds; they are no holds."""
FLEETS = "fleets"
"""The folder of demonstration fleets."""
RECORD = "expected.yaml"
"""What each flawed hold is known to lose: beside the holds, and no hold."""


def shipped(folder: str) -> Traversable:
    """The folder `specs` or `models`: inside the installed package, else beside it in a source tree."""
    inside = files("interlock").joinpath("_shipped", folder)
    if inside.is_dir():
        return inside
    return Path(str(files("interlock"))).parent / folder


def demonstrations() -> tuple[str, ...]:
    """The names of the demonstration holds, as in `demo:NAME`; those in folders have the folder's name before them."""
    folder = shipped("models")
    return tuple(sorted(_names(folder, ""))) if folder.is_dir() else ()


def procedures() -> tuple[str, ...]:
    """The names of the demonstration procedures, as in `demo:procedures/NAME`."""
    folder = shipped("models").joinpath(PROCEDURES)
    return tuple(sorted(_names(folder, f"{PROCEDURES}/"))) if folder.is_dir() else ()


def fleets() -> tuple[str, ...]:
    """The names of the demonstration fleets, as in `demo:fleets/NAME`."""
    folder = shipped("models").joinpath(FLEETS)
    return tuple(sorted(_names(folder, f"{FLEETS}/"))) if folder.is_dir() else ()


def _names(folder: Traversable, before: str) -> Iterator[str]:
    for entry in folder.iterdir():
        if entry.is_dir():
            if entry.name in (PROCEDURES, FLEETS):
                continue
            yield from _names(entry, f"{before}{entry.name}/")
        elif entry.name.endswith(".yaml") and entry.name != RECORD:
            yield before + entry.name.removesuffix(".yaml")
