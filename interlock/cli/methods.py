"""The ways to decide, by the words that the command line has for them."""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from interlock.prove.engine import Engine

METHODS = {
    "combined": ("decide", "decide"),
    "bounded": ("search.bmc", "bmc"),
    "induction": ("invariants.k_induction", "k_induction"),
    "reachability": ("frames.pdr", "pdr"),
    "invariants": ("invariants.mined", "mined"),
    "diagrams": ("diagrams.saturation", "diagrams"),
    "enumeration": ("search.enumeration", "enumeration"),
}
"""Word -> (module of `interlock.prove`, function)."""

DEFAULT = "combined"
ABOUT = (
    "combined: several of the following, each where it is good; bounded: look for breaches up to --depth steps, prove "
    "nothing; induction: show that no short run of steps can be the one that goes wrong; reachability: narrow down "
    "what can be reached until no breach is left in it; invariants: find facts about neighbouring parts that never "
    "change and suffice; diagrams: find all states at once, as one "
    "decision diagram; enumeration: visit every state (holds of up to some ten million states)."
)


def engine_of(method: str) -> Engine:
    """The engine behind the word; its solvers are loaded now.  Raises KeyError."""
    module, name = METHODS[method]
    engine: Engine = getattr(import_module(f"interlock.prove.{module}"), name)
    return engine
