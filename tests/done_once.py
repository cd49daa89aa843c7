"""Studies that many tests look at, each in its own way, are made once: for tests of what is told, not of what is found.

A module of tests says `pytestmark = pytest.mark.usefixtures("done_once")`.  While its tests run, reading, compiling and
the studies give for equal questions what they gave before; commands ask them as ever.  What was read is read again to
see that it still says the same.  Limits of time count as equal, so this is nothing for tests of limits or of stopping.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable
from importlib import import_module
from typing import Any

import pytest

from interlock.hold.compile.compiler import CompiledHold
from interlock.hold.language.model import Hold
from interlock.hold.loader import Fetch, Loaded, Source, load_hold
from interlock.kernel.claims import Limits
from interlock.prove.invariants.lemmas import Lemmas

STUDIES = (
    "hold.compile.compiler:compile_hold",
    "study.verify:verify",
    "study.causes.blame:blame",
    "study.why_never:why_never",
    "study.failures:analyse_failures",
    "study.comparison.compare:compare_holds",
    "study.contacts.purposes:analyse_contacts",
    "study.deferral.deferral:defer",
    "study.functional_test.making:make_test",
    "study.functional_test.course:follow_course",
    "study.checklist.making:make_checklist",
    "study.checklist.audit:audit_checklist",
    "study.procedure.audit:audit_procedure",
)
"""Functions of `interlock` that commands look up when they are called: module and name."""

ENGINES = "interlock.prove."


def make_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """From now on, until the patches are undone."""
    monkeypatch.setattr("interlock.hold.loader.load_hold", loaded_once(load_hold))
    for study in STUDIES:
        place, name = study.split(":")
        module = import_module(f"interlock.{place}")
        monkeypatch.setattr(module, name, once(getattr(module, name)))


def once(function: Callable[..., Any]) -> Callable[..., Any]:
    """The function, asked once for each question; what it raises is raised by asking again."""
    known: dict[Hashable, tuple[Any, object]] = {}

    def answer(*args: Any, **kwargs: Any) -> Any:
        asked = (*map(_question, args), *((word, _question(value)) for word, value in sorted(kwargs.items())))
        if asked not in known:
            # the arguments are kept, so that no other thing comes to have the identity of one of them
            known[asked] = function(*args, **kwargs), (args, kwargs)
        return known[asked][0]

    return answer


def loaded_once(function: Callable[[Source, Fetch, frozenset[int]], Loaded[Hold]]) -> Callable[..., Loaded[Hold]]:
    """Reading of descriptions; those that were read are known by all that they were made of."""
    known: dict[Hashable, list[tuple[list[tuple[str, Source | None]], Loaded[Hold]]]] = {}

    def load(source: Source, fetch: Fetch, undone: frozenset[int] = frozenset()) -> Loaded[Hold]:
        before = known.setdefault((source, undone), [])
        for read, loaded in before:
            if all(fetch(name) == found for name, found in read):
                return loaded
        read = []

        def noted(name: str) -> Source | None:
            read.append((name, fetch(name)))
            return read[-1][1]

        before.append((read, function(source, noted, undone)))
        return before[-1][1]

    return load


def _question(value: Any) -> Hashable:
    """What an argument contributes to the question; nothing where it only says how long or to whom to report."""
    match value:
        case Lemmas():
            return None
        case Limits():
            return value.depth, value.states, value.seconds is None
        case CompiledHold():
            return value.hold, value.situation, value.machine
        case _ if callable(value):
            return value if getattr(value, "__module__", "").startswith(ENGINES) else None
    try:
        hash(value)
    except TypeError:
        return id(value)
    return (type(value).__name__, value) if isinstance(value, Hashable) else id(value)
