"""The ways to decide, by the words that the command line has for them."""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from interlock.prove.engine import Engine

METHODS = {
    "combined": ("decide", "decide"),
    "bounded": ("bmc", "bmc"),
    "induction": ("induction", "k_induction"),
    "reachability": ("pdr", "pdr"),
    "enumeration": ("explicit", "explicit"),
}
"""Word -> (module of `interlock.prove`, function)."""

ABOUT = (
    "combined: all that follow, each where it is good; bounded: only look for breaches, up to --depth steps, and "
    "prove nothing; induction: prove from any few steps that run by run nothing can go wrong; reachability: prove by "
    "closing in on what can be reached; enumeration: visit every state (small holds only)."
)


def engine_of(method: str) -> Engine:
    """The engine behind the word; its solvers are loaded now.  Raises KeyError."""
    module, name = METHODS[method]
    engine: Engine = getattr(import_module(f"interlock.prove.{module}"), name)
    return engine
