"""What of a description makes sense by itself where not all of it can be read: so that its expressions are looked into.

What cannot be read is left out, and with it whatever names it outside of an expression.
"""

from __future__ import annotations

from collections.abc import Sequence, Set
from typing import Any

from interlock.diagnostics.frozen import frozen
from interlock.diagnostics.spans import Span
from interlock.hold.language.bay_names import BayNames
from interlock.hold.language.declarations import Record
from interlock.hold.language.model import SECTIONS, Hold, Layout, RequirementText, SomeFailure, Thing
from interlock.hold.language.reader import FAILED, Made, Mention
from interlock.hold.language.references import BUILT_IN_GROUPS
from interlock.hold.language.syntax import Syntax, Truth
from interlock.kernel.machine import RequirementKind

_ON_THE_FLOOR = frozenset({"units", "doorways", "devices", "zones", "places", "people"})
"""Sections whose items are what they are by where they are: nothing is known of them without the floor."""
_CALLED_BY = frozenset({"units", "doorways", "zones", "places", "people", "failures", "common_causes"})
"""Sections that give steps, and places at sills, their names: where they are not whole, no other is surely unknown."""


@frozen
class Unread:
    """What was left out: names that may mean anything, and whether steps and places at sills may be missing.

    `unnamed`: there may have been things whose names nobody knows.
    """

    names: frozenset[str]
    steps: bool
    unnamed: bool


@frozen
class Readable:
    """The part of a description that makes sense, what was left out, and the expressions in that."""

    hold: Hold
    unread: Unread
    loose: tuple[Syntax, ...]


def readable_part(
    span: Span,
    made: Sequence[Made],
    names: Set[str],
    bays: BayNames | None,
    unresolved: Set[Mention],
    *,
    unnamed: bool,
    missing: bool,
) -> Readable:
    """The readable part of the description at `span`.

    `names` are all that are given in it, or told as given nowhere; `unresolved` are those in fields that stand for
    nothing that fits.  `missing`: items may be missing of which nothing is known here, `unnamed` if not even the names.
    """
    layout = next((one.value for one in made if isinstance(one.value, Layout)), None)
    if layout is None or bays is None:
        layout, bays, unnamed = _no_floor(span), BayNames((), 0), True
    items = [one for one in made if one.record in SECTIONS.values()]
    placed = {SECTIONS[section] for section in _ON_THE_FLOOR if not bays.lanes}
    sound, given = _sound([one for one in items if one.record not in placed], bays, unresolved)
    left_out = [one for one in made if one.record is not RequirementText and not any(one is other for other in sound)]
    sections: dict[str, tuple[object, ...]] = {
        section: tuple(one.value for one in sound if one.record is record) for section, record in SECTIONS.items()
    }
    patched = (_patched(one) for one in items if one.record is RequirementText)
    sections["requirements"] = tuple(one for one in patched if one is not None)
    hold: Any = Hold
    steps = unnamed or missing or any(one.record is SECTIONS[section] for one in left_out for section in _CALLED_BY)
    loose = (one for one in left_out if one.record in SECTIONS.values() or (one.record is Layout and not bays.lanes))
    return Readable(
        hold(span=span, interlock="", title="", layout=layout, **sections),
        Unread(frozenset(names) - given, steps, unnamed),
        tuple(syntax for one in loose for syntax in one.expressions),
    )


def _no_floor(span: Span) -> Layout:
    """A floor without a bay, for what does not stand on it."""
    return Layout(
        span=span,
        lanes=(),
        rows=0,
        ball_mat=(),
        secured=(),
        neighbour_restrains=False,
        drift=(),
        pushing=None,
        hand_work=Truth(False, span),
    )


def _sound(items: Sequence[Made], bays: BayNames, unresolved: Set[Mention]) -> tuple[list[Made], frozenset[str]]:
    """The items that can be read and name nothing but one another, and the names that they give; of two the first."""
    sound: list[Made] = []
    given: set[str] = set()
    for one in items:
        value = one.value
        if not isinstance(value, Record) or not unresolved.isdisjoint(one.mentions) or _asks_contacts(value):
            continue
        if isinstance(value, Thing):
            if value.id in given or value.id in bays or value.id in BUILT_IN_GROUPS:
                continue
            given.add(value.id)
        sound.append(one)
    while True:
        known = {*given, *bays.places}
        kept = [one for one in sound if all(mention.name in known for mention in one.mentions)]
        if len(kept) == len(sound):
            return sound, frozenset(given)
        sound, given = kept, {one.value.id for one in kept if isinstance(one.value, Thing)}


def _asks_contacts(value: Record) -> bool:
    """Which contacts there are is known only where every expression is read."""
    failures = (value,) if isinstance(value, SomeFailure) else getattr(value, "failures", ())
    return any(one.contact is not None for one in failures)


def _patched(one: Made) -> RequirementText | None:
    """A requirement as far as it can be read; None where nobody knows what its variables run through."""
    usual: dict[str, object] = {
        "kind": RequirementKind.CAN,
        "when": None,
        "condition": None,
        "steps": (),
        "first": (),
        "since": (),
    }
    if FAILED in (one.values["each"], one.values["where"]):
        return None
    values: Any = {name: usual.get(name, "") if value is FAILED else value for name, value in one.values.items()}
    if not values["each"]:
        values["where"] = None  # there is nothing to choose from, which is told
    return RequirementText(**values)
