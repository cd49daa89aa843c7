"""The hold in which everything may fail that the standing catalogue of failures has, and what each failure is."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType

from interlock.hold.failing import failing_items
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


def everything_fails(hold: Hold, catalogue: Catalogue) -> FailingHold:
    """The hold in which all may strike that it declares, and all of the catalogue but what it excludes.

    What the hold excludes and declares may strike: to declare is to say so for good.
    """
    entries = {(entry.item, entry.mode): entry for entry in catalogue.failures}
    declared = {(one.of, one.mode) for one in hold.failures}
    excluded = {(one.of, one.mode) for one in hold.excluded_failures}
    more: list[FailureMode] = []
    known: dict[str, KnownFailure] = {}
    for item in failing_items(hold):
        for failing in item.failings:
            id, mode = item.subject.id, failing.mode
            entry = entries.get((item.item, mode))
            if (id, mode) not in declared:
                if entry is None or (id, mode) in excluded or failing not in item.possible:
                    continue
                more.append(FailureMode(of=id, mode=mode, span=item.span))
            failure, text = item.failure(failing), failing.text.format(name=item.name)
            told = ("", "", "") if entry is None else (entry.effect, entry.noticed, entry.source)
            known[failure.name] = KnownFailure(failure, item.item, item.name, text, *told)
    failing_hold = replace(hold, failures=(*hold.failures, *more))
    return FailingHold(failing_hold, MappingProxyType(known), hold.excluded_failures)
