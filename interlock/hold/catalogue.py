"""The hold in which everything may fail that the standing catalogue of failures has, and what each failure is."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType

from interlock.hold.compile.contacts import contact_items
from interlock.hold.compile.described import describe
from interlock.hold.compile.naming import name_hold
from interlock.hold.failing import FailingItem, failing_items
from interlock.hold.language.model import Catalogue, ExcludedFailure, FailureMode, Hold
from interlock.hold.origin import Failure
from interlock.hold.sorts import Item


@dataclass(frozen=True, slots=True)
class KnownFailure:
    """A failure that may strike: what it is about (`failure`, whose name is the variable's), and what is known of it.

    `name` is what people call the item, `text` a sentence that says that it has struck.  `effect`, `noticed` and
    `source` are those of the catalogue; empty where the hold declares what the catalogue does not have.
    """

    failure: Failure
    item: Item
    name: str
    text: str
    effect: str = ""
    noticed: str = ""
    source: str = ""


@dataclass(frozen=True, slots=True)
class FailingHold:
    """A hold that declares every failure to be reckoned with; `failures` by the name of the variable, in order."""

    hold: Hold
    failures: Mapping[str, KnownFailure]
    excluded: tuple[ExcludedFailure, ...]


def everything_fails(hold: Hold, catalogue: Catalogue, only: Collection[Item] | None = None) -> FailingHold:
    """The hold in which all may strike that it declares, and all of the catalogue but what it excludes.

    What the hold excludes and declares may strike: to declare is to say so for good.  `only` are sorts of items, where
    not all are wanted.  A hold whose expressions are at fault has no contacts; compiling it says why.
    """
    entries = {(one.item, one.mode): one for one in catalogue.failures if only is None or one.item in only}
    more: list[FailureMode] = []
    known: dict[str, KnownFailure] = {}
    for item in (*failing_items(hold), *_contacts(hold)):
        for failing in item.failings:
            entry = entries.get((item.item, failing.mode))
            if not _names(hold.failures, item, failing.mode):
                if entry is None or failing not in item.possible or _names(hold.excluded_failures, item, failing.mode):
                    continue
                id, written, place = item.subject.id, item.written, item.place
                more.append(FailureMode(of=id, mode=failing.mode, contact=written, at=place, span=item.span))
            may = item.strikes(failing)
            told = ("", "", "") if entry is None else (entry.effect, entry.noticed, entry.source)
            known[may.failure.name] = KnownFailure(may.failure, item.item, item.name, may.text, *told)
    failing_hold = replace(hold, failures=(*hold.failures, *more))
    return FailingHold(failing_hold, MappingProxyType(known), hold.excluded_failures)


def _contacts(hold: Hold) -> tuple[FailingItem, ...]:
    named = name_hold(describe(hold, None))
    return () if named.faults else contact_items(hold, named.world)


def _names(failures: Iterable[FailureMode], item: FailingItem, mode: str) -> bool:
    """One of the failures is that of the item."""
    return any(
        (one.of, one.mode, one.contact) == (item.subject.id, mode, item.written) and one.at in (None, item.place)
        for one in failures
    )
