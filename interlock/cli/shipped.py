"""Files that come with the program: the standing requirements and the demonstration holds."""

from __future__ import annotations

from importlib.resources import files
from importlib.resources.abc import Traversable
from pathlib import Path

STANDING = "standing.yaml"


def shipped(folder: str) -> Traversable:
    """The folder `specs` or `models`: inside the installed package, else beside it in a source tree."""
    inside = files("interlock").joinpath("_shipped", folder)
    if inside.is_dir():
        return inside
    return Path(str(files("interlock"))).parent / folder


def demonstrations() -> tuple[str, ...]:
    """The names of the demonstration holds, as in `demo:NAME`."""
    folder = shipped("models")
    if not folder.is_dir():
        return ()
    return tuple(sorted(entry.name.removesuffix(".yaml") for entry in folder.iterdir() if entry.name.endswith(".yaml")))
