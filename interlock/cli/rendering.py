"""DOT text into SVG, by the first program or library of this machine that can."""

from __future__ import annotations

import importlib.util
import shutil
import subprocess
import warnings

ADVICE = "No SVG drawn: install Graphviz (the command `dot`) or pygraphviz (`pip install interlock[diagrams]`)."
"""What to tell a person when nothing can draw."""

_PATIENCE_S = 60
_COMMANDS = ("dot", "graphviz-pure")


def renderers() -> tuple[str, ...]:
    """What can draw here, in the order in which it is tried: commands, then the library."""
    found = [command for command in _COMMANDS if shutil.which(command)]
    if importlib.util.find_spec("pygraphviz") is not None:
        found.append("pygraphviz")
    return tuple(found)


def render_dot(source: str) -> bytes | None:
    """The drawing as SVG, or None where nothing on this machine can draw it (`ADVICE` says what to install)."""
    for name in renderers():
        drawn = _with_pygraphviz(source) if name == "pygraphviz" else _with_command(name, source)
        if drawn is not None:
            return drawn
    return None


def _with_command(name: str, source: str) -> bytes | None:
    try:
        done = subprocess.run(  # noqa: S603 -- a fixed command; the text goes in as input
            [shutil.which(name) or name, "-Tsvg"], input=source.encode(), capture_output=True, timeout=_PATIENCE_S
        )
    except (OSError, subprocess.TimeoutExpired):
        return None
    return done.stdout if done.returncode == 0 and b"<svg" in done.stdout else None


def _with_pygraphviz(source: str) -> bytes | None:
    try:
        import pygraphviz

        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            drawn = pygraphviz.AGraph(string=source).draw(format="svg", prog="dot")
    except (ImportError, OSError, ValueError, RuntimeError):
        return None
    return drawn if isinstance(drawn, bytes) else None
