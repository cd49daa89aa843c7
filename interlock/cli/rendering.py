"""DOT text into SVG, by the first program or library of this machine that can."""

from __future__ import annotations

import warnings
from collections.abc import Callable, Mapping

ADVICE = "No SVG drawn: install Graphviz (the command `dot`) or pygraphviz (`pip install interlock[diagrams]`)."
"""What to tell a person when nothing can draw."""


def render_dot(source: str) -> bytes | None:
    """The drawing as SVG, or None where nothing on this machine can draw it (`ADVICE` says what to install)."""
    return next((drawn for draw in RENDERERS.values() if (drawn := draw(source)) is not None), None)


def _with_dot(source: str) -> bytes | None:
    import graphviz

    try:
        return bytes(graphviz.Source(source).pipe("svg", quiet=True))
    except (OSError, graphviz.CalledProcessError, graphviz.ExecutableNotFound):
        return None


def _with_pygraphviz(source: str) -> bytes | None:
    try:
        import pygraphviz

        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            drawn = pygraphviz.AGraph(string=source).draw(format="svg", prog="dot")
    except (ImportError, OSError, ValueError, RuntimeError):
        return None
    return drawn if isinstance(drawn, bytes) else None


RENDERERS: Mapping[str, Callable[[str], bytes | None]] = {"dot": _with_dot, "pygraphviz": _with_pygraphviz}
"""What can draw, in the order in which it is tried: the command, then the library; each gives None where it cannot."""
