"""Verifier for the interlocks and latch states of a powered aircraft cargo hold.

What stands in `__all__` is for other programs and notebooks, and keeps its meaning; `interlock.interface` has it.  All
else is the program's own, and may be otherwise tomorrow.
"""

from importlib import import_module

__version__ = "0.1.0"

__all__ = [
    "Checklist",
    "DescriptionError",
    "Hold",
    "InterlockError",
    "Proof",
    "RequestError",
    "Result",
    "__version__",
    "analyse_contacts",
    "analyse_failures",
    "audit_procedure",
    "compare_holds",
    "defer",
    "load_hold",
    "load_text",
    "make_checklist",
    "make_questions",
    "make_test",
    "prove_family",
    "prove_fleet",
    "prove_hold",
    "repair_hold",
    "teach",
]


def __getattr__(name: str) -> object:
    """What is public is loaded once it is asked for: who wants the version alone waits for no solver."""
    if name in __all__:
        return getattr(import_module("interlock.interface"), name)
    raise AttributeError(f"module 'interlock' has no attribute {name!r}")


def __dir__() -> list[str]:
    """What is public."""
    return sorted(__all__)
